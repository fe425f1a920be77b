"""The plan of the job's day for the view 'Sky': how to park, the best hours, and the ways of satellites that move."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from satdiag.errors import SatdiagError
from satdiag.language import clock_text, date_text, tell
from satdiag.report.local_time import LocalTime, local_time_of, parse_instant, utc
from satdiag.report.numbers import percent
from satdiag.report.sky_plot import degrees_text
from satdiag.sky.day_plan import DayPlan, PassTimes, SatelliteDay, plan_day
from satdiag.sky.estimate import constellation_of
from satdiag.sky.orbits import orbits_of
from satdiag.sky.stay import Stay, stays_of

if TYPE_CHECKING:
    from satdiag.findings import Instant
    from satdiag.job import Job
    from satdiag.sky.constellation import Constellation

POINT_S = 600
"""Of the ways, points so far apart are drawn: at most 3 degrees of the sky for a satellite of a 24-hour orbit."""


class Way(NamedTuple):
    """The directions of a satellite that moves, while above the horizon; each unbroken part of the day for itself.

    A point: azimuth and elevation in degrees, and the local time at full hours ('' else).
    """

    name: str
    parts: list[list[tuple[float, float, str]]]


class Day(NamedTuple):
    """The day at one site, in sentences, and the ways to draw; all empty where no plan can be made."""

    advice: tuple[str, ...] = ()
    hours: tuple[str, ...] = ()
    passes: tuple[str, ...] = ()
    ways: tuple[Way, ...] = ()


def days_of(job: Job) -> dict[str, Day]:
    """The day of the last row at each site of a job, by the site's name."""
    constellation = constellation_of(job)
    if constellation is None:
        return {}
    return {stay.site.name: _day_at(job, stay, constellation) for stay in stays_of(job)}


def _day_at(job: Job, stay: Stay, constellation: Constellation) -> Day:
    if stay.instant is None:
        return Day()
    zone = stay.site.timezone
    local = LocalTime(ZoneInfo(zone), "") if zone else local_time_of(job)
    day = local.wall(utc(stay.instant)).date()
    try:
        orbits = orbits_of(constellation, job.documents)
        plan = plan_day(stay, date_text(day), ends_of(day, local), constellation, orbits)
    except SatdiagError:  # elements that do not reach this day: the findings say which
        return Day((tell("How to park over the day is not known, because a satellite's place is not known."),))
    moving = [one for one in plan.satellites if one.moves]
    return Day(
        plan.advice,
        tuple(_hours(plan, local)),
        tuple(said for one in moving for said in _passes(one, plan, local)),
        tuple(Way(one.sky.name, _parts(one, local)) for one in moving),
    )


def ends_of(day: date, local: LocalTime) -> tuple[np.datetime64, np.datetime64]:
    """From midnight to midnight of a zone, in UTC: 23 or 25 hours where clocks are changed."""
    moments = (datetime.combine(one, time(), local.zone).astimezone(UTC) for one in (day, day + timedelta(days=1)))
    begin, end = (np.datetime64(moment.replace(tzinfo=None), "us") for moment in moments)
    return begin, end


def _clock(instant: Instant, local: LocalTime) -> str:
    return clock_text(local.wall(parse_instant(instant)))


def _hours(plan: DayPlan, local: LocalTime) -> Iterator[str]:
    """The best and the worst hour: by the chance of a clear way where it is known, else by elevation alone."""
    found, highest = plan.clear_hours, plan.ranks[0]
    if found is not None and found.same_all_day:
        yield tell(
            "Every hour of {day} is alike: in {share} of it at least one satellite is expected to be clear.",
            day=plan.day,
            share=percent(found.best.p_any_clear, found.best.p_any_clear_90),
        )
    elif found is not None:
        best, worst = found.best, found.worst
        yield tell(
            "Best hour of {day}: {start} to {end}; in {share} of it at least one satellite is expected to be clear.",
            day=plan.day,
            start=_clock(best.from_, local),
            end=_clock(best.to, local),
            share=percent(best.p_any_clear, best.p_any_clear_90),
        )
        yield tell(
            "Worst hour of {day}: {start} to {end}; in {share} of it at least one satellite is expected to be clear.",
            day=plan.day,
            start=_clock(worst.from_, local),
            end=_clock(worst.to, local),
            share=percent(worst.p_any_clear, worst.p_any_clear_90),
        )
    elif highest.same_all_day:
        yield tell("Every hour of {day} is alike: the satellites stand still.", day=plan.day)
    else:
        high = highest.best
        yield tell(
            "Best hour of {day} by height alone: {start} to {end}; the highest satellite is then never lower than "
            "{lowest:.0f} degrees.",
            day=plan.day,
            start=_clock(high.from_, local),
            end=_clock(high.to, local),
            lowest=high.lowest_elevation_deg,
        )


def _passes(one: SatelliteDay, plan: DayPlan, local: LocalTime) -> Iterator[str]:
    """When a satellite that moves stands high enough, and how much of that it is expected to be clear."""
    name, least = one.sky.name, plan.coverage_min_elevation_deg
    if not one.passes:
        yield tell("{satellite} never stands high enough for the service on {day}.", satellite=name, day=plan.day)
    for up in one.passes:
        yield _pass_words(name, least, up, local)
    if one.p_clear_while_up is not None:
        share = percent(one.p_clear_while_up, one.p_clear_while_up_90)
        yield tell("{satellite} is expected to be clear in {share} of that time.", satellite=name, share=share)


def _pass_words(name: str, least_deg: float, up: PassTimes, local: LocalTime) -> str:
    """One time up. Where it began before the day or ends after it, no time is given for that end."""
    said = {
        "satellite": name,
        "least": least_deg,
        "top": _clock(up.culmination, local),
        "height": degrees_text(up.culmination_elevation_deg),
    }
    if up.rise is not None and up.set is not None:
        return tell(
            "{satellite} is above {least:g}° from {rise} to {set}, highest at {top} with {height}.",
            rise=_clock(up.rise, local),
            set=_clock(up.set, local),
            **said,
        )
    if up.rise is not None:
        return tell(
            "{satellite} is above {least:g}° from {rise} to the end of the day, highest at {top} with {height}.",
            rise=_clock(up.rise, local),
            **said,
        )
    if up.set is not None:
        return tell(
            "{satellite} is above {least:g}° from the beginning of the day to {set}, highest at {top} with {height}.",
            set=_clock(up.set, local),
            **said,
        )
    return tell("{satellite} is above {least:g}° all day, highest at {top} with {height}.", **said)


def _parts(one: SatelliteDay, local: LocalTime) -> list[list[tuple[float, float, str]]]:
    """The way of a satellite, broken where it was below the horizon."""
    parts: list[list[tuple[float, float, str]]] = []
    last_s = -float("inf")
    for point in one.track:
        at_s = parse_instant(point.at).timestamp()
        if at_s - last_s < POINT_S and not point.hour:
            continue
        if at_s - last_s > 2 * POINT_S:
            parts.append([])
        hour = _clock(point.at, local) if point.hour else ""
        parts[-1].append((round(point.azimuth_deg, 1), round(point.elevation_deg, 1), hour))
        last_s = at_s
    return parts
