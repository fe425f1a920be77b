"""What an analysis gives the page: the first sentence, the channels' chances, and the views, in each language.

`Bench` analyses where it is called. `Apart` (in `apart`) has the same two methods and a process of its own.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from time import thread_time
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from satdiag.language import Language, speaking
from satdiag.live.sentence import Now, chances_of, now_of
from satdiag.live.state import Chance
from satdiag.live.views import view_of
from satdiag.report.figure import Figure
from satdiag.report.fill_in import fill_in_figure
from satdiag.report.opening import could_not

if TYPE_CHECKING:
    from satdiag.findings import Findings
    from satdiag.job import Job


class Found(NamedTuple):
    """What an analysis found, in one language. `fill_in`: how the channels came in, drawn; None: not known."""

    now: Now
    chances: Mapping[int, Chance]
    could_not: tuple[str, ...]
    fill_in: Figure | None


class Looked(NamedTuple):
    """What an analysis found in each language, and how long a processor worked at it; waiting for one is no work."""

    found: dict[Language, Found]
    work_s: float


class View(NamedTuple):
    """A view of the analysis of a number; number 0 and nothing told before the first one."""

    number: int
    told: Mapping[str, Any]


class Failed(Exception):
    """An error that is none of a person's: `name` is its class, the text what it says."""

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        super().__init__(text)


class Ended(Failed):
    """It was stopped, or its process ended."""

    def __init__(self) -> None:
        super().__init__("Ended", "its process ended")


class Working(Protocol):
    """Something that analyses. May be used from several threads, but one `look` at a time."""

    def warm(self) -> None:
        """Load what an analysis takes. Raises Failed."""

    def look(self, number: int, languages: Sequence[Language]) -> Looked:
        """Read the job and analyse it. Raises SatdiagError, Failed."""

    def view(self, name: str, language: Language) -> View:
        """A view of the last analysis. Raises SatdiagError, Failed."""

    def stop(self) -> None:
        """Read the job file no more: at return it is not open here."""


class Bench:
    """Analyses the job file of a place, in the thread that asks."""

    def __init__(self, place: Path) -> None:
        self._place = place
        self._kept: tuple[int, Job | None, dict[Language, Findings]] = (0, None, {})
        self._reading, self._is_over = threading.Lock(), False

    def warm(self) -> None:
        """See `Working`."""
        from satdiag import kept  # noqa: F401

    def look(self, number: int, languages: Sequence[Language]) -> Looked:
        """See `Working`."""
        begun_s = thread_time()
        from satdiag.kept import analyse_here
        from satdiag.opening import open_job

        with self._reading:
            if self._is_over:
                raise Ended
            job = open_job(self._place)
        looked_s = looked_s_ago(job)
        made: dict[Language, Found] = {}
        findings: dict[Language, Findings] = {}
        for language in languages:
            with speaking(language):
                findings[language] = analyse_here(job)
                made[language] = _found(findings[language], looked_s)
        self._kept = (number, job, findings)
        return Looked(made, thread_time() - begun_s)

    def view(self, name: str, language: Language) -> View:
        """See `Working`."""
        from satdiag.kept import analyse_here

        number, job, findings = self._kept
        if job is None:
            return View(0, {})
        with speaking(language):
            if language not in findings:
                findings[language] = analyse_here(job)
            return View(number, view_of(name, job, findings[language]))

    def stop(self) -> None:
        """See `Working`."""
        with self._reading:
            self._is_over = True


def _found(findings: Findings, looked_s: float) -> Found:
    figure = fill_in_figure(findings.entitlement)
    return Found(now_of(findings, looked_s), chances_of(findings), could_not(findings), figure)


def looked_s_ago(job: Job) -> float:
    """How long before the last row a channel was last looked at; 0 where none was."""
    looked_s = [float(rows["t_s"].max()) for kind in ("channel", "tune") if len(rows := job.select(kind))]
    return max(0.0, job.end_s - max(looked_s, default=job.end_s))
