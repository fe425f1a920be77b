"""Where two jobs differ in more than what was done between them."""

from __future__ import annotations

import math

from satdiag.acceptance.compare_measures import Seen
from satdiag.findings.sky import SiteSky
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.language import tell, tell_many
from satdiag.signal.moves import place_at, site_at

FAR_KM = 0.2  # judgement, no source: beyond that the vehicle stands elsewhere
_KM_PER_DEGREE = 111.2


def warnings_of(before: Seen, after: Seen) -> tuple[tuple[str, ...], bool]:
    """What to bear in mind, in sentences, and whether the jobs are of two receivers by their identifiers."""
    a, b = before.job, after.job
    if job_hash(a) == job_hash(b):
        return (tell("Both are the same job: nothing can have changed."),), False
    ids = (a.sheet.receiver.id, b.sheet.receiver.id)
    other = None not in ids and ids[0] != ids[1]
    said = []
    if other:
        said.append(tell("The jobs are of two receivers by their identifiers."))
    elif None in ids:
        said.append(tell("Not both jobs name the receiver: that it is the same one is not known."))
    said += [*_places(a, b), *_skies(before, after), *_days(a, b)]
    if a.sheet.package != b.sheet.package:
        said.append(tell("The package is another one: other channels are expected to play."))
    return tuple(said), other


def _places(a: Job, b: Job) -> list[str]:
    said = []
    words = (place_at(a, a.end_s), place_at(b, b.end_s))
    if None not in words and words[0] != words[1]:
        said.append(
            tell("The place is another one ({before} before, {after} after): that alone moves levels and locks.",
                 before=words[0], after=words[1])
        )  # fmt: skip
    elif None in words:
        said.append(tell("Not both jobs say what the sky looks like from the vehicle (place)."))
    distance_km = _distance_km(a, b)
    if distance_km is not None and distance_km > FAR_KM:
        said.append(
            tell("The vehicle stood {distance:,.1f} km away from where it stood before.", distance=distance_km)
        )
    return said


def _distance_km(a: Job, b: Job) -> float | None:
    sites = []
    for job in (a, b):
        name = site_at(job, job.end_s)
        sites += [site for site in job.sheet.sites if site.name == name]
    if len(sites) != 2:
        return None
    north = sites[1].latitude_deg - sites[0].latitude_deg
    east = (sites[1].longitude_deg - sites[0].longitude_deg + 180.0) % 360.0 - 180.0
    east *= math.cos(math.radians((sites[0].latitude_deg + sites[1].latitude_deg) / 2.0))
    return _KM_PER_DEGREE * math.hypot(north, east)


def _skies(before: Seen, after: Seen) -> list[str]:
    views = [_view(side) for side in (before, after)]
    if views[0] is None or views[1] is None:
        return []
    apart = views[0][1] < views[1][0] or views[1][1] < views[0][0]
    return [tell("The sky view is another one: more of it is covered in one of the jobs.")] if apart else []


def _view(side: Seen) -> tuple[float, float] | None:
    name = site_at(side.job, side.job.end_s)
    found: list[SiteSky] = [one for one in side.findings.sky.sites if one.name == name]
    return found[-1].visible_fraction_90 if found else None


def _days(a: Job, b: Job) -> list[str]:
    if a.start is None or b.start is None:
        return []
    days = round(abs(float((b.start - a.start).astype("timedelta64[s]").astype(float))) / 86400.0)
    if not days:
        return []
    return [
        tell_many(
            "The jobs are {n} day apart, and the log does not hold the weather: wet leaves or snow may move levels.",
            "The jobs are {n} days apart, and the log does not hold the weather: wet leaves or snow may move levels.",
            days,
        )
    ]
