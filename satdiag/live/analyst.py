"""The analysis beside the recording: in a thread of its own, from a read-only look at the job file, never in haste.

It never holds up the recording: it is left out while rows wait to be written, and takes at most a twentieth of the
time. What it found last stands until there is something newer, and says how old it is.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, NamedTuple

from satdiag.errors import SatdiagError
from satdiag.findings import Findings
from satdiag.language import Language, mark, speaking, spoken, translated
from satdiag.live.sentence import NOTHING_YET, Now, chances_of, now_of
from satdiag.live.state import Chance
from satdiag.report.figure import Figure
from satdiag.report.fill_in import fill_in_figure
from satdiag.report.opening import could_not

if TYPE_CHECKING:
    from satdiag.job import Job

EVERY_S = 5.0
"""It is computed anew this often at most, and less often where that would take more than a twentieth of the time."""

LONGEST_PAUSE_S = 60.0
"""But this often at least: people wait for what it says."""

ASKED_FOR_S = 60.0
"""An analysis is made in every language that a page asked for so lately."""

PATIENCE_S = 0.25
JOIN_S = 5.0


class Analysis(NamedTuple):
    """What was found last. `at_s`: on the monotonic clock, when the job was read; None: nothing was found yet.

    `fill_in`: how the channels came in, drawn; None where that is not known. `job`, `findings`: what it was made of.
    `number`: counts the analyses, the same in every language.
    """

    now: Now
    chances: dict[int, Chance]
    could_not: tuple[str, ...]
    at_s: float | None
    fill_in: Figure | None = None
    job: Job | None = None
    findings: Findings | None = None
    number: int = 0

    @property
    def age_s(self) -> float | None:
        """How old it is."""
        return None if self.at_s is None else monotonic() - self.at_s


class Analyst:
    """Analyses a job file again and again. `rows` tells how many rows it holds now, `is_behind` whether to wait."""

    def __init__(
        self,
        place: Path,
        rows: Callable[[], int],
        is_behind: Callable[[], bool],
        every_s: float = EVERY_S,
    ) -> None:
        self._place, self._rows, self._is_behind, self._every_s = place, rows, is_behind, every_s
        self._made: dict[Language, Analysis] = {}
        self._asked_s: dict[Language, float] = {}
        self._stop, self._stale, self._reading = threading.Event(), threading.Event(), threading.Lock()
        self._thread = threading.Thread(target=self._run, name="analyst", daemon=True)

    @property
    def latest(self) -> Analysis:
        """What was found last, in the language in use; in another one until it is worked out in this."""
        language = spoken()
        self._asked_s[language] = monotonic()
        if language in self._made:
            return self._made[language]
        if self._made:
            self.refresh()
        made = max(self._made.values(), key=lambda one: one.at_s or 0.0, default=None)
        return made or Analysis(Now(translated(NOTHING_YET)), {}, (), None)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def refresh(self) -> None:
        """Something else than rows has changed, e.g. the sheet."""
        self._stale.set()

    def let_go(self) -> None:
        """Read the file no more: at return it is not open here, and may be closed by its writer."""
        self._stop.set()
        with self._reading:
            pass

    def join(self) -> None:
        """Wait for an analysis that is under way, but not for long."""
        if self._thread.ident is not None:
            self._thread.join(JOIN_S)

    def _run(self) -> None:
        from satdiag import kept  # noqa: F401 (what it takes to load is not what an analysis takes)

        looked_at, pause_s = -1, 0.0
        while self._rests(pause_s):
            pause_s, rows = 0.0, self._rows()
            if (rows == looked_at and not self._stale.is_set()) or self._is_behind():
                continue
            self._stale.clear()
            begun_s = monotonic()
            self._look(begun_s)
            looked_at = rows
            pause_s = max(self._every_s, min(20 * (monotonic() - begun_s), LONGEST_PAUSE_S))

    def _rests(self, pause_s: float) -> bool:
        """Wait for a time, but not while a page waits for its language. False: it is to end."""
        end_s = monotonic() + pause_s
        while not self._stop.wait(PATIENCE_S):
            if monotonic() >= end_s or (
                self._made and any(one not in self._made for one in self._asked(monotonic()))
            ):
                return True
        return False

    def _asked(self, at_s: float) -> list[Language]:
        """The languages that pages asked for lately."""
        return [one for one, asked_s in [*self._asked_s.items()] if at_s - asked_s < ASKED_FOR_S]

    def _look(self, begun_s: float) -> None:
        from satdiag.kept import analyse_here
        from satdiag.opening import open_job

        try:
            with self._reading:
                if self._stop.is_set():
                    return
                job = open_job(self._place)
            asked = self._asked(begun_s)
            number = 1 + max((one.number for one in self._made.values()), default=0)
            made: dict[Language, Analysis] = {}
            for language in asked or ["en"]:
                with speaking(language):
                    found = _analysis(job, analyse_here(job), looked_s_ago(job), begun_s)
                made[language] = found._replace(number=number)
            self._made = made
        except SatdiagError as error:
            self._failed(mark("The log could not be analysed just now: {error}"), error=error)
        except Exception as error:  # noqa: BLE001 (an error of the analysis must not end the recording)
            self._failed(
                mark("The analysis failed ({name}: {error}). It is still recorded."),
                name=type(error).__name__,
                error=error,
            )

    def _failed(self, text: str, **values: object) -> None:
        """What was found before stands, with its age; that nothing newer was found is said."""
        made = dict(self._made)
        for language in {*made, *self._asked_s} or {"en"}:
            with speaking(language):
                why, before = translated(text).format(**values), self._made.get(language, self.latest)
            told = tuple(one for one in before.could_not if one != why)
            made[language] = before._replace(could_not=(why, *told)[:50])
        self._made = made  # others look through it meanwhile: it is exchanged, never changed


def looked_s_ago(job: Job) -> float:
    """How long before the last row a channel was last looked at; 0 where none was."""
    looked_s = [float(rows["t_s"].max()) for kind in ("channel", "tune") if len(rows := job.select(kind))]
    return max(0.0, job.end_s - max(looked_s, default=job.end_s))


def _analysis(job: Job, findings: Findings, looked_s: float, at_s: float) -> Analysis:
    figure = fill_in_figure(findings.entitlement)
    chances = dict(chances_of(findings))
    return Analysis(now_of(findings, looked_s), chances, could_not(findings), at_s, figure, job, findings)
