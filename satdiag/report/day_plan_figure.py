"""The sky over a site for one day: as `sky_plot`, with the ways of satellites that move and ticks at full hours."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.findings import SatelliteSky
from satdiag.language import listed, tell
from satdiag.report.figure import Figure, Spec, Table, label, layout
from satdiag.report.local_time import LocalTime, parse_instant
from satdiag.report.palette import BLUE, FAINT, GREEN, INK, ORANGE, PAPER, PURPLE, VERMILLION
from satdiag.report.sky_line import skyline_trace, zenith_distance
from satdiag.report.sky_plot import HEIGHT_PX, place_of, polar_axes, satellite_marks
from satdiag.report.sky_words import Point
from satdiag.sky.compass import compass_word
from satdiag.sky.day_plan import DayPlan, SatelliteDay, TrackPoint
from satdiag.sky.pole import at_a_pole

LABELLED_HOURS = 3
"""Each third hour is named beside its tick; more would not be readable on a telephone."""
GAP_S = 900.0
"""Two points of a way farther apart than this belong to two passes."""
QUICK_PASSES = 3
"""With more passes than this in a day the times of their highest points are named, not full hours."""
RIM_DEG = 86.0
"""Words do not reach farther from the zenith than this."""
SAME_WAY_DEG, SAME_WAY_SHARE = 2.0, 0.9
"""Two ways are one if so much of each lies this near to the other."""
WORDS_WIDTH_DEG, WORDS_HEIGHT_DEG = 17.0, 9.0
"""Room for three letters, in degrees of the drawing at the width of a telephone."""

# Where the middle of the words lies from the mark, in widths and heights of the words.
_SIDE_SHIFT = {
    "middle right": (0.65, 0.0),
    "middle left": (-0.65, 0.0),
    "bottom center": (0.0, -1.0),
    "top center": (0.0, 1.0),
    "bottom right": (0.65, -1.0),
}


@dataclass(frozen=True)
class Way:
    """How a satellite's way is drawn: colour, dash, symbol of its ticks, the same as a letter, side of words."""

    color: str
    dash: str
    symbol: str
    letter: str
    side: str


# Satellites on one ground track follow the same way in the sky, so dash, symbol and side differ as well as colour.
WAYS = (
    Way(BLUE, "solid", "circle", "○", "middle right"),
    Way(VERMILLION, "dash", "triangle-up", "△", "middle left"),
    Way(GREEN, "dot", "square", "□", "bottom center"),
    Way(PURPLE, "dashdot", "diamond", "◇", "top center"),
    Way(ORANGE, "longdash", "cross", "✚", "bottom right"),
)


def day_figure(plan: DayPlan, number: int, local: LocalTime, tables: Sequence[Table]) -> Figure | None:
    """The figure, or None where no satellite and no skyline would be in it."""
    still = [one.sky for one in plan.satellites if not one.moves and (one.sky.elevation_deg or -1.0) >= 0.0]
    moving = [one for one in plan.satellites if one.track]
    if not still and not moving and plan.mask is None:
        return None
    marks = satellite_marks(still, plan.mask)
    # What words must keep clear of: the elevations on the axis, and the satellites that stand with their names.
    taken: list[Point] = [(8.0, 0.0), (8.0, 30.0), (8.0, 60.0)]
    for sky in still:
        x, y = place_of(sky.azimuth_deg or 0.0, sky.elevation_deg or 0.0)
        taken += [(x + right, y + up) for right in (-16.0, 0.0, 16.0) for up in (-13.0, 0.0, 13.0)]
    drawn = [(one, WAYS[nth % len(WAYS)]) for nth, one in enumerate(moving)]
    lines = [_way(one, way) for one, way in drawn]
    ticks = [_ticks(one, way, local, plan.to, taken) for one, way in drawn]
    # Words come last, or the marks of another satellite on the same way would cover them.
    ways = [*lines, *(marks for marks, _ in ticks), *(words for _, words in ticks)]
    spec = {
        "data": [
            *(skyline_trace(plan.mask) if plan.mask else []),
            _least(plan.coverage_min_elevation_deg),
            *ways,
            *marks,
        ],
        "layout": layout(
            HEIGHT_PX + (20 if moving else 0),
            polar=polar_axes(),
            margin={"l": 34, "r": 34, "t": 90, "b": 34},
            legend={"orientation": "h", "x": 0, "y": 1.1, "xanchor": "left", "yanchor": "bottom"},
        ),
    }
    return Figure(f"day-{number}", _caption(plan, bool(moving)), _alt(plan, still, moving), spec, tuple(tables))


def _least(elevation_deg: float) -> Spec:
    """The ring at the least elevation of the service."""
    return {
        "type": "scatterpolar",
        "mode": "lines",
        "theta": [float(azimuth) for azimuth in range(0, 361, 4)],
        "r": [zenith_distance(elevation_deg)] * 91,
        "line": {"color": FAINT, "width": 1.2, "dash": "longdash"},
        "name": tell("{elevation:g}° high, the least for the service", elevation=elevation_deg),
        "hoverinfo": "skip",
    }


def _way(one: SatelliteDay, way: Way) -> Spec:
    """The line of a satellite's way, broken where it is below the horizon."""
    azimuths: list[float | None] = []
    distances: list[float | None] = []
    before: TrackPoint | None = None
    for point in one.track:
        if before is not None and _apart_s(before, point) > GAP_S:
            azimuths.append(None)
            distances.append(None)
        azimuths.append(round(point.azimuth_deg, 2))
        distances.append(zenith_distance(point.elevation_deg))
        before = point
    name = label(one.sky.name, 24)
    return {
        "type": "scatterpolar",
        "mode": "lines",
        "theta": azimuths,
        "r": distances,
        "line": {"color": way.color, "width": 2.2, "dash": way.dash},
        "name": f"{way.letter} {name}",
        "legendgroup": name,
        "hoverinfo": "skip",
    }


def _apart_s(before: TrackPoint, after: TrackPoint) -> float:
    return (parse_instant(after.at) - parse_instant(before.at)).total_seconds()


def _ticks(one: SatelliteDay, way: Way, local: LocalTime, end: str, taken: list[Point]) -> list[Spec]:
    """Marks at full hours, of a satellite too quick for these at the highest point of each pass; then their words."""
    quick = not any(point.hour for point in one.track) or len(one.passes) > QUICK_PASSES
    points = _tops(one) if quick else [point for point in one.track if point.hour and point.at != end]
    times = [local.wall(parse_instant(point.at)) for point in points]
    named = [quick or at.hour % LABELLED_HOURS == 0 for at in times]
    words = [f"{way.letter}{at:%H:%M}" if quick else f"{way.letter}{at.hour}" for at in times]
    shown, sides = _with_room(points, words, named, way.side, taken)
    name = label(one.sky.name, 24)
    common = {
        "type": "scatterpolar",
        "theta": [round(point.azimuth_deg, 2) for point in points],
        "r": [zenith_distance(point.elevation_deg) for point in points],
        "legendgroup": name,
        "showlegend": False,
        "name": name,
    }
    marker = {"symbol": way.symbol, "size": [9 if big else 5 for big in named], "color": way.color, "opacity": 1.0}
    marks = {
        **common,
        "mode": "markers",
        "marker": {**marker, "line": {"color": PAPER, "width": 1}},
        "customdata": [
            tell("{time}, {elevation:.0f}° high", time=f"{at:%H:%M}", elevation=point.elevation_deg)
            for point, at in zip(points, times, strict=True)
        ],
        "hovertemplate": f"{name}, %{{customdata}}<extra></extra>",
    }
    font = {"size": 11, "color": INK}
    text = {"text": shown, "textposition": sides, "textfont": font}
    # Marks that are not seen keep the words off those that are.
    unseen = {"size": 10, "opacity": 0.0}
    return [marks, {**common, **text, "mode": "markers+text", "marker": unseen, "hoverinfo": "skip"}]


def _tops(one: SatelliteDay) -> list[TrackPoint]:
    """The point of the way nearest to the highest instant of each pass."""
    times = {point: parse_instant(point.at) for point in one.track}
    tops = [parse_instant(each.culmination) for each in one.passes]
    return [min(one.track, key=lambda point: abs(times[point] - top)) for top in tops]


def _with_room(
    points: Sequence[TrackPoint], words: Sequence[str], named: Sequence[bool], side: str, taken: list[Point]
) -> tuple[list[str], list[str]]:
    """The words that find room beside their marks, and on which side; `side` is tried first.

    On a telephone they would lie over each other near the zenith. The names of every sixth hour are set first.
    """
    shown, sides = [""] * len(points), [side] * len(points)
    tried = (side, *(other for other in _SIDE_SHIFT if other != side))
    order = sorted((nth for nth, wanted in enumerate(named) if wanted), key=lambda nth: _hour_rank(words[nth]))
    for nth in order:
        for other in tried:
            spot, width = _spot(points[nth], words[nth], other)
            free = all(abs(spot[0] - a) > width or abs(spot[1] - b) > WORDS_HEIGHT_DEG for a, b in taken)
            if free and math.hypot(*spot) < RIM_DEG:
                shown[nth], sides[nth] = words[nth], other
                taken.append(spot)
                break
    return shown, sides


def _spot(point: TrackPoint, words: str, side: str) -> tuple[Point, float]:
    """Where the middle of words on that side of a mark lies, and how wide they are, in degrees of the drawing."""
    x, y = place_of(point.azimuth_deg, point.elevation_deg)
    right, up = _SIDE_SHIFT[side]
    width = WORDS_WIDTH_DEG * (len(words) + 1) / 4.0
    return (x + right * width, y + up * WORDS_HEIGHT_DEG), width


def _hour_rank(words: str) -> int:
    digits = words.lstrip("".join(way.letter for way in WAYS))
    return 0 if digits.isdigit() and int(digits) % (2 * LABELLED_HOURS) == 0 else 1


def _caption(plan: DayPlan, moving: bool) -> str:
    values = {"site": plan.site.name, "day": plan.day}
    if at_a_pole(plan.site):
        first = tell(
            "The sky over {site} on {day}: the meridian named above is up, east is right, the zenith is in the "
            "middle, the horizon is the rim.",
            **values,
        )
    else:
        first = tell(
            "The sky over {site} on {day}: true north is up, east is right, the zenith is in the middle, the horizon "
            "is the rim.",
            **values,
        )
    said = [first, tell("No skyline was measured here.")]
    if plan.mask:
        said = [first, tell("What is dotted or hatched lies behind the skyline.")]
    if moving:
        said.append(
            tell(
                "A line is the way of a satellite that moves, with a tick at each full hour (or, of a quick one, at "
                "the highest point of each pass), named where there is room."
            )
        )
    return " ".join([*said, *_one_way_words(plan)])


def _one_way_words(plan: DayPlan) -> list[str]:
    """Which satellites follow one and the same way in the sky, so that their lines lie on each other."""
    left = [one for one in plan.satellites if len(one.track) > 1]
    said = []
    while left:
        first, *left = left
        same = [other for other in left if _same_way(first, other) and _same_way(other, first)]
        if same:
            names = [first.sky.name, *(one.sky.name for one in same)]
            said.append(
                tell("{satellites} follow one way, so their lines lie on each other.", satellites=listed(names))
            )
            left = [one for one in left if one not in same]
    return said


def _same_way(one: SatelliteDay, other: SatelliteDay) -> bool:
    """True if nearly all of one way lies within a line's width of the other."""
    points = [place_of(point.azimuth_deg, point.elevation_deg) for point in other.track]
    near = 0
    for point in one.track:
        x, y = place_of(point.azimuth_deg, point.elevation_deg)
        near += any(math.hypot(x - a, y - b) <= SAME_WAY_DEG for a, b in points)
    return near >= SAME_WAY_SHARE * len(one.track)


def _alt(plan: DayPlan, still: Sequence[SatelliteSky], moving: Sequence[SatelliteDay]) -> str:
    said = [
        tell(
            "{satellite} in the {side}, {elevation:.0f} degrees up",
            satellite=sky.name,
            side=compass_word(sky.azimuth_deg or 0.0),
            elevation=sky.elevation_deg or 0.0,
        )
        for sky in still
    ]
    said += [
        tell(
            "{satellite} moves and reaches {elevation:.0f} degrees in the {side}",
            satellite=one.sky.name,
            elevation=one.sky.elevation_deg or 0.0,
            side=compass_word(one.sky.azimuth_deg or 0.0),
        )
        for one in moving
    ]
    first = tell("Polar plot of the sky over {site}.", site=plan.site.name)
    return f"{first} {'; '.join(said)}." if said else f"{first} {tell('No satellite is drawn.')}"
