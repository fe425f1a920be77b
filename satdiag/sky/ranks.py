"""Best and worst hours of a day by elevation alone: `ranks_of`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import Instant
from satdiag.sky.orbits import Orbit
from satdiag.sky.passes import instant_words

Floats = NDArray[np.float64]
Instants = NDArray[np.datetime64]

HOUR = np.timedelta64(3600, "s")
# Satellites that stand still may seem to differ by rounding from hour to hour; less than this is no difference.
SAME_DEG = 0.05


@dataclass(frozen=True)
class Hour:
    """An hour of the day: the lowest elevation in it of the satellite that ranks so, and which one that was then."""

    from_: Instant
    to: Instant
    lowest_elevation_deg: float
    satellite: str


@dataclass(frozen=True)
class Rank:
    """Best and worst hour for the highest (1) or second highest (2) satellite; equal where nothing moves."""

    rank: int
    best: Hour
    worst: Hour
    same_all_day: bool


def ranks_of(orbits: Sequence[Orbit], instants: Instants, heights: Floats) -> tuple[Rank, ...]:
    """For the highest and, where there are two, the second highest satellite at each instant."""
    order = np.argsort(-heights, axis=0, kind="stable")
    return tuple(
        _rank(number, [orbit.name for orbit in orbits], instants, order[number - 1], heights)
        for number in (1, 2)
        if number <= len(orbits)
    )


def _rank(number: int, names: list[str], instants: Instants, which: NDArray[np.int64], heights: Floats) -> Rank:
    ranked = np.take_along_axis(heights, which[None, :], axis=0)[0]
    hours = []
    for begin in np.arange(instants[0], instants[-1], HOUR):
        finish = min(begin + HOUR, instants[-1])
        inside = np.flatnonzero((instants >= begin) & (instants <= finish))
        low = int(inside[np.argmin(ranked[inside])])
        hours.append(Hour(instant_words(begin), instant_words(finish), float(ranked[low]), names[int(which[low])]))
    best = max(hours, key=lambda hour: hour.lowest_elevation_deg)
    worst = min(hours, key=lambda hour: hour.lowest_elevation_deg)
    return Rank(number, best, worst, best.lowest_elevation_deg - worst.lowest_elevation_deg < SAME_DEG)
