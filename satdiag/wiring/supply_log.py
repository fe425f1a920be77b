"""The supply's rows as arrays: voltages at an instant, and lowest values with the time they cover."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import SupplyPoint, instant_text
from satdiag.job import Job

Floats = NDArray[np.float64]

POINTS = 400
"""So many readings are handed on to be drawn: of each run of readings the lowest and the highest."""


@dataclass(frozen=True, eq=False)
class SupplyLog:
    """Readings `t_s`, `volts`, `visit` (n,), in order of time; `digit_v`: the last digit written of each.

    Lowest values `low_t_s`, `low_v`, `low_start_s` (m,): the start is NaN where nobody knows since when.
    """

    job: Job
    t_s: Floats
    volts: Floats
    visit: NDArray[np.int64]
    digit_v: Floats
    low_t_s: Floats
    low_v: Floats
    low_start_s: Floats

    @cached_property
    def interval_s(self) -> float | None:
        """The middle time between two readings of one visit; None with fewer than two."""
        steps = np.diff(self.t_s)[np.diff(self.visit) == 0]
        return float(np.median(steps)) if len(steps) else None

    @cached_property
    def watched_s(self) -> float:
        """The length of all visits together."""
        return float(sum(visit.end_s - visit.start_s for visit in self.job.visits))


def supply_log(job: Job) -> SupplyLog:
    """The supply's rows of a job."""
    rows = job.select("supply")
    is_low = (rows["subject"] == "receiver-minimum").to_numpy(dtype=bool)
    usual, low = rows[~is_low], rows[is_low]
    t_s, low_t_s = usual["t_s"].to_numpy(dtype=float), low["t_s"].to_numpy(dtype=float)
    texts = [str(text) for text in usual["value"].tolist()]
    digit_v = {text: _last_digit(text) for text in set(texts)}
    return SupplyLog(
        job=job,
        t_s=t_s,
        volts=usual["number"].to_numpy(dtype=float),
        visit=_visit_of(job, t_s),
        digit_v=np.array([digit_v[text] for text in texts], dtype=float),
        low_t_s=low_t_s,
        low_v=low["number"].to_numpy(dtype=float),
        low_start_s=_starts(job, low_t_s, low["span_s"].to_numpy(dtype=float)),
    )


def _visit_of(job: Job, t_s: Floats) -> NDArray[np.int64]:
    starts = np.array([visit.start_s for visit in job.visits], dtype=float)
    return np.asarray(np.searchsorted(starts, t_s, side="right") - 1, dtype=np.int64)


def _last_digit(text: str) -> float:
    """The worth of the last digit of a number as written: 0.1 of '12.5', 1 of '12'; of 1.25e1 that of its digits."""
    digits, _, power = text.lower().partition("e")
    decimals = len(digits.partition(".")[2])
    return float(10.0 ** (int(power or 0) - decimals))


def _starts(job: Job, t_s: Floats, span_s: Floats) -> Floats:
    """Since when each lowest value holds: its span, else the lowest value before it in the same visit."""
    before = np.concatenate([[np.nan], t_s[:-1]]) if len(t_s) else t_s
    visit = _visit_of(job, t_s)
    same = np.concatenate([[False], np.diff(visit) == 0]) if len(t_s) else np.zeros(0, dtype=bool)
    known = np.nan_to_num(span_s, nan=0.0)
    return np.asarray(np.where(known > 0.0, t_s - known, np.where(same, before, np.nan)), dtype=float)


def supply_points(log: SupplyLog) -> tuple[SupplyPoint, ...]:
    """At most about `POINTS` readings and as many lowest values, in order of time."""
    found = [(t, SupplyPoint(_at(log, t), v)) for t, v in _thinned(log.t_s, log.volts)]
    kept = sorted(np.argsort(log.low_v, kind="stable")[:POINTS].tolist())
    for number in kept:
        t, start = float(log.low_t_s[number]), float(log.low_start_s[number])
        span_s = None if np.isnan(start) else t - start
        found.append((t, SupplyPoint(_at(log, t), float(log.low_v[number]), span_s if span_s is not None else 0.0)))
    return tuple(point for _, point in sorted(found, key=lambda pair: pair[0]))


def _thinned(t_s: Floats, volts: Floats) -> Sequence[tuple[float, float]]:
    if len(volts) <= POINTS:
        return list(zip(t_s.tolist(), volts.tolist(), strict=True))
    size = -(-2 * len(volts) // POINTS)
    kept: list[int] = []
    for first in range(0, len(volts), size):
        part = volts[first : first + size]
        kept += sorted({first + int(np.argmin(part)), first + int(np.argmax(part))})
    return [(float(t_s[number]), float(volts[number])) for number in kept]


def _at(log: SupplyLog, t_s: float) -> str:
    return instant_text(log.job.instant(t_s)) or ""
