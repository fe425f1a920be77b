"""Where the satellites stand over one day at one site, and how to park for them: `plan_day`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import Instant, Mask, SatelliteSky, instant_text, plain_values
from satdiag.job import Job
from satdiag.sheet import Site
from satdiag.sky.constellation import Constellation
from satdiag.sky.estimate import Stay, mask_of, stays_in, with_chance, with_record
from satdiag.sky.mask.parked import record_in
from satdiag.sky.mask.site import judged
from satdiag.sky.orbits import Handover, Orbit, check_age, elevations_deg, handovers, highest_of
from satdiag.sky.parking import Standing, parking_advice
from satdiag.sky.passes import highest, passes, sample_instants

Floats = NDArray[np.float64]
Instants = NDArray[np.datetime64]

HOUR = np.timedelta64(3600, "s")
TRACK_STEP_S = 300.0
# Satellites that stand still may seem to differ by rounding from hour to hour; less than this is no difference.
SAME_DEG = 0.05


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
    """

    sky: SatelliteSky
    moves: bool
    status: str
    elements_age_days: float | None
    passes: tuple[PassTimes, ...]
    track: tuple[TrackPoint, ...]


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


@dataclass(frozen=True)
class Change:
    """The instant from which another satellite (None: none that stands high enough) is the highest."""

    at: Instant
    from_: str | None
    to: str | None


@dataclass(frozen=True)
class DayPlan:
    """The plan of one day at one site. Everything in `cautions` must be shown wherever the plan is."""

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

    def to_dict(self) -> dict[str, Any]:
        """The plan as plain JSON values, numbers with six digits."""
        plain: dict[str, Any] = plain_values(self)
        return plain


# --- the plan ----------------------------------------------------------------------------------------------------


def stays_of(job: Job) -> list[Stay]:
    """The stays of a job, one a site, with all that is known of the sky there."""
    record = record_in(job.documents)
    return [with_record(stay, record, len(job.sheet.sites) == 1) for stay in stays_in(job)]


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
    )
    minimum = constellation.coverage_min_elevation_deg
    instants = sample_instants(start, end, min(60.0, *(orbit.step_s for orbit in orbits)))
    heights = elevations_deg(orbits, stay.site, instants)
    satellites = tuple(_satellite(stay, orbit, span, minimum) for orbit in orbits)
    return DayPlan(
        site=stay.site,
        day=day,
        from_=_text(start),
        to=_text(end),
        constellation=constellation.name,
        coverage_min_elevation_deg=minimum,
        satellites=satellites,
        ranks=_ranks(orbits, instants, heights),
        handovers=tuple(_change(one) for one in handovers(orbits, stay.site, instants, minimum)),
        advice=_advice(stay, orbits, instants, heights, satellites, minimum),
        cautions=cautions,
        mask=mask_of(stay),
        place=stay.place,
        frequency_mhz=_frequency_mhz(constellation),
    )


def _frequency_mhz(constellation: Constellation) -> float | None:
    """The middle of the band, else the mean of the satellites' own frequencies."""
    if constellation.band_mhz is not None:
        return sum(constellation.band_mhz) / 2.0
    known = [one.frequency_mhz for one in constellation.satellites if one.frequency_mhz is not None]
    return sum(known) / len(known) if known else None


def _text(instant: np.datetime64) -> Instant:
    """An instant to the whole second, which is what the search for it is worth."""
    whole = (instant.astype("datetime64[us]") + np.timedelta64(500_000, "us")).astype("datetime64[s]")
    return instant_text(whole) or ""


def _text_or_none(instant: np.datetime64 | None) -> Instant | None:
    return None if instant is None else _text(instant)


def _change(one: Handover) -> Change:
    return Change(_text(one.at), one.from_, one.to)


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
    as_of = _text(at) if orbit.moves else None
    bare = SatelliteSky(orbit.name, azimuth, height, distance, None, None, "none", as_of)
    sky = with_chance(stay, bare)
    found = passes(elevation, start, end, minimum_deg, orbit.step_s) if orbit.moves else ()
    return SatelliteDay(
        sky=judged(stay.seen, [sky])[0] if stay.seen else sky,
        moves=orbit.moves,
        status=orbit.satellite.status,
        elements_age_days=orbit.elements.age_days(start + (end - start) // 2) if orbit.elements else None,
        passes=tuple(
            PassTimes(_text_or_none(p.rise), _text(p.culmination), p.culmination_elevation_deg, _text_or_none(p.set_))
            for p in found
        ),
        track=_track(orbit, site, start, end) if orbit.moves else (),
    )


def _track(orbit: Orbit, site: Site, start: np.datetime64, end: np.datetime64) -> tuple[TrackPoint, ...]:
    """Directions while above the horizon, every few minutes (or as close as a quick satellite asks) and each hour."""
    steps = sample_instants(start, end, min(TRACK_STEP_S, orbit.step_s))
    instants = np.unique(np.concatenate([steps, np.arange(start, end + HOUR, HOUR)]))
    instants = instants[instants <= end]
    seen = orbit.seen_from(site, instants)
    full = (instants - start) % HOUR == np.timedelta64(0, "us")
    return tuple(
        TrackPoint(_text(at), float(azimuth), float(height), bool(hour))
        for at, azimuth, height, hour in zip(instants, seen.azimuth_deg, seen.elevation_deg, full, strict=True)
        if height >= 0.0
    )


# --- best and worst hours ----------------------------------------------------------------------------------------


def _ranks(orbits: Sequence[Orbit], instants: Instants, heights: Floats) -> tuple[Rank, ...]:
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
        hours.append(Hour(_text(begin), _text(finish), float(ranked[low]), names[int(which[low])]))
    best = max(hours, key=lambda hour: hour.lowest_elevation_deg)
    worst = min(hours, key=lambda hour: hour.lowest_elevation_deg)
    return Rank(number, best, worst, best.lowest_elevation_deg - worst.lowest_elevation_deg < SAME_DEG)


# --- how to park -------------------------------------------------------------------------------------------------


def _advice(
    stay: Stay,
    orbits: Sequence[Orbit],
    instants: Instants,
    heights: Floats,
    satellites: tuple[SatelliteDay, ...],
    minimum_deg: float,
) -> tuple[str, ...]:
    best = highest_of(heights, minimum_deg)
    standing = []
    for number, (orbit, satellite) in enumerate(zip(orbits, satellites, strict=True)):
        leads = best == number
        lowest = float(heights[number][leads].min()) if leads.any() else None
        azimuths = orbit.seen_from(stay.site, instants[leads]).azimuth_deg if leads.any() and orbit.moves else None
        standing.append(Standing(satellite.sky, orbit.moves, lowest, azimuths))
    return parking_advice(standing, minimum_deg, stay.place)
