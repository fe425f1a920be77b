"""How well was it received while the receiver listened? Block errors slow the exposure clock down.

A block that is lost is not heard, so of a minute with 20 % lost blocks 48 seconds count. Only a readout of block
errors can tell this; where there is none, every second of listening counts in full, and nothing is scaled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from satdiag.entitlement.families import Array
from satdiag.exposure import ExposureClock
from satdiag.job import Job
from satdiag.vocabulary import RECEIVED_HOLD_S

LEAST_RATE = 0.02
"""A stretch with nearly all blocks lost still counts for this much: a readout of 100 % is a rounded one."""

FEWEST_READINGS = 3
"""Fewer say nothing of the time between them."""

MOST_ALIKE = 0.98
_Z_95 = 1.6449


@dataclass(frozen=True, eq=False)
class Reception:
    """The exposure clock in seconds of full reception: `full_s` at `exposure_s`, both increasing, from 0 on.

    `mean` is the share of blocks received over the whole exposure with its 90 % interval (from the scatter of the
    readings), `latest` the share now, by which the future is scaled.
    """

    exposure_s: Array
    full_s: Array
    mean: float
    mean_90: tuple[float, float]
    latest: float

    def full(self, exposure_s: Array | float) -> Array:
        """Seconds of full reception in this exposure; what is not bounded stays so."""
        at_s = np.asarray(exposure_s, dtype=float)
        beyond = np.maximum(at_s - self.exposure_s[-1], 0.0) * self.latest
        return np.where(np.isfinite(at_s), np.interp(at_s, self.exposure_s, self.full_s) + beyond, at_s)

    def back(self, full_s: Array | float) -> Array:
        """The exposure at which so many seconds of full reception are reached, at the latest share from now on."""
        at_s = np.asarray(full_s, dtype=float)
        beyond = np.maximum(at_s - self.full_s[-1], 0.0) / self.latest
        return np.where(np.isfinite(at_s), np.interp(at_s, self.full_s, self.exposure_s) + beyond, at_s)


@dataclass(frozen=True, eq=False)
class ScaledClock:
    """An exposure clock in seconds of full reception, for those who read channels by it."""

    clock: ExposureClock
    reception: Reception

    @property
    def origin_s(self) -> float:
        """As the clock's own."""
        return self.clock.origin_s

    @property
    def origin(self) -> Literal["confirmed", "first-row"]:
        """As the clock's own."""
        return self.clock.origin

    @property
    def era_start_s(self) -> float:
        """As the clock's own."""
        return self.clock.era_start_s

    @property
    def end_s(self) -> float:
        """As the clock's own."""
        return self.clock.end_s

    @property
    def proved(self) -> Array:
        """As the clock's own."""
        return self.clock.proved

    @property
    def exposure_s(self) -> float:
        """Seconds of full reception at the last row."""
        return float(self.reception.full(self.clock.exposure_s))

    def lower_s(self, t_s: Array | float) -> Array:
        """Lower bound at `t_s`."""
        return self.reception.full(self.clock.lower_s(t_s))

    def upper_s(self, t_s: Array | float) -> Array:
        """Upper bound at `t_s`: listening that is not proved counts in full."""
        lower_s = self.clock.lower_s(t_s)
        return self.reception.full(lower_s) + (self.clock.upper_s(t_s) - lower_s)


Clock = ExposureClock | ScaledClock


def reception_of(job: Job, clock: ExposureClock) -> Reception | None:
    """How well was received, from block errors of the best path at each time; None with less than a few readings.

    A reading holds until the next one of its path, but not for longer than receiving does; where none holds the mean
    share does.
    """
    at_s, share = _shares(job, clock)
    if len(at_s) < FEWEST_READINGS:
        return None
    ends_s: Array = np.minimum(np.append(at_s[1:], clock.end_s), at_s + RECEIVED_HOLD_S)
    times_s = np.column_stack([at_s, ends_s]).ravel()
    marks = np.concatenate([[0.0], np.maximum.accumulate(clock.lower_s(times_s)), [clock.exposure_s]])
    held_s: Array = np.diff(marks)[1::2]
    whole_s = float(held_s.sum())
    weight: Array = held_s / whole_s if whole_s > 0.0 else np.full(len(share), 1.0 / len(share))
    mean = float(weight @ share)
    rates = np.concatenate([[mean], np.column_stack([share, np.full(len(share), mean)]).ravel()])
    full = np.concatenate([[0.0], np.cumsum(np.diff(marks) * rates)])
    kept = np.concatenate([[True], np.diff(marks) > 0.0])
    return Reception(marks[kept], full[kept], mean, _interval(share, weight, mean), float(share[-1]))


def _interval(share: Array, weight: Array, mean: float) -> tuple[float, float]:
    """90 % interval of the mean share, from the scatter of the readings; neighbours that are alike count for less."""
    off = share - mean
    variance = float(weight @ off**2)
    effective = 1.0 / float(weight @ weight)
    if variance > 0.0:
        alike = min(max(float(off[1:] @ off[:-1]) / float(off @ off), 0.0), MOST_ALIKE)
        effective = max(effective * (1.0 - alike) / (1.0 + alike), 1.0)
    half = _Z_95 * np.sqrt(variance / effective)
    return max(mean - float(half), 0.0), min(mean + float(half), 1.0)


def _shares(job: Job, clock: ExposureClock) -> tuple[Array, Array]:
    """When, in seconds since the first row, and the share of blocks received then: of the paths whose reading holds
    the best."""
    rows = job.select("errors")
    rows = rows[((rows["t_s"] >= clock.era_start_s) & rows["number"].notna()).to_numpy()]
    if rows.empty:
        return np.zeros(0), np.zeros(0)
    at_s = np.unique(rows["t_s"].to_numpy(dtype=float))
    best = np.full(len(at_s), np.inf)
    for _, path in rows.groupby("subject", sort=True):
        read_s, lost = path["t_s"].to_numpy(dtype=float), path["number"].to_numpy(dtype=float)
        last = np.searchsorted(read_s, at_s, side="right") - 1
        holds = (last >= 0) & (at_s - read_s[np.maximum(last, 0)] <= RECEIVED_HOLD_S)
        best = np.minimum(best, np.where(holds, lost[np.maximum(last, 0)], np.inf))
    return at_s, np.maximum(1.0 - best / 100.0, LEAST_RATE)
