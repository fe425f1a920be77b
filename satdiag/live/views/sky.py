"""The view 'Sky': where the satellites stand, what hides them, how to park, and which way the nose points."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from satdiag.language import mark, tell, translated
from satdiag.live.views.sky_day import Day, days_of
from satdiag.live.views.sky_heard import Heard, heard_now
from satdiag.live.views.sky_site import site_told
from satdiag.report.local_time import local_time_of
from satdiag.report.tables import TURNS
from satdiag.report.words import sentence
from satdiag.sky.elsewhere import site_now

if TYPE_CHECKING:
    from satdiag.findings import Findings, SignalFindings, SiteSky
    from satdiag.job import Job
    from satdiag.tables import HorizonPoint

TURN_TO_TELL = mark(
    "Which way the nose points does not change the sky. Four headings at one spot, with a level at each, tell "
    "whether the vehicle itself is in the way."
)
CLEAR, HIDDEN = 0.8, 0.2
"""From which chance on a way is called probably clear, and below which probably hidden, as in the report."""


def view(job: Job, findings: Findings) -> dict[str, Any]:
    """What the page shows; numbers are those of the findings.

    `missing`: what the job lacks for a picture ('position', 'satellites' or ''), `lack` that in a sentence. `here`:
    which of `sites` is the one where the vehicle stands. `heading_deg`: the last heading in the log.
    """
    sky = findings.sky
    here = site_now(job, sky.sites)
    heard, local = heard_now(job), local_time_of(job)
    days = days_of(job) if sky.sites else {}
    missing = "position" if here is None else "satellites" if not any(one.satellites for one in sky.sites) else ""
    return {
        "head": head_of(here),
        "missing": missing,
        "lack": _lack(missing),
        "cautions": [sentence(text) for text in sky.cautions],
        "could_not": [sentence(text) for text in sky.could_not if text not in sky.cautions],
        "heading_deg": heading_of(job),
        "least_deg": sky.coverage_min_elevation_deg,
        "times": local.sentence,
        "turning": _turning(findings.signal),
        "here": sky.sites.index(here) if here else None,
        "skyline": [list(point) for point in sorted(map(_pair, job.horizon or ()))],
        "sites": [_site(site, days.get(site.name, Day()), heard if site is here else None) for site in sky.sites],
    }


def _pair(point: HorizonPoint) -> tuple[float, float]:
    return point.azimuth_deg, point.elevation_deg


def _site(site: SiteSky, day: Day, heard: Heard | None) -> dict[str, Any]:
    return {**site_told(site, day), "heard": heard._asdict() if heard else None}


def head_of(site: SiteSky | None) -> str:
    """Whether a satellite is clear where the vehicle stands, in a sentence."""
    if site is None:
        return tell("The page does not know where the vehicle stands.")
    chance = site.p_any_clear
    if chance is None:
        return tell("Whether a satellite is clear here is not known.")
    if chance >= CLEAR:
        return tell("The way to a satellite is probably clear here.")
    if chance < HIDDEN:
        return tell("The satellites are probably hidden here: move the vehicle.")
    return tell("Whether a satellite is clear here is doubtful.")


def _lack(missing: str) -> str:
    if missing == "position":
        return tell("Give its position on the view Start: then the satellites are shown here.")
    if missing == "satellites":
        return tell("The job names no satellites. Name the satellites of the service on the view Start.")
    return ""


def heading_of(job: Job) -> float | None:
    """The last heading of the vehicle's nose in the log, degrees clockwise from true north, 0 to below 360."""
    rows = job.select("heading")
    rows = rows[rows["value"] != "unreadable"]
    return float(rows["value"].iloc[-1]) % 360.0 if len(rows) else None


def _turning(signal: SignalFindings) -> str:
    """What turning the vehicle has told, or what it would tell."""
    return translated(TURN_TO_TELL if signal.turns_vehicle_db is None else TURNS[signal.turns_with])
