"""Where all satellites stand at the instants of a day that count: in its best and in its worst hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from satdiag.findings import Instant
from satdiag.sheet import Site
from satdiag.sky.orbits import Orbit
from satdiag.sky.passes import instant_words

Word = Literal["all-day", "best-hour", "worst-hour"]


@dataclass(frozen=True)
class Direction:
    """A satellite's direction at an instant."""

    name: str
    azimuth_deg: float
    elevation_deg: float


@dataclass(frozen=True)
class Moment:
    """All satellites at one and the same instant: the middle of an hour, or any where nothing moves."""

    word: Word
    at: Instant
    directions: tuple[Direction, ...]


def moments(
    orbits: Sequence[Orbit],
    site: Site,
    start: np.datetime64,
    best: tuple[Instant, Instant],
    worst: tuple[Instant, Instant],
) -> tuple[Moment, ...]:
    """The middles of the best and the worst hour, each given by its ends; one instant alone where nothing changes."""
    if not any(orbit.moves for orbit in orbits):
        return (_moment("all-day", start, orbits, site),)
    if best == worst:
        return (_moment("all-day", _middle(best), orbits, site),)
    return (
        _moment("best-hour", _middle(best), orbits, site),
        _moment("worst-hour", _middle(worst), orbits, site),
    )


def _moment(word: Word, at: np.datetime64, orbits: Sequence[Orbit], site: Site) -> Moment:
    found = []
    for orbit in orbits:
        seen = orbit.seen_from(site, np.array([at]))
        found.append(Direction(orbit.name, float(seen.azimuth_deg[0]), float(seen.elevation_deg[0])))
    return Moment(word, instant_words(at), tuple(found))


def _middle(hour: tuple[Instant, Instant]) -> np.datetime64:
    begin, end = (np.datetime64(instant.removesuffix("Z"), "us") for instant in hour)
    return begin + (end - begin) // 2
