"""From delay to distance with its uncertainty: velocity factor, plane of calibration, width of a bin, noise.

`distance = velocity factor * c * delay / 2 - reference plane`. The velocity factor is taken as evenly likely within
its range, the rest as normal; their sum is worked out on a grid of velocity factors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from satdiag.findings import Interval
from satdiag.wiring.feedline.cable import LIGHT_M_PER_S
from satdiag.wiring.feedline.setup import Setup

PLANE_SD_M = 0.01
"""Standard deviation of the plane of calibration, connector and adaptor included (judgement, no source)."""
_GRID = 401


@dataclass(frozen=True)
class Distance:
    """A delay as a distance: every velocity factor in the range, and a standard deviation of the rest in metres."""

    delay_s: float
    velocity: float | None
    velocity_range: tuple[float, float]
    offset_m: float
    sd_m: float

    @property
    def middle_m(self) -> float | None:
        """With the stated velocity factor; None without one."""
        return None if self.velocity is None else self._at(self.velocity)

    @property
    def usual_m(self) -> float:
        """The same with the middle of the range where no velocity factor is stated."""
        return self._at(self.velocity if self.velocity is not None else 0.5 * sum(self.velocity_range))

    def _at(self, velocity: float) -> float:
        return velocity * LIGHT_M_PER_S * self.delay_s / 2.0 - self.offset_m

    def below(self, distance_m: float) -> float:
        """The probability that the true distance is less than this."""
        low, high = self.velocity_range
        velocities = low + (high - low) * (np.arange(_GRID) + 0.5) / _GRID
        centres = velocities * LIGHT_M_PER_S * self.delay_s / 2.0 - self.offset_m
        return float(ndtr((distance_m - centres) / self.sd_m).mean())

    @property
    def interval_m(self) -> Interval:
        """The 90 % interval; without a velocity factor the whole range with the rest added at each end."""
        ends = sorted(self._at(velocity) for velocity in self.velocity_range)
        if self.velocity is None:
            return ends[0] - 1.645 * self.sd_m, ends[1] + 1.645 * self.sd_m
        from scipy.optimize import brentq  # dear to import, and seldom needed

        low, high = ends[0] - 6.0 * self.sd_m, ends[1] + 6.0 * self.sd_m
        return tuple(float(brentq(lambda x, p=p: self.below(x) - p, low, high)) for p in (0.05, 0.95))  # type: ignore[return-value]


def distance_of(delay_s: float, delay_sd_s: float, setup: Setup) -> Distance:
    """The distance of a delay that is known to a standard deviation."""
    of_delay = setup.usual_velocity * LIGHT_M_PER_S / 2.0 * delay_sd_s
    sd_m = float(np.hypot(PLANE_SD_M, of_delay))
    return Distance(delay_s, setup.velocity, setup.velocity_range, setup.reference_plane_m, sd_m)


def delay_of(distance_m: float, setup: Setup) -> float:
    """The round-trip delay of a place along the lead."""
    return 2.0 * (distance_m + setup.reference_plane_m) / (setup.usual_velocity * LIGHT_M_PER_S)
