"""A job that is played again: its rows in the order of the analysis, at their own distances or faster."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Sequence
from datetime import timezone
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from satdiag.csv_text import csv_line
from satdiag.errors import SatdiagError
from satdiag.opening import open_job
from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import WAIT_S, Line, Moment, Reading, Source, SourceEnded
from satdiag.recorder.stamps import Stamps
from satdiag.rows import Row, parse_time_us

if TYPE_CHECKING:
    import pandas as pd

    from satdiag.job import Job

BATCH = 500
"""The most rows handed over at once."""


class ReplaySource(Source):
    """The rows of the job at a path, file or folder: withdrawn and overridden ones too, for the log to sort out.

    The first row comes at once, each other one (its time - the first one's) / `speed` seconds after it; `speed` is
    above 0, infinite for 'as fast as they are taken'. A reading carries the row's own time, run, elapsed_s and id.
    Raises NotAJob, BadInput, StoreProblem, SatdiagError.
    """

    keeps = "nothing"
    can_wait = True

    def __init__(self, job_path: str | os.PathLike[str], speed: float, clock: Clock, name: str) -> None:
        if not speed > 0:
            raise SatdiagError(f"The speed of a replay must be above 0, not {speed:g}.")
        self.name, self.where = name, f"{os.fspath(job_path)}, {_pace(speed)}"
        job = open_job(job_path)
        order, after_us = play_order(job)
        self._after_ns = [round(after * 1000 / speed) for after in after_us]
        self._rows = [job.rows[number] for number in order]
        self._naive = job.sheet.naive_times
        self.named_ids = frozenset(row.value for row in self._rows if row.kind == "withdraw")
        self._clock, self._stamps = clock, Stamps()
        self._start, self._next = clock.now(), 0

    def open(self) -> None:
        """Play from the first row on."""
        self._start, self._next = self._clock.now(), 0

    def read(self) -> list[Line]:
        """The rows whose turn it is. Raises SourceEnded after the last."""
        if self._next >= len(self._rows):
            raise SourceEnded
        wait_s = (self._due_ns(self._next) - self._clock.now().mono_ns) / 1e9
        if wait_s > 0:
            time.sleep(min(wait_s, WAIT_S))
        now = self._clock.now()
        lines: list[Line] = []
        while len(lines) < BATCH and self._next < len(self._rows) and self._due_ns(self._next) <= now.mono_ns:
            lines.append(self._line(self._rows[self._next], now))
            self._next += 1
        return lines

    def close(self) -> list[Line]:
        """Nothing is left: a row whose turn has not come was not heard."""
        return []

    def summary(self) -> str:
        """How far it is."""
        return f"row {self._next} of {len(self._rows)}"

    def _due_ns(self, number: int) -> int:
        return self._start.mono_ns + self._after_ns[number]

    def _line(self, row: Row, now: Moment) -> Line:
        reading = Reading(
            row.kind,
            row.subject,
            row.value,
            row.unit,
            row.note,
            row.span_s,
            own_time(row.time, self._naive),
            row.run,
            row.elapsed_s,
            row.id,
            row.source,
        )
        return Line(self._stamps.next(now), csv_line(row[:11]).encode(), (reading,))


def _pace(speed: float) -> str:
    if math.isinf(speed):
        return "as fast as it is taken"
    return "at its own pace" if speed == 1 else f"{speed:g} times as fast"


def own_time(text: str, naive: timezone | None) -> str:
    """A row's time with its offset written out: the job that it goes to may have no `naive_times`, or another."""
    if naive is None or parse_time_us(text, None) is not None:
        return text
    return text + naive.tzname(None)[3:] if naive.utcoffset(None) else text + "Z"


def play_order(job: Job) -> tuple[Sequence[int], Sequence[int]]:
    """The rows' numbers in the order of the analysis, and each one's microseconds after the first (shape: rows).

    All rows of a recorder run stand on its monotonic clock, set to the wall clock as `Job.log` sets it.
    """
    rows = job.observations
    at_us = rows["time"].to_numpy().astype("datetime64[us]").astype("int64")
    elapsed_us = np.round(rows["elapsed_s"].to_numpy() * 1e6)
    timed = ~np.isnan(elapsed_us)
    bases = _run_bases_us(job.log)
    for run in rows["run"][timed].unique():
        part = timed & (rows["run"] == run).to_numpy()
        elapsed = elapsed_us[part].astype("int64")
        base = bases.get(str(run), int(np.median(at_us[part] - elapsed)))
        at_us[part] = base + elapsed
    _withdraw_after(job.rows, at_us)
    order = np.argsort(at_us, kind="stable")
    after_us = at_us[order] - at_us[order[0]] if len(order) else order
    return order.tolist(), after_us.tolist()


def _withdraw_after(rows: Sequence[Row], at_us: NDArray[np.int64]) -> None:
    """Move each withdrawal behind the row it names: a replay that is cut short must name no row that never came."""
    numbers = {row.id: number for number, row in enumerate(rows) if row.id}
    for number, row in enumerate(rows):
        target = numbers.get(row.value) if row.kind == "withdraw" else None
        if target is not None:
            at_us[number] = max(at_us[number], at_us[target] + 1)


def _run_bases_us(log: pd.DataFrame) -> dict[str, int]:
    """The wall time of each run's elapsed_s 0, microseconds since 1970, as the analysis has it."""
    timed = log[log["elapsed_s"].notna()].drop_duplicates("run")
    at_us = timed["at"].to_numpy().astype("datetime64[us]").astype("int64")
    elapsed_us = np.round(timed["elapsed_s"].to_numpy() * 1e6).astype("int64")
    return {str(run): int(base) for run, base in zip(timed["run"], at_us - elapsed_us, strict=True)}
