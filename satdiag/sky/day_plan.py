"""Where the satellites stand over one day at one site, and how to park for them: `plan_day`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import Instant, Interval, Mask, SatelliteSky, plain_values
from satdiag.language import tell, translated
from satdiag.sheet import Site
from satdiag.sky.along import Along, along
from satdiag.sky.clear_hours import ClearHours, clear_hours
from satdiag.sky.constellation import Constellation
from satdiag.sky.mask.site import judged
from satdiag.sky.moments import Moment, moments
from satdiag.sky.orbits import Handover, Orbit, check_age, elevations_deg, handovers, highest_of
from satdiag.sky.parking import TRUE_NORTH, Standing, parking_advice
from satdiag.sky.passes import highest, instant_words, passes, sample_instants
from satdiag.sky.place_prior import LOWEST_OF_TABLE_DEG, UNDER_A_ROOF, low_words
from satdiag.sky.pole import at_a_pole, pole_words
from satdiag.sky.propagation.street import Street
from satdiag.sky.ranks import Rank, ranks_of
from satdiag.sky.skyline_at import edge_at
from satdiag.sky.stay import Stay, mask_of, with_chance
from satdiag.sky.street_of import street_of_obstacles

Floats = NDArray[np.float64]
Instants = NDArray[np.datetime64]
Ends = tuple[Instant, Instant]

HOUR = np.timedelta64(3600, "s")
TRACK_STEP_S = 300.0


@dataclass(frozen=True)
class PassTimes:
    """One time above the service's least elevation. `rise` and `set` are None where they lie outside the day."""

    rise: Instant | None
    culmination: Instant
    culmination_elevation_deg: float
    set: Instant | None


@dataclass(frozen=True)
class TrackPoint:
    """A direction at an instant; `hour` marks the full hours of the day, which get a tick."""

    at: Instant
    azimuth_deg: float
    elevation_deg: float
    hour: bool


@dataclass(frozen=True)
class SatelliteDay:
    """One satellite over the day.

    `sky` is its direction with the chance that it is clear, for a satellite that moves at its highest instant of the
    day (`sky.as_of`). `passes` and `track` (only while above the horizon) are empty for one that stands still.
    `p_clear_while_up`: of one that moves, the share of the time while it stands high enough for the service in which
    it is expected to be clear.
    """

    sky: SatelliteSky
    moves: bool
    status: str
    elements_age_days: float | None
    passes: tuple[PassTimes, ...]
    track: tuple[TrackPoint, ...]
    p_clear_while_up: float | None = None
    p_clear_while_up_90: Interval | None = None


@dataclass(frozen=True)
class Change:
    """The instant from which another satellite (None: none that stands high enough) is the highest."""

    at: Instant
    from_: str | None
    to: str | None


@dataclass(frozen=True)
class DayPlan:
    """The plan of one day at one site. Everything in `cautions` must be shown wherever the plan is.

    `ranks` go by elevation alone, `clear_hours` by the chance that at least one satellite is clear; None where the
    sky there is not known. `moments`: where all satellites stand in the middle of the best and of the worst hour.
    `street`: the one that obstacles listed for the site form.
    """

    site: Site
    day: str
    from_: Instant
    to: Instant
    constellation: str
    coverage_min_elevation_deg: float
    satellites: tuple[SatelliteDay, ...]
    ranks: tuple[Rank, ...]
    handovers: tuple[Change, ...]
    advice: tuple[str, ...]
    cautions: tuple[str, ...]
    mask: Mask | None
    place: str | None
    frequency_mhz: float | None = None
    clear_hours: ClearHours | None = None
    moments: tuple[Moment, ...] = ()
    street: Street | None = None

    def to_dict(self) -> dict[str, Any]:
        """The plan as plain JSON values, numbers with six digits."""
        plain: dict[str, Any] = plain_values(self)
        return plain


# --- the plan ----------------------------------------------------------------------------------------------------


def plan_day(
    stay: Stay,
    day: str,
    span: tuple[np.datetime64, np.datetime64],
    constellation: Constellation,
    orbits: Sequence[Orbit],
) -> DayPlan:
    """The plan of the day `day` (a word for people) between two UTC instants, seen from where the vehicle stands.

    Raises SatdiagError where a satellite's elements are too old for that day or do not reach it.
    """
    start, end = span
    cautions = (
        *([constellation.caution] if constellation.caution else []),
        *check_age(orbits, start + (end - start) // 2),
        *pole_words(stay.site),
    )
    minimum = constellation.coverage_min_elevation_deg
    instants = sample_instants(start, end, min(60.0, *(orbit.step_s for orbit in orbits)))
    heights = elevations_deg(orbits, stay.site, instants)
    satellites = tuple(_satellite(stay, orbit, span, minimum) for orbit in orbits)
    mask = mask_of(stay)
    ranks = ranks_of(orbits, instants, heights)
    by_chance = clear_hours(stay, orbits, span, minimum)
    return DayPlan(
        site=stay.site,
        day=day,
        from_=instant_words(start),
        to=instant_words(end),
        constellation=constellation.name,
        coverage_min_elevation_deg=minimum,
        satellites=satellites,
        ranks=ranks,
        handovers=tuple(_change(one) for one in handovers(orbits, stay.site, instants, minimum)),
        advice=_advice(stay, orbits, instants, heights, satellites, minimum, mask),
        cautions=cautions,
        mask=mask,
        place=stay.place,
        frequency_mhz=_frequency_mhz(constellation),
        clear_hours=by_chance,
        moments=moments(orbits, stay.site, start, *_hours_that_count(by_chance, ranks)),
        street=street_of_obstacles(stay.obstacles),
    )


def _hours_that_count(by_chance: ClearHours | None, ranks: Sequence[Rank]) -> tuple[Ends, Ends]:
    """Best and worst hour by the chance of a clear way where it is known and changes, else by elevation."""
    if by_chance is not None and not by_chance.same_all_day:
        best, worst = by_chance.best, by_chance.worst
        return (best.from_, best.to), (worst.from_, worst.to)
    high, low = ranks[0].best, ranks[0].worst
    return (high.from_, high.to), (low.from_, low.to)


def _frequency_mhz(constellation: Constellation) -> float | None:
    """The middle of the band, else the mean of the satellites' own frequencies."""
    if constellation.band_mhz is not None:
        return sum(constellation.band_mhz) / 2.0
    known = [one.frequency_mhz for one in constellation.satellites if one.frequency_mhz is not None]
    return sum(known) / len(known) if known else None


def _words_or_none(instant: np.datetime64 | None) -> Instant | None:
    return None if instant is None else instant_words(instant)


def _change(one: Handover) -> Change:
    return Change(instant_words(one.at), one.from_, one.to)


# --- one satellite -----------------------------------------------------------------------------------------------


def _satellite(
    stay: Stay, orbit: Orbit, span: tuple[np.datetime64, np.datetime64], minimum_deg: float
) -> SatelliteDay:
    start, end = span
    site = stay.site

    def elevation(instants: Instants) -> Floats:
        return orbit.elevation_deg(site, instants)

    at = highest(elevation, start, end, orbit.step_s)[0] if orbit.moves else start
    seen = orbit.seen_from(site, np.array([at]))
    azimuth, height, distance = (float(part[0]) for part in (seen.azimuth_deg, seen.elevation_deg, seen.range_km))
    as_of = instant_words(at) if orbit.moves else None
    bare = SatelliteSky(orbit.name, azimuth, height, distance, None, None, "none", as_of)
    sky = with_chance(stay, bare)
    found = passes(elevation, start, end, minimum_deg, orbit.step_s) if orbit.moves else ()
    track = _track(orbit, site, start, end) if orbit.moves else ()
    share = _share_while_up(stay, track, minimum_deg)
    return SatelliteDay(
        sky=judged(stay.seen, [sky])[0] if stay.seen else sky,
        moves=orbit.moves,
        status=orbit.satellite.status,
        elements_age_days=orbit.elements.age_days(start + (end - start) // 2) if orbit.elements else None,
        passes=tuple(
            PassTimes(
                _words_or_none(p.rise),
                instant_words(p.culmination),
                p.culmination_elevation_deg,
                _words_or_none(p.set_),
            )
            for p in found
        ),
        track=track,
        p_clear_while_up=share.mean if share else None,
        p_clear_while_up_90=share.mean_90 if share else None,
    )


def _share_while_up(stay: Stay, track: Sequence[TrackPoint], minimum_deg: float) -> Along | None:
    """How much of a way above the least elevation is expected to be clear; None where it is unknown."""
    up = [point for point in track if point.elevation_deg >= minimum_deg]
    azimuth, elevation = ([getattr(point, name) for point in up] for name in ("azimuth_deg", "elevation_deg"))
    return along(stay, np.array(azimuth, dtype=float), np.array(elevation, dtype=float))


def _track(orbit: Orbit, site: Site, start: np.datetime64, end: np.datetime64) -> tuple[TrackPoint, ...]:
    """Directions while above the horizon, every few minutes (or as close as a quick satellite asks) and each hour."""
    steps = sample_instants(start, end, min(TRACK_STEP_S, orbit.step_s))
    instants = np.unique(np.concatenate([steps, np.arange(start, end + HOUR, HOUR)]))
    instants = instants[instants <= end]
    seen = orbit.seen_from(site, instants)
    full = (instants - start) % HOUR == np.timedelta64(0, "us")
    return tuple(
        TrackPoint(instant_words(at), float(azimuth), float(height), bool(hour))
        for at, azimuth, height, hour in zip(instants, seen.azimuth_deg, seen.elevation_deg, full, strict=True)
        if height >= 0.0
    )


# --- how to park -------------------------------------------------------------------------------------------------


def _advice(
    stay: Stay,
    orbits: Sequence[Orbit],
    instants: Instants,
    heights: Floats,
    satellites: tuple[SatelliteDay, ...],
    minimum_deg: float,
    mask: Mask | None,
) -> tuple[str, ...]:
    best = highest_of(heights, minimum_deg)
    # A roof ends what a skyline could say.
    skyline = None if stay.place in UNDER_A_ROOF else mask
    standing = []
    for number, (orbit, satellite) in enumerate(zip(orbits, satellites, strict=True)):
        leads = best == number
        lowest = float(heights[number][leads].min()) if leads.any() else None
        azimuths = orbit.seen_from(stay.site, instants[leads]).azimuth_deg if leads.any() and orbit.moves else None
        behind = None
        if skyline is not None and azimuths is not None:
            behind = heights[number][leads] < edge_at(skyline, azimuths).edge_deg
        edge = None
        if skyline is not None and not orbit.moves and satellite.sky.azimuth_deg is not None:
            edge = edge_at(skyline, np.array([satellite.sky.azimuth_deg]))
        standing.append(Standing(satellite.sky, orbit.moves, lowest, azimuths, edge, behind))
    said = parking_advice(standing, minimum_deg, stay.place)
    if at_a_pole(stay.site):
        said = tuple(text for text in said if text != translated(TRUE_NORTH))
    low = (one.sky for one in satellites if one.sky.from_ == "place")
    notes = (
        low_words(sky.name, height) for sky in low if 0.0 < (height := sky.elevation_deg or 0.0) < LOWEST_OF_TABLE_DEG
    )
    return (*said, *(tell("Satellite {what}.", what=text) for text in notes))
