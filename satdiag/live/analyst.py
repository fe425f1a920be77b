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
from satdiag.live.sentence import Now, chances_of, now_of
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

PATIENCE_S = 0.25
JOIN_S = 5.0


class Analysis(NamedTuple):
    """What was found last. `at_s`: on the monotonic clock, when the job was read; None: nothing was found yet.

    `fill_in`: how the channels came in, drawn; None where that is not known.
    """

    now: Now
    chances: dict[int, Chance]
    could_not: tuple[str, ...]
    at_s: float | None
    fill_in: Figure | None = None

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
        first: Now,
        every_s: float = EVERY_S,
    ) -> None:
        self._place, self._rows, self._is_behind, self._every_s = place, rows, is_behind, every_s
        self.latest = Analysis(first, {}, (), None)
        self._stop, self._stale, self._reading = threading.Event(), threading.Event(), threading.Lock()
        self._thread = threading.Thread(target=self._run, name="analyst", daemon=True)

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

        looked_at, pause_s = 0, 0.0
        while not self._stop.wait(max(PATIENCE_S, pause_s)):
            pause_s, rows = 0.0, self._rows()
            if (rows == looked_at and not self._stale.is_set()) or self._is_behind():
                continue
            self._stale.clear()
            begun_s = monotonic()
            self._look(begun_s)
            looked_at = rows
            pause_s = max(self._every_s, min(20 * (monotonic() - begun_s), LONGEST_PAUSE_S))

    def _look(self, begun_s: float) -> None:
        from satdiag.kept import analyse_here
        from satdiag.opening import open_job

        try:
            with self._reading:
                if self._stop.is_set():
                    return
                job = open_job(self._place)
            self.latest = _analysis(analyse_here(job), looked_s_ago(job), begun_s)
        except SatdiagError as error:
            self._failed(f"The log could not be analysed just now: {error}")
        except Exception as error:  # noqa: BLE001 (an error of the analysis must not end the recording)
            self._failed(f"The analysis failed ({type(error).__name__}: {error}). It is still recorded.")

    def _failed(self, why: str) -> None:
        """What was found before stands, with its age; that nothing newer was found is said."""
        told = tuple(text for text in self.latest.could_not if text != why)
        self.latest = self.latest._replace(could_not=(why, *told)[:50])


def looked_s_ago(job: Job) -> float:
    """How long before the last row a channel was last looked at; 0 where none was."""
    looked_s = [float(rows["t_s"].max()) for kind in ("channel", "tune") if len(rows := job.select(kind))]
    return max(0.0, job.end_s - max(looked_s, default=job.end_s))


def _analysis(findings: Findings, looked_s: float, at_s: float) -> Analysis:
    figure = fill_in_figure(findings.entitlement)
    return Analysis(now_of(findings, looked_s), dict(chances_of(findings)), could_not(findings), at_s, figure)
