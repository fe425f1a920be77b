"""Navigation satellites in the figure of the sky: small points by strength; in words and tables what they gave."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from satdiag.findings import NavigationSky, SatelliteSky, SiteSky, SkyPoint
from satdiag.report.figure import Spec, Table, table
from satdiag.report.numbers import FIXED_SPACE, THIN_SPACE, UNKNOWN, duration, percent
from satdiag.report.palette import BLUE, FAINT, ORANGE

BLOCKED_FROM_DB = 6.0
"""A deficit from which a navigation satellite counts as blocked."""

_KINDS = ("as strong as in the open", "weakened", "not heard")
_LOOKS = {
    _KINDS[0]: {"symbol": "circle", "size": 5, "color": BLUE},
    _KINDS[1]: {"symbol": "diamond-open", "size": 7, "color": ORANGE, "line": {"width": 1.6, "color": ORANGE}},
    _KINDS[2]: {"symbol": "x-thin", "size": 6, "line": {"width": 1.4, "color": FAINT}},
}


def kind_of(point: SkyPoint) -> str:
    """How strong a look was, in words."""
    if point.deficit_db is None:
        return _KINDS[2]
    return _KINDS[0] if point.deficit_db < BLOCKED_FROM_DB else _KINDS[1]


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
                "name": f"navigation satellite {kind}",
                "hovertemplate": "%{text}<extra></extra>",
            }
        )
    return traces


def _level(point: SkyPoint) -> str:
    return "" if point.cn0_db_hz is None else f", {point.cn0_db_hz:.0f}{THIN_SPACE}dB-Hz"


def navigation_words(site: SiteSky) -> str:
    """What the record rests on and how long to stay, in sentences with a blank before them; '' without a record."""
    found = site.navigation
    if found is None:
        return ""
    said = (
        f" The small points are {found.satellites} navigation satellites as received within "
        f"{duration(found.standing_s)} parked here: filled as strong as in the open, open diamonds weakened by "
        f"{BLOCKED_FROM_DB:.0f}{THIN_SPACE}dB or more, thin crosses not heard."
    )
    if found.outage_share > 0:
        said += f" Left out: {percent(found.outage_share)} of the time, when all were weak together."
    return said + "".join(_stay_words(sat) for sat in site.satellites)


def _stay_words(sat: SatelliteSky) -> str:
    if sat.looks is None or sat.stay_s == 0.0:
        return ""
    if sat.stay_s is None:
        return f" For {sat.name} it cannot be foretold how long a useful answer takes, parked here: rather hours."
    return f" For {sat.name} a useful answer takes about {duration(sat.stay_s)} more parked here."


def look_cells(sat: SatelliteSky) -> tuple[str, str]:
    """For the table of satellites: the nearest look, and how long to stay."""
    if sat.looks is None or sat.nearest_deg is None:
        return UNKNOWN, UNKNOWN
    nearest = f"{sat.nearest_deg:.0f}° away ({sat.nearest})"
    if sat.stay_s is None:
        return nearest, "rather hours"
    return nearest, "known well enough" if sat.stay_s == 0.0 else f"about {duration(sat.stay_s)}"


def navigation_table(site: SiteSky) -> Table | None:
    """The navigation satellites behind the points: where each went and how strong it was."""
    found = site.navigation
    if found is None:
        return None
    rows = [_row(name, list(points)) for name, points in groupby(found.points, key=lambda point: point.satellite)]
    some = "" if len(found.points) == found.looks else f" {len(found.points)} of {found.looks} looks are listed."
    level = f"{found.level_db_hz:.0f}{THIN_SPACE}dB-Hz"
    source = " and while driving" if found.level_from == "site-and-drive" else ""
    caption = (
        f"Navigation satellites as received at {site.name}. A clear one at the zenith would read {level}, learnt here"
        f"{source}.{some}"
    )
    heads = ("navigation satellite", "azimuth", "elevation", "C/N0", "looks as strong as in the open")
    return table(caption, heads, rows, "azimuth|elevation|C/N0|looks as strong as in the open")


def _row(name: str, points: Sequence[SkyPoint]) -> tuple[str, ...]:
    levels = sorted(point.cn0_db_hz for point in points if point.cn0_db_hz is not None)
    middle = f"{levels[len(levels) // 2]:.0f}{THIN_SPACE}dB-Hz" if levels else "not heard"
    strong = sum(kind_of(point) == _KINDS[0] for point in points)
    return (
        name,
        _span(points[0].azimuth_deg, points[-1].azimuth_deg),
        _span(points[0].elevation_deg, points[-1].elevation_deg),
        middle,
        f"{strong} of {len(points)}",
    )


def _span(first: float, last: float) -> str:
    if round(first) == round(last):
        return f"{first:.0f}°"
    return f"{first:.0f}° to {last:.0f}°".replace(" ", FIXED_SPACE)
