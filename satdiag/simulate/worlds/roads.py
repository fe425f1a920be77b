"""Loss on the way from a satellite: driving past trees and houses, and standing under a roof.

Driving: the two-state model of ITU-R P.681-11, 6.2 and Annex 2, for 1.5 to 3 GHz, elevations nearest to 30 and 45
degrees. States alternate; their lengths in metres are log-normal, not shorter than a least length; each draws a mean
level of the direct path. The slow variation is a first-order recursion around that mean over the correlation length
(the mean itself does not pass the filter). Standing: building entry loss of ITU-R P.2109-2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from random import Random
from statistics import NormalDist


@dataclass(frozen=True)
class RoadState:
    """One state of an environment: length exp(N(mu, sigma)) m at least `least_m`, level N(mean_db, spread_db).

    `slope` and `offset_db` give the spread of the direct path from the level drawn: g1 M + g2.
    """

    mu: float
    sigma: float
    least_m: float
    mean_db: float
    spread_db: float
    slope: float
    offset_db: float

    def length_m(self, rng: Random) -> float:
        """A length; draws below the least are repeated."""
        for _ in range(60):
            length = math.exp(rng.gauss(self.mu, self.sigma))
            if length >= self.least_m:
                return length
        return self.least_m

    def level_db(self, rng: Random) -> float:
        """A mean level against open sky, within its 10-90 % range."""
        return self.mean_db + self.spread_db * max(-1.2816, min(1.2816, rng.gauss(0.0, 1.0)))


# (environment, elevation of the column): good state, bad state, correlation length [m].
ROADS: dict[tuple[str, int], tuple[RoadState, RoadState, float]] = {
    ("suburban", 30): (
        RoadState(3.0138, 1.4161, 8.3214, -0.7018, 1.2107, -0.1333, 0.8992),
        RoadState(2.4521, 0.7637, 5.9087, -11.9823, 3.4728, -0.1644, 0.2762),
        1.7135,
    ),
    ("suburban", 45): (
        RoadState(4.5857, 1.3918, 126.8375, -1.1496, 1.0369, 0.0729, 1.0303),
        RoadState(2.2414, 0.7884, 4.3132, -10.3806, 2.3543, 0.0662, 3.5043),
        3.2293,
    ),
    ("rural-wooded", 30): (
        RoadState(2.5579, 1.2444, 3.5947, -1.3214, 1.6645, -0.1656, 0.7180),
        RoadState(2.3791, 1.1778, 2.2800, -10.4240, 2.4446, -0.0451, 2.2327),
        1.0942,
    ),
    ("rural-wooded", 45): (
        RoadState(3.1803, 1.3427, 6.7673, -0.9902, 1.0348, -0.1095, 0.6893),
        RoadState(2.5382, 1.1291, 3.3683, -10.2891, 2.3090, -0.0460, 2.1310),
        2.3956,
    ),
}


@dataclass
class RoadFade:
    """One path while driving: excess loss [dB] as the metres go by. `crowded` > 1 lengthens the bad stretches."""

    environment: str
    column: int
    crowded: float = 1.0
    bad: bool = False
    left_m: float = 0.0
    level_db: float = 0.0
    spread_db: float = 1.0
    slow: float = 0.0

    def enter(self, bad: bool, rng: Random) -> None:
        """Begin a stretch of good or of bad."""
        good, poor, _ = ROADS[self.environment, self.column]
        state = poor if bad else good
        self.bad = bad
        self.left_m = state.length_m(rng) * (self.crowded if bad else 1.0 / self.crowded)
        self.level_db = state.level_db(rng)
        self.spread_db = max(0.2, state.slope * self.level_db + state.offset_db)

    def drive(self, metres: float, rng: Random) -> float:
        """Go on by some metres: the excess loss there [dB], negative where it is better than open sky."""
        self.left_m -= metres
        while self.left_m <= 0.0:
            rest = self.left_m
            self.enter(not self.bad, rng)
            self.left_m += rest
        memory = math.exp(-metres / ROADS[self.environment, self.column][2])
        self.slow = memory * self.slow + math.sqrt(1.0 - memory * memory) * rng.gauss(0.0, 1.0)
        return -(self.level_db + self.spread_db * self.slow)


@dataclass
class Drive:
    """A vehicle on a road: both satellites' fades, which meet the same trees now and then, and the speed."""

    environment: str
    elevations_deg: tuple[float, float]
    crowded: float
    together: float
    speed_m_s: float
    fades: list[RoadFade] = field(default_factory=list)

    def __post_init__(self) -> None:
        """A fade for each satellite, from the nearest column of the table."""
        if not self.fades:
            columns = (30 if elevation < 37.5 else 45 for elevation in self.elevations_deg)
            self.fades = [RoadFade(self.environment, column, self.crowded) for column in columns]

    def step(self, rng: Random) -> tuple[float, float]:
        """One second: excess losses towards the two satellites [dB]."""
        self.speed_m_s = max(0.0, min(25.0, self.speed_m_s + rng.gauss(0.0, 0.8)))
        was = [fade.bad for fade in self.fades]
        losses = [fade.drive(max(0.5, self.speed_m_s), rng) for fade in self.fades]
        for one, other in ((0, 1), (1, 0)):
            if self.fades[one].bad and not was[one] and not self.fades[other].bad and rng.random() < self.together:
                self.fades[other].enter(True, rng)
        return losses[0], losses[1]


def entry_loss_db(share: float, elevation_deg: float, frequency_ghz: float = 2.33, efficient: bool = False) -> float:
    """Building entry loss that a share (0..1) of buildings does not exceed [dB] (ITU-R P.2109-2)."""
    r, s, t, u, v, w, x, y, z = (
        (28.19, -3.0, 8.48, 13.5, 3.8, 27.8, -2.9, 9.4, -2.1)
        if efficient
        else (12.64, 3.72, 0.96, 9.6, 2.0, 9.1, -3.0, 4.5, -2.0)
    )
    decades = math.log10(frequency_ghz)
    mean_1 = r + s * decades + t * decades**2 + 0.212 * abs(elevation_deg)
    normal = NormalDist().inv_cdf(share)
    first = normal * (u + v * decades) + mean_1
    second = normal * (y + z * decades) + w + x * decades
    return 10.0 * math.log10(10.0 ** (0.1 * first) + 10.0 ** (0.1 * second) + 10.0 ** (0.1 * -3.0))
