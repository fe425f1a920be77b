"""How well was it received while the receiver listened? Block errors slow the exposure clock down.

A block that is lost is not heard, so of a minute with 20 % lost blocks 48 seconds count. Only a readout of block
errors can tell this; where there is none, every second of listening counts in full, and nothing is scaled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from satdiag.entitlement.families import Array
from satdiag.exposure import ExposureClock
from satdiag.job import Job
from satdiag.vocabulary import RECEIVED_HOLD_S

LEAST_RATE = 0.02
"""A stretch with nearly all blocks lost still counts for this much: a readout of 100 % is a rounded one."""

FEWEST_FOR_INTERVAL = 2
_Z_95 = 1.6449


@dataclass(frozen=True, eq=False)
class Reception:
    """The exposure clock in seconds of full reception: `full_s` at `exposure_s`, both increasing, from 0 on.

    `mean` is the share of blocks received over the whole exposure with its 90 % interval (from the scatter of the
    readings; None with a single one), `latest` the share now, by which the future is scaled.
    """

    exposure_s: Array
    full_s: Array
    mean: float
    mean_90: tuple[float, float] | None
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
    """How well was received, from block errors of the best path at each time; None without a readout of them.

    A reading holds until the next one, but not for longer than receiving does; elsewhere the mean share holds.
    """
    share, at_s = _shares(job, clock)
    if not len(share):
        return None
    mean = float(share.mean())
    spread = None
    if len(share) >= FEWEST_FOR_INTERVAL:
        half = _Z_95 * float(share.std(ddof=1)) / np.sqrt(len(share))
        spread = (max(mean - half, 0.0), min(mean + half, 1.0))
    ends_s = np.minimum(np.append(at_s[1:], clock.end_s), at_s + RECEIVED_HOLD_S)
    times_s = np.column_stack([at_s, ends_s]).ravel()
    marks = np.concatenate([[0.0], np.maximum.accumulate(clock.lower_s(times_s)), [clock.exposure_s]])
    rates = np.concatenate([[mean], np.column_stack([share, np.full(len(share), mean)]).ravel()])
    full = np.concatenate([[0.0], np.cumsum(np.diff(marks) * rates)])
    kept = np.concatenate([[True], np.diff(marks) > 0.0])
    exposure_s, full_s = marks[kept], full[kept]
    over_all = float(full_s[-1] / exposure_s[-1]) if exposure_s[-1] > 0.0 else mean
    return Reception(exposure_s, full_s, over_all, spread, float(share[-1]))


def _shares(job: Job, clock: ExposureClock) -> tuple[Array, Array]:
    """Shares of blocks received and when, in seconds since the first row: the best path of each moment."""
    rows = job.select("errors")
    rows = rows[((rows["t_s"] >= clock.era_start_s) & rows["number"].notna()).to_numpy()]
    if rows.empty:
        return np.zeros(0), np.zeros(0)
    best: pd.Series = rows.groupby("t_s", sort=True)["number"].min()
    share = np.maximum(1.0 - best.to_numpy(dtype=float) / 100.0, LEAST_RATE)
    return share, best.index.to_numpy(dtype=float)
