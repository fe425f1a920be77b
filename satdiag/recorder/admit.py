"""The gate between what was heard and the log: a reading becomes a checked row, or a plain word on why it does not.

Nothing passes that `check_rows` would refuse later: the job stays one that can be opened.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Collection, Iterator
from datetime import timezone
from typing import TYPE_CHECKING

import numpy as np

from satdiag.csv_text import quoted
from satdiag.recorder.clock import time_text
from satdiag.recorder.heard import Moment, Reading
from satdiag.rows import Row, check_row, parse_time_us
from satdiag.vocabulary import VISIT_PAUSE_S

if TYPE_CHECKING:
    import pandas as pd

    from satdiag.job import Job

OWN_KINDS = ("clock", "gap")
"""Kinds that the recorder alone writes, of itself; never taken from a device."""

_PAUSE_US = int(VISIT_PAUSE_S * 1e6)


class Visits:
    """The unit of each signal path in each visit: stretches of rows without a pause longer than `VISIT_PAUSE_S`.

    Times are microseconds since 1970 and may come in any order.
    """

    def __init__(self) -> None:
        self._starts: list[int] = []
        self._ends: list[int] = []
        self._units: list[dict[str, tuple[str, int]]] = []

    @classmethod
    def of_rows(cls, rows: pd.DataFrame) -> Visits:
        """With rows of a job, as in its table, all at once: they go together, because the job was checked."""
        found, times_us = cls(), rows["time"].to_numpy().astype("datetime64[us]").astype("int64")
        if not len(times_us):
            return found
        rising = np.sort(times_us)
        pauses = np.flatnonzero(np.diff(rising) > _PAUSE_US)
        starts = rising[np.concatenate([[0], pauses + 1])]
        found._starts, found._ends = starts.tolist(), [*rising[pauses].tolist(), int(rising[-1])]
        found._units = [{} for _ in found._starts]
        is_level = ((rows["kind"] == "signal") & (rows["unit"] != "")).to_numpy()
        visit = np.searchsorted(starts, times_us[is_level], side="right") - 1
        paths, units = (rows[name][is_level].tolist() for name in ("subject", "unit"))
        for (number, path, unit), count in Counter(zip(visit.tolist(), paths, units, strict=True)).items():
            found._units[number][path] = (unit, count)
        return found

    def add(self, time_us: int, path: str = "", unit: str = "") -> str:
        """Add a row; `path` and `unit` are those of a level. Says why it cannot be added, blank if it was."""
        low, high = self._near(time_us)
        if high - low == 1:
            units = self._units[low]
            held, rows = units.get(path, (unit, 0))
            if path and held != unit:
                return f"{path} was in {held} before and is in {unit} here, within one visit"
            if self._starts[low] > time_us:
                self._starts[low] = time_us
            if self._ends[low] < time_us:
                self._ends[low] = time_us
            if path:
                units[path] = (unit, rows + 1)
            return ""
        return self._join(low, high, time_us, {path: (unit, 1)} if path else {})

    def take_back(self, time_us: int, path: str) -> None:
        """A level of that path at that time was withdrawn: its unit counts no longer."""
        low, high = self._near(time_us)
        for units in self._units[low:high]:
            if path in units:
                unit, rows = units[path]
                units[path] = (unit, rows - 1)
                if rows <= 1:
                    del units[path]
                return

    def _near(self, time_us: int) -> tuple[int, int]:
        """The visits that a row at that time belongs to, as a slice: none, one, or two that it joins."""
        high = bisect_right(self._starts, time_us + _PAUSE_US)
        low = high
        while low and self._ends[low - 1] >= time_us - _PAUSE_US:
            low -= 1
        return low, high

    def _join(self, low: int, high: int, time_us: int, units: dict[str, tuple[str, int]]) -> str:
        for held in self._units[low:high]:
            for path, (unit, rows) in held.items():
                other, more = units.get(path, (unit, 0))
                if other != unit:
                    return f"at its time {path} is in {other} and in {unit}, and it would make one visit of both"
                units[path] = (unit, rows + more)
        start = min([time_us, *self._starts[low:high]])
        end = max([time_us, *self._ends[low:high]])
        self._starts[low:high], self._ends[low:high], self._units[low:high] = [start], [end], [units]
        return ""


class _Every(Collection[str]):
    """Holds every text."""

    def __contains__(self, item: object) -> bool:
        return True

    def __iter__(self) -> Iterator[str]:
        return iter(())

    def __len__(self) -> int:
        return 0


class Admission:
    """Turns readings into rows of one job.

    `naive_times`: what a time without an offset means, None: such a time is refused. `sites`: the names of the job's
    sites. `ids`: the ids that a `withdraw` may name; looked at anew for each. `visits`: the units that the rows of
    the job are in; it grows with every row that is admitted, and a row that comes in by another way is told to it
    with `visits.add`.
    """

    def __init__(
        self,
        naive_times: timezone | None = None,
        sites: Collection[str] = (),
        ids: Collection[str] = (),
        visits: Visits | None = None,
    ) -> None:
        self._naive, self._sites, self._ids = naive_times, sites, ids
        self.visits = Visits() if visits is None else visits

    @classmethod
    def of_job(cls, job: Job, ids: Collection[str]) -> Admission:
        """The admission to a job with what its rows already say; `ids` are those that a `withdraw` may name."""
        rows = job.observations
        visits = Visits.of_rows(rows[~rows["withdrawn"]])
        return cls(job.sheet.naive_times, {site.name for site in job.sheet.sites}, ids, visits)

    @classmethod
    def without_job(cls, naive_times: timezone | None = None) -> Admission:
        """The admission where there is no job: any site and any id is taken for known."""
        return cls(naive_times, _Every(), _Every())

    def row(
        self, reading: Reading, source: str, at: Moment, elapsed_s: float, run: str, id: str, own: bool = False
    ) -> Row | str:
        """The row of a reading that was heard `at`, or why there is none.

        A reading with a time of its own keeps it, and has the run and the elapsed time only that it brings along.
        `own`: it comes from the recorder itself or from a log that is played back, and may be a clock step or a gap.
        """
        if reading.kind in OWN_KINDS and not own:
            return f"'{reading.kind}' is written by the recorder alone, and not taken from a device"
        if reading.time:
            time, run, elapsed = reading.time, reading.run, reading.elapsed_s
        else:
            time, elapsed = time_text(at.wall_ns), f"{elapsed_s:.6f}"
        kind, subject, value, unit, note, span_s = reading[:6]
        row = Row(time, kind, subject, value, unit, source, note, span_s, run, elapsed, id)
        wrongs = [wrong.what for wrong in check_row(row, self._naive, self._sites)]
        if wrongs:
            return "; ".join(wrongs)
        if kind == "withdraw" and value not in self._ids:
            return f"{quoted(value)} is not the id of any row"
        time_us = parse_time_us(time, self._naive) if reading.time else at.wall_ns // 1000
        level = (subject, unit) if kind == "signal" and unit else ()
        why = self.visits.add(time_us or 0, *level)
        return why or row
