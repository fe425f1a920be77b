"""The vehicle's supply as the receiver sees it: battery, charger, engine, cranking, a bad contact."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

BROWN_OUT_V = 6.3  # the receiver's processor resets below this


@dataclass
class Supply:
    """State of the supply. Times are whole seconds of the world's clock.

    A bad contact (loose fuse tap, poor earth) opens for a moment now and then; each opening is long or short,
    and only a deep one resets the receiver.
    """

    source: str = "battery"  # battery | charger | engine
    rest_v: float = 12.5
    bad_contact_per_h: float = 0.0
    minimum_v: float = 99.0
    cut: bool = False  # a blown fuse: nothing at all

    def steady_v(self) -> float:
        """Voltage without any dip [V]; ignition loads take a little from a battery."""
        if self.cut:
            return 0.05
        return {"battery": self.rest_v - 0.25, "charger": 13.4, "engine": 14.1}[self.source]

    def step(self, rng: Random) -> float:
        """Lowest voltage of the next second [V]; also remembered in `minimum_v`."""
        lowest = self.steady_v()
        if self.bad_contact_per_h and rng.random() < self.bad_contact_per_h / 3600.0:
            lowest = rng.choice((rng.uniform(0.4, 4.0), rng.uniform(3.0, 6.2), rng.uniform(6.5, 9.0)))
        self.minimum_v = min(self.minimum_v, lowest)
        return lowest

    def crank(self, rng: Random) -> float:
        """Start the engine: the lowest voltage of the dip [V] (ISO 16750-2 profiles dip to 8 V and below)."""
        lowest = rng.uniform(7.4, 9.6)
        if self.bad_contact_per_h:
            lowest = rng.uniform(3.5, 6.0)  # the bad contact adds its own drop at the worst moment
        self.source = "engine"
        self.minimum_v = min(self.minimum_v, lowest)
        return lowest

    def read_minimum(self, shown_v: float, rng: Random) -> float:
        """Read and clear a peak-hold meter [V] that shows `shown_v` just now."""
        value = min(self.minimum_v, shown_v) - rng.uniform(0.05, 0.15)
        self.minimum_v = 99.0
        return max(0.0, value)
