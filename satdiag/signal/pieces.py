"""Readings of one path as stretches of time: received or not, and at which level.

A reading stands until the next of its kind on its path, at most for the hold time of reception, not beyond the
visit, and never across a gap, sleep, the dead time after a restart, a logged move of the vehicle or another part
that was put in. What no reading stands for is unknown, and not counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.exposure import SKY_SOURCE, era_start_s, exposure_clock
from satdiag.job import Job, Visit
from satdiag.spans import Spans, spans, union
from satdiag.vocabulary import RECEIVED_HOLD_S, RESET_DEAD_S, UNREADABLE

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Numbers = NDArray[np.intp]

# judgement, no source: for how long a visit's last reading speaks when nothing comes after it, at most.
LAST_READING_S = 60.0
_COLUMNS = ["t_s", "subject", "value", "number", "unit", "source", "span_s"]


@dataclass(frozen=True, eq=False)
class Pieces:
    """Disjoint stretches of one path in time order, arrays of shape (n,), in seconds since the job's first row.

    `level` is NaN where none was read. Each piece starts where something was read anew; where one ends and the next
    begins at the same instant, the path was watched throughout.
    """

    start_s: Floats
    end_s: Floats
    received: Flags
    level: Floats

    @property
    def length_s(self) -> Floats:
        return self.end_s - self.start_s

    def only(self, keep: Flags) -> Pieces:
        """The pieces for which `keep` is true."""
        return Pieces(self.start_s[keep], self.end_s[keep], self.received[keep], self.level[keep])

    def at(self, t_s: Floats) -> NDArray[np.intp]:
        """For instants (m,): the number of the piece that holds each, -1 where none does."""
        found = np.searchsorted(self.start_s, t_s, side="right") - 1
        inside = (found >= 0) & (t_s < self.end_s[found.clip(0)]) if len(self.end_s) else np.zeros(len(t_s), bool)
        return np.where(inside, found, -1)


@dataclass(frozen=True, eq=False)
class Readings:
    """The lock and level rows of the receiver now fitted, and what interrupts them.

    `quiet` ends what a reading stands for; `deaf` besides drops the readings that lie in it. `breaks_s`: instants at
    which the vehicle was moved or a part exchanged, beyond which no reading speaks.
    """

    job: Job
    lock: pd.DataFrame
    level: pd.DataFrame
    quiet: Spans
    deaf: Spans
    gaps: pd.DataFrame
    breaks_s: Floats

    @property
    def paths(self) -> tuple[str, ...]:
        """Every path that was read or tried, in the order of their names."""
        return tuple(sorted({*self._lock_of, *self._level_of}))

    @cached_property
    def _lock_of(self) -> dict[str, pd.DataFrame]:
        return _by_path(self.lock)

    @cached_property
    def _level_of(self) -> dict[str, pd.DataFrame]:
        return _by_path(self.level)

    def locks_in(self, path: str, visit: Visit) -> pd.DataFrame:
        """The lock rows of a path in a visit."""
        return _in_visit(self._lock_of.get(path, self.lock.iloc[:0]), visit)

    def levels_in(self, path: str, visit: Visit) -> pd.DataFrame:
        """The level rows of a path in a visit."""
        return _in_visit(self._level_of.get(path, self.level.iloc[:0]), visit)

    def unit_in(self, path: str, visit: Visit) -> str | None:
        """The unit of a path's levels in a visit (it keeps one), or None without a level."""
        rows = self.levels_in(path, visit)
        units = rows["unit"][rows["number"].notna().to_numpy()]
        return str(units.iloc[0]) if len(units) else None

    def has_lock(self, path: str) -> bool:
        """True if the path's lock was read at all: then a level does not prove reception."""
        return path in self._lock_of and bool(self._lock_of[path]["locked"].notna().any())


def readings_of(job: Job) -> Readings:
    """The readings of a job, with sleep, restarts and gaps."""
    since_s = era_start_s(job)
    lock, level = (_since(job.select(kind, readable=False)[_COLUMNS], since_s) for kind in ("lock", "signal"))
    locked = np.where(lock["value"] == UNREADABLE, np.nan, lock["value"] == "yes")
    resets = job.select("reset")["t_s"].to_numpy(dtype=float)
    deaf = union(exposure_clock(job).asleep, spans([(t, t + RESET_DEAD_S) for t in resets]))
    gaps = job.select("gap")
    gaps = gaps[np.array([source.partition(":")[0] != SKY_SOURCE for source in gaps["subject"]], dtype=bool)]
    ends, lengths = gaps["t_s"].to_numpy(dtype=float), gaps["span_s"].to_numpy(dtype=float)
    lost = spans(list(zip(ends - lengths, ends, strict=True)))
    swaps_s = job.select("swap")["t_s"].to_numpy(dtype=float)
    breaks_s = np.unique(np.concatenate([changed_s(job, "place"), changed_s(job, "site"), swaps_s]))
    return Readings(job, lock.assign(locked=locked.astype(float)), level, union(deaf, lost), deaf, gaps, breaks_s)


def changed_s(job: Job, kind: str) -> Floats:
    """When the word of a `place` or `site` row became another one; saying it again changes nothing."""
    rows = job.select(kind, "vehicle")
    words = rows["value"].to_numpy(dtype=object)
    first = job.sheet.sites[0].name if kind == "site" and job.sheet.sites else None
    before = np.concatenate([np.array([first], dtype=object), words[:-1]])
    return np.asarray(rows["t_s"].to_numpy(dtype=float)[words != before])


def read_pieces(readings: Readings, path: str, visit: Visit) -> Pieces | None:
    """What was read of a path in a visit; None if nothing there tells received from not.

    Lock decides; without any lock row of the path, a level above the floor. On a scale without a known floor a
    level alone tells nothing.
    """
    unit = readings.unit_in(path, visit)
    floor = readings.job.sheet.receiver.floor_of(unit) if unit else None
    by_lock = readings.has_lock(path)
    if not by_lock and floor is None:
        return None
    levels = _series(readings, readings.levels_in(path, visit), "number", visit)
    locks = _series(readings, readings.locks_in(path, visit), "locked", visit)
    edges = np.unique(np.concatenate([levels.start_s, levels.end_s, locks.start_s, locks.end_s]))
    lock = locks.value_at(edges[:-1])
    level = levels.value_at(edges[:-1], locks.changed_before(edges[:-1]))
    tells = lock if by_lock else np.where(np.isnan(level), np.nan, level > (floor if floor is not None else 0.0))
    known = ~np.isnan(tells)
    return Pieces(edges[:-1][known], edges[1:][known], tells[known] > 0, level[known])


# --- readings ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Series:
    """Readings of one kind with the stretch each stands for; a value is NaN where nothing could be read."""

    start_s: Floats
    end_s: Floats
    value: Floats

    def value_at(self, t_s: Floats, read_since_s: Floats | None = None) -> Floats:
        """Values at instants (m,); NaN where none was read, or none since `read_since_s` (m,)."""
        if not len(self.start_s):
            return np.full(len(t_s), np.nan)
        found = np.searchsorted(self.start_s, t_s, side="right") - 1
        inside = (found >= 0) & (t_s < self.end_s[found.clip(0)])
        if read_since_s is not None:
            inside &= self.start_s[found.clip(0)] >= read_since_s
        return np.where(inside, self.value[found.clip(0)], np.nan)

    def changed_before(self, t_s: Floats) -> Floats:
        """The last instant at which the value became received from not, up to each instant (m,); -inf before any: a
        level that is older was read while nothing was received and does not grade what came back."""
        gained = np.zeros(len(self.value), dtype=bool)
        gained[1:] = (self.value[1:] > 0.0) & (self.value[:-1] == 0.0)
        since_s = np.concatenate([[-np.inf], self.start_s[gained]])
        return np.asarray(since_s[np.searchsorted(since_s, t_s, side="right") - 1])


def _since(rows: pd.DataFrame, since_s: float) -> pd.DataFrame:
    return rows[(rows["t_s"] >= since_s).to_numpy()] if since_s > 0.0 else rows


def _by_path(rows: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The rows of each path, in the order of time as they are."""
    code, paths = pd.factorize(rows["subject"])
    return {str(path): rows.take(np.flatnonzero(code == number)) for number, path in enumerate(paths)}


def _in_visit(rows: pd.DataFrame, visit: Visit) -> pd.DataFrame:
    """The rows in a visit, of rows in the order of time."""
    t_s = rows["t_s"].to_numpy(dtype=float)
    first, last = np.searchsorted(t_s, visit.start_s, "left"), np.searchsorted(t_s, visit.end_s, "right")
    return rows.iloc[first:last]


def _series(readings: Readings, rows: pd.DataFrame, column: str, visit: Visit) -> _Series:
    rows = rows[~_dropped(rows, readings)]
    times, values = rows["t_s"].to_numpy(dtype=float), rows[column].to_numpy(dtype=float)
    times, values = _with_spans(times, values, rows["span_s"].to_numpy(dtype=float))
    if not len(times):
        return _Series(times, times, values)
    held = np.minimum(times + RECEIVED_HOLD_S, np.append(times[1:], visit.end_s))
    usual_s = float(np.median(np.diff(times))) if len(times) > 1 else LAST_READING_S
    held[-1] = max(held[-1], times[-1] + min(usual_s, LAST_READING_S))
    interruptions = np.append(readings.quiet[:, 0], np.inf)
    held = np.minimum(held, interruptions[np.searchsorted(interruptions, times)])
    # What is read at the instant of a move is read after it.
    breaks = np.append(readings.breaks_s, np.inf)
    return _Series(times, np.minimum(held, breaks[np.searchsorted(breaks, times, side="right")]), values)


def _with_spans(times: Floats, values: Floats, lengths: Floats) -> tuple[Floats, Floats]:
    """A reading that covers the seconds before it (the lowest of a while) stands from their start, too."""
    if not lengths.any():
        return times, values
    longer = lengths > 0
    all_times = np.concatenate([times[longer] - lengths[longer], times])
    all_values = np.concatenate([values[longer], values])
    order = np.argsort(all_times, kind="stable")
    return all_times[order], all_values[order]


def _dropped(rows: pd.DataFrame, readings: Readings) -> Flags:
    """Readings while asleep or just restarted, and those that their own source cannot have heard."""
    times = rows["t_s"].to_numpy(dtype=float)
    dropped = np.zeros(len(times), dtype=bool)
    for first, end in np.searchsorted(times, readings.deaf, "left"):
        dropped[first:end] = True
    sources = rows["source"].to_numpy(dtype=object)
    gaps = readings.gaps
    if len(times):
        begins_s = (gaps["t_s"] - gaps["span_s"]).to_numpy(dtype=float)
        gaps = gaps[(begins_s < times[-1]) & (gaps["t_s"] > times[0]).to_numpy()]
    for end_s, span_s, source in zip(gaps["t_s"], gaps["span_s"], gaps["subject"], strict=True):
        dropped |= (times > end_s - span_s) & (times < end_s) & (sources == source)
    return dropped
