"""Navigation satellites in the figure of the sky: small points by strength; in words and tables what they gave."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Literal

from satdiag.findings import NavigationSky, SatelliteSky, SiteSky, SkyPoint
from satdiag.language import mark, tell, translated
from satdiag.report.figure import Spec, Table, table
from satdiag.report.numbers import FIXED_SPACE, THIN_SPACE, duration, percent, unknown
from satdiag.report.palette import BLUE, FAINT, ORANGE

BLOCKED_FROM_DB = 6.0
"""A deficit from which a navigation satellite counts as blocked."""

Kind = Literal["strong", "weakened", "unheard"]
_KINDS: tuple[Kind, ...] = ("strong", "weakened", "unheard")
_LOOKS: dict[Kind, Spec] = {
    "strong": {"symbol": "circle", "size": 5, "color": BLUE},
    "weakened": {"symbol": "diamond-open", "size": 7, "color": ORANGE, "line": {"width": 1.6, "color": ORANGE}},
    "unheard": {"symbol": "x-thin", "size": 6, "line": {"width": 1.4, "color": FAINT}},
}
_NAMES: dict[Kind, str] = {
    "strong": mark("navigation satellite as strong as in the open"),
    "weakened": mark("navigation satellite weakened"),
    "unheard": mark("navigation satellite not heard"),
}


def kind_of(point: SkyPoint) -> Kind:
    """How strong a look was."""
    if point.deficit_db is None:
        return "unheard"
    return "strong" if point.deficit_db < BLOCKED_FROM_DB else "weakened"


def point_traces(navigation: NavigationSky) -> list[Spec]:
    """The points, a trace a kind; kinds without a point are left out."""
    traces: list[Spec] = []
    for kind in _KINDS:
        points = [point for point in navigation.points if kind_of(point) == kind and point.elevation_deg >= 0.0]
        if not points:
            continue
        traces.append(
            {
                "type": "scatterpolar",
                "mode": "markers",
                "theta": [point.azimuth_deg for point in points],
                "r": [round(90.0 - point.elevation_deg, 2) for point in points],
                "text": [f"{point.satellite}{_level(point)}" for point in points],
                "marker": _LOOKS[kind],
                "name": translated(_NAMES[kind]),
                "hovertemplate": "%{text}<extra></extra>",
            }
        )
    return traces


def _level(point: SkyPoint) -> str:
    return "" if point.cn0_db_hz is None else f", {point.cn0_db_hz:.0f}{THIN_SPACE}dB-Hz"


def navigation_words(site: SiteSky) -> list[str]:
    """What the record rests on and how long to stay, in sentences; none without a record."""
    found = site.navigation
    if found is None:
        return []
    said = [
        tell(
            "The small points are {count} navigation satellites as received within {time} parked here: filled as "
            "strong as in the open, open diamonds weakened by {deficit} or more, thin crosses not heard.",
            count=found.satellites,
            time=duration(found.standing_s),
            deficit=f"{BLOCKED_FROM_DB:.0f}{THIN_SPACE}dB",
        )
    ]
    if found.outage_share > 0:
        share = percent(found.outage_share)
        said.append(tell("Left out: {share} of the time, when all were weak together.", share=share))
    return [*said, *(text for sat in site.satellites for text in _stay_words(sat))]


def _stay_words(sat: SatelliteSky) -> list[str]:
    if sat.looks is None or sat.stay_s == 0.0:
        return []
    if sat.stay_s is None:
        return [
            tell(
                "For {satellite} it cannot be foretold how long a useful answer takes, parked here: rather hours.",
                satellite=sat.name,
            )
        ]
    return [
        tell(
            "For {satellite} a useful answer takes about {time} more parked here.",
            satellite=sat.name,
            time=duration(sat.stay_s),
        )
    ]


def look_cells(sat: SatelliteSky) -> tuple[str, str]:
    """For the table of satellites: the nearest look, and how long to stay."""
    if sat.looks is None or sat.nearest_deg is None:
        return unknown(), unknown()
    nearest = tell("{angle:.0f}° away ({satellite})", angle=sat.nearest_deg, satellite=sat.nearest)
    if sat.stay_s is None:
        return nearest, tell("rather hours")
    if sat.stay_s == 0.0:
        return nearest, tell("known well enough")
    return nearest, tell("about {time}", time=duration(sat.stay_s))


def navigation_table(site: SiteSky) -> Table | None:
    """The navigation satellites behind the points: where each went and how strong it was."""
    found = site.navigation
    if found is None:
        return None
    rows = [_row(name, list(points)) for name, points in groupby(found.points, key=lambda point: point.satellite)]
    level = f"{found.level_db_hz:.0f}{THIN_SPACE}dB-Hz"
    if found.level_from == "site-and-drive":
        caption = tell(
            "Navigation satellites as received at {site}. A clear one at the zenith would read {level}, learnt here "
            "and while driving.",
            site=site.name,
            level=level,
        )
    else:
        caption = tell(
            "Navigation satellites as received at {site}. A clear one at the zenith would read {level}, learnt here.",
            site=site.name,
            level=level,
        )
    if len(found.points) != found.looks:
        caption += " " + tell("{count} of {looks} looks are listed.", count=len(found.points), looks=found.looks)
    heads = (
        tell("navigation satellite"),
        tell("azimuth"),
        tell("elevation"),
        "C/N0",
        tell("looks as strong as in the open"),
    )
    return table(caption, heads, rows, "azimuth|elevation|C/N0|looks as strong as in the open")


def _row(name: str, points: Sequence[SkyPoint]) -> tuple[str, ...]:
    levels = sorted(point.cn0_db_hz for point in points if point.cn0_db_hz is not None)
    middle = f"{levels[len(levels) // 2]:.0f}{THIN_SPACE}dB-Hz" if levels else tell("not heard")
    strong = sum(kind_of(point) == "strong" for point in points)
    return (
        name,
        _span(points[0].azimuth_deg, points[-1].azimuth_deg),
        _span(points[0].elevation_deg, points[-1].elevation_deg),
        middle,
        tell("{count} of {all}", count=strong, all=len(points)),
    )


def _span(first: float, last: float) -> str:
    if round(first) == round(last):
        return f"{first:.0f}°"
    return tell("{low} to {high}", low=f"{first:.0f}°", high=f"{last:.0f}°").replace(" ", FIXED_SPACE)
