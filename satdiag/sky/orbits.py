"""The satellites of a constellation over time: positions, look angles, which stands highest, and hand-overs.

A geostationary satellite and one that moves are asked the same questions here. Arrays are (satellites, instants).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.csv_text import decode
from satdiag.errors import SatdiagError, bad_input
from satdiag.language import tell
from satdiag.sheet import Site
from satdiag.sky.constellation import JOB_FILE, Constellation, Satellite
from satdiag.sky.elements import ElementSet, find_set, parse_elements, positions_km
from satdiag.sky.look_angles import LookAngles, geostationary_position_km, look_angles
from satdiag.sky.passes import REFINED_S

Floats = NDArray[np.float64]
Instants = NDArray[np.datetime64]

# A turn is looked at this many times, so that a low orbit's shortest passes worth having are not stepped over.
_STEPS_A_TURN = 240
_STEP_RANGE_S = (10.0, 300.0)
NONE_UP = -1
"""In place of a satellite's number: none of them stands high enough."""


@dataclass(frozen=True)
class Orbit:
    """One satellite of a constellation with the elements that move it; without, it stands at its longitude."""

    satellite: Satellite
    elements: ElementSet | None = None

    @property
    def name(self) -> str:
        """The satellite's name in its constellation."""
        return self.satellite.name

    @property
    def moves(self) -> bool:
        """False for a geostationary satellite."""
        return self.elements is not None

    @property
    def step_s(self) -> float:
        """How far apart its direction may be sampled."""
        low, high = _STEP_RANGE_S
        return high if self.elements is None else min(max(self.elements.period_s / _STEPS_A_TURN, low), high)

    def seen_from(self, site: Site, instants: Instants) -> LookAngles:
        """Look angles (n,) at n UTC instants. Raises SatdiagError where the elements do not reach so far."""
        if self.elements is not None:
            position = positions_km(self.elements, instants)
        else:
            position = np.broadcast_to(geostationary_position_km(_longitude(self.satellite)), (np.size(instants), 3))
        return look_angles(position, site.latitude_deg, site.longitude_deg, site.height_m)

    def elevation_deg(self, site: Site, instants: Instants) -> Floats:
        """Elevations (n,) at n UTC instants."""
        return self.seen_from(site, instants).elevation_deg


@dataclass(frozen=True)
class Handover:
    """The instant from which another satellite (or none: None) stands highest."""

    at: np.datetime64
    from_: str | None
    to: str | None


def _longitude(satellite: Satellite) -> float:
    if satellite.longitude_deg is None:
        raise ValueError(f"satellite {satellite.name} has neither a longitude nor elements")
    return satellite.longitude_deg


def orbits_of(constellation: Constellation, documents: Mapping[str, bytes]) -> tuple[Orbit, ...]:
    """The satellites of a constellation, with their elements out of its own text or of files beside it.

    Raises BadInput for elements that are missing or cannot be read.
    """
    return tuple(Orbit(satellite, _elements(satellite, documents)) for satellite in constellation.satellites)


def _elements(satellite: Satellite, documents: Mapping[str, bytes]) -> ElementSet | None:
    for kind, text in (("tle", satellite.tle), ("omm", satellite.omm)):
        if text is not None:
            return find_set(parse_elements(text, f"elements.{kind}"), satellite.name, f"elements.{kind}")
    file = satellite.elements
    if file is None:
        return None
    if file not in documents:
        what = f"the elements of satellite '{satellite.name}' are to be in {file}, which is not in the job"
        raise bad_input(JOB_FILE, what, "Put the file into the job.")
    return find_set(parse_elements(decode(documents[file], file), file), satellite.name, file)


def age_warning(orbit: Orbit, instant: np.datetime64) -> str | None:
    """What must be said of a satellite's elements for their age at an instant; None where they are fresh."""
    if orbit.elements is None:
        return None
    age, limits = orbit.elements.age_days(instant), orbit.elements.age_limits
    if age <= limits.warn_days:
        return None
    return tell(
        "the elements of '{satellite}' are {days:.0f} days from the time asked for (fresh is up to {fresh:g}): "
        "it may be degrees off",
        satellite=orbit.name,
        days=age,
        fresh=limits.warn_days,
    )


def too_old(orbit: Orbit, instant: np.datetime64) -> bool:
    """True where a satellite's elements are too far from an instant to say anything of its direction."""
    return orbit.elements is not None and orbit.elements.age_days(instant) > orbit.elements.age_limits.refuse_days


def check_age(orbits: Sequence[Orbit], instant: np.datetime64) -> tuple[str, ...]:
    """Warnings about old elements. Raises SatdiagError for elements that are too old to use at all."""
    for orbit in orbits:
        if orbit.elements is not None and too_old(orbit, instant):
            raise SatdiagError(
                f"the elements of '{orbit.name}' are of {str(orbit.elements.epoch)[:10]}, "
                f"{orbit.elements.age_days(instant):.0f} days from the time asked for; beyond "
                f"{orbit.elements.age_limits.refuse_days:g} days they say nothing. Get newer elements, or name a day "
                "nearer to them."
            )
    return tuple(text for orbit in orbits if (text := age_warning(orbit, instant)))


def elevations_deg(orbits: Sequence[Orbit], site: Site, instants: Instants) -> Floats:
    """Elevations (satellites, instants) of all satellites."""
    return np.stack([orbit.elevation_deg(site, instants) for orbit in orbits])


def highest_of(elevation_deg: Floats, minimum_deg: float) -> NDArray[np.int64]:
    """Which satellite (a row of (satellites, instants)) stands highest at each instant; NONE_UP below the minimum.

    Of two that stand equally high the first counts.
    """
    best = np.argmax(elevation_deg, axis=0)
    return np.where(elevation_deg.max(axis=0) >= minimum_deg, best, NONE_UP).astype(np.int64)


def handovers(orbits: Sequence[Orbit], site: Site, instants: Instants, minimum_deg: float) -> tuple[Handover, ...]:
    """Each change of the highest satellite between the first and the last of the instants, to `REFINED_S`.

    What changes twice between two of the instants may be missed: give them as close as the quickest satellite asks.
    """
    best = highest_of(elevations_deg(orbits, site, instants), minimum_deg)
    found = []
    for edge in np.flatnonzero(best[1:] != best[:-1]):
        found += _changes(
            orbits, site, minimum_deg, (instants[edge], instants[edge + 1]), (best[edge], best[edge + 1])
        )
    return tuple(found)


def _changes(
    orbits: Sequence[Orbit],
    site: Site,
    minimum_deg: float,
    ends: tuple[np.datetime64, np.datetime64],
    best: tuple[int, int],
) -> list[Handover]:
    """The changes between two instants: halving in to where the first one's lead ends, then on to the last."""
    found = []
    (low, last), current = ends, best[0]
    while current != best[1]:
        high, after = last, best[1]
        while high - low > np.timedelta64(round(REFINED_S * 1e6), "us"):
            middle = low + (high - low) // 2
            there = int(highest_of(elevations_deg(orbits, site, np.array([middle])), minimum_deg)[0])
            if there == current:
                low = middle
            else:
                high, after = middle, there
        found.append(Handover(high, _name(orbits, current), _name(orbits, after)))
        low, current = high, after
    return found


def _name(orbits: Sequence[Orbit], number: int) -> str | None:
    return None if number == NONE_UP else orbits[number].name
