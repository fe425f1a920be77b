"""Satellites that move, over all the time that the vehicle stood at a site: `while_there`, `handovers_there`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from satdiag.findings import HighestChange, SatelliteSky, SatelliteStay, SkyAt, SkyPass, instant_text
from satdiag.job import Job
from satdiag.sheet import Site
from satdiag.sky.along import Along, along
from satdiag.sky.mask.looks import Floats
from satdiag.sky.orbits import Instants, Orbit, handovers
from satdiag.sky.passes import Pass, instant_words, passes, sample_instants
from satdiag.sky.stay import Stay
from satdiag.spans import Spans, intersect, spans

Span = tuple[np.datetime64, np.datetime64]

WAY_STEP_S = 600.0
MOST_POINTS = 240
"""A long stay is sampled no more often than this, whatever its length."""
_SECOND = np.timedelta64(1, "s")


def spans_at(job: Job, site: Site) -> list[Span]:
    """The stretches of the job's visits in which the vehicle stood at a site; the first site is where it starts."""
    moves = job.select("site")
    at = [0.0, *moves["t_s"].to_numpy(dtype=float).tolist()]
    names = [job.sheet.sites[0].name, *moves["value"].tolist()]
    ends = [*at[1:], job.end_s]
    there = [
        (begin, end) for begin, end, name in zip(at, ends, names, strict=True) if name == site.name and end > begin
    ]
    visits = [(visit.start_s, visit.end_s) for visit in job.visits if visit.end_s > visit.start_s]
    if not there or not visits:
        return []
    return _instants(job, intersect(spans(there), spans(visits)))


def _instants(job: Job, found: Spans) -> list[Span]:
    pairs = ((job.instant(float(begin)), job.instant(float(end))) for begin, end in found)
    return [(begin, end) for begin, end in pairs if begin is not None and end is not None]


def while_there(
    job: Job, stay: Stay, orbits: Sequence[Orbit], satellites: Sequence[SatelliteSky], minimum_deg: float
) -> tuple[list[SatelliteSky], tuple[HighestChange, ...]]:
    """The satellites, those that move with their way over the stay; and when another one became the highest.

    `orbits` are of those satellites whose direction is known, by name.
    """
    moving = {orbit.name: orbit for orbit in orbits if orbit.moves}
    times = spans_at(job, stay.site)
    if not moving or not times:
        return list(satellites), ()
    found = [
        replace(sat, while_there=_stay_of(stay, moving[sat.name], times, minimum_deg))
        if sat.name in moving and sat.elevation_deg is not None
        else sat
        for sat in satellites
    ]
    return found, _handovers(orbits, stay.site, times, minimum_deg)


def _stay_of(stay: Stay, orbit: Orbit, times: Sequence[Span], minimum_deg: float) -> SatelliteStay:
    site = stay.site

    def elevation(instants: Instants) -> Floats:
        return orbit.elevation_deg(site, instants)

    above = [(one, *span) for span in times for one in passes(elevation, *span, minimum_deg, orbit.step_s)]
    stood_s = sum(_seconds(*span) for span in times)
    step_s = max(min(WAY_STEP_S, orbit.step_s), stood_s / MOST_POINTS)
    parts = [sample_instants(*span, step_s) for span in times]
    instants = np.concatenate(parts)
    seen = orbit.seen_from(site, instants)
    way = along(stay, seen.azimuth_deg, seen.elevation_deg, np.concatenate([_worth(part) for part in parts]))
    return SatelliteStay(
        stood_s=stood_s,
        high_s=sum(_seconds(_or(one.rise, begin), _or(one.set_, end)) for one, begin, end in above),
        passes=tuple(_pass(one) for one, _, _ in above),
        p_clear=way.mean if way else None,
        p_clear_90=way.mean_90 if way else None,
        way=_way(instants, seen.azimuth_deg, seen.elevation_deg, way),
    )


def _worth(instants: Instants) -> Floats:
    """How long each of even instants stands for, in steps of its own stretch: those at the ends for half as much."""
    step_s = _seconds(instants[0], instants[1])
    worth = np.full(len(instants), step_s)
    worth[[0, -1]] /= 2.0
    return worth


def _seconds(begin: np.datetime64, end: np.datetime64) -> float:
    return float((end - begin) / _SECOND)


def _or(instant: np.datetime64 | None, other: np.datetime64) -> np.datetime64:
    return other if instant is None else instant


def _pass(one: Pass) -> SkyPass:
    rise, finish = (None if at is None else instant_words(at) for at in (one.rise, one.set_))
    return SkyPass(rise, instant_words(one.culmination), one.culmination_elevation_deg, finish)


def _way(instants: Instants, azimuth_deg: Floats, elevation_deg: Floats, chances: Along | None) -> tuple[SkyAt, ...]:
    each: list[float | None] = [None] * len(instants) if chances is None else chances.each.tolist()
    return tuple(
        SkyAt(instant_text(at) or "", azimuth, elevation, chance)
        for at, azimuth, elevation, chance in zip(
            instants, azimuth_deg.tolist(), elevation_deg.tolist(), each, strict=True
        )
    )


def _handovers(
    orbits: Sequence[Orbit], site: Site, times: Sequence[Span], minimum_deg: float
) -> tuple[HighestChange, ...]:
    step_s = min(60.0, *(orbit.step_s for orbit in orbits))
    found = []
    for span in times:
        for one in handovers(orbits, site, sample_instants(*span, step_s), minimum_deg):
            found.append(HighestChange(instant_words(one.at), one.from_, one.to))
    return tuple(found)
