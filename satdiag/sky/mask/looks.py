"""Looks at the sky: what a receiver said of one navigation satellite at one instant, as plain arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Looks:
    """n looks, in any order; all arrays have shape (n,).

    `time_s` in seconds from any fixed instant. `satellite` and `group` are numbers: looks of one group (a
    constellation and a signal) share their level. `cn0_db_hz` is NaN where the receiver lists the satellite and does
    not track it. `witness` marks satellites that stand still and are searched for at the receiver's whim (SBAS).
    """

    time_s: Floats
    satellite: Integers
    group: Integers
    azimuth_deg: Floats
    elevation_deg: Floats
    cn0_db_hz: Floats
    witness: Flags

    def __len__(self) -> int:
        return len(self.time_s)

    def where(self, keep: Flags | Integers) -> Looks:
        """The looks that a mask or a list of places picks."""
        return Looks(**{part.name: getattr(self, part.name)[keep] for part in fields(self)})


def unit_vectors(azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """Directions as unit vectors east, north, up, shape (n, 3)."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    level = np.cos(elevation)
    return np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)
