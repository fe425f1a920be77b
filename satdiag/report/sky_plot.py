"""The sky over a site: north up, azimuth clockwise, the zenith in the centre, what is only inferred hatched."""

from __future__ import annotations

import math
from collections.abc import Sequence

from satdiag.findings import Mask, SatelliteSky, SiteSky
from satdiag.language import in_figures, mark, parted, tell, translated
from satdiag.report.figure import Figure, Spec, Table, label, layout, table
from satdiag.report.numbers import RANGE, percent, quantity, range_words, unknown
from satdiag.report.palette import FAINT, GREEN, GRID, INK, ORANGE, PAPER, VERMILLION
from satdiag.report.sky_line import skyline_trace, zenith_distance
from satdiag.report.sky_points import look_cells, navigation_table, navigation_words, point_traces
from satdiag.report.sky_words import Point, Words, sides_of
from satdiag.report.words import PLACES, SKY_SOURCES

HEIGHT_PX = 480
MARK_PX = 15
MASK_ROWS = 36
_WINDS = mark("N NE E SE S SW W NW")
PROBABLY_CLEAR = 0.8
PROBABLY_BLOCKED = 0.2


def sky_figure(site: SiteSky, number: int) -> Figure | None:
    """The polar figure of a site, or None where neither a direction nor a skyline is known."""
    drawn = [sat for sat in site.satellites if sat.azimuth_deg is not None and (sat.elevation_deg or -1.0) >= 0]
    if not drawn and site.mask is None and site.navigation is None:
        return None
    marks = satellite_marks(drawn, site.mask)
    points = point_traces(site.navigation) if site.navigation else []
    data = [*(skyline_trace(site.mask) if site.mask else []), *points, *marks]
    spec = {
        "data": data,
        "layout": layout(
            HEIGHT_PX,
            polar=polar_axes(),
            margin={"l": 34, "r": 34, "t": 70, "b": 34},
            legend={"orientation": "h", "x": 0, "y": 1.1, "xanchor": "left", "yanchor": "bottom"},
        ),
    }
    tables = (satellite_table(site), _mask_table(site.mask) if site.mask else None, navigation_table(site))
    return Figure(f"sky-{number}", _caption(site), _alt(site), spec, tuple(one for one in tables if one))


def polar_axes() -> Spec:
    return {
        "bgcolor": "rgba(0,0,0,0)",
        "angularaxis": {
            "direction": "clockwise",
            "rotation": 90,
            "tickmode": "array",
            "tickvals": [0, 45, 90, 135, 180, 225, 270, 315],
            "ticktext": translated(_WINDS).split(),
            "gridcolor": GRID,
            "linecolor": INK,
            "tickfont": {"size": 13, "color": INK},
        },
        "radialaxis": {
            "range": [0, 90],
            "angle": 90,
            "tickangle": 90,
            "tickmode": "array",
            "tickvals": [30, 60],  # the zenith is the middle; ways cross there
            "ticktext": ["60°", "30°"],
            "gridcolor": GRID,
            "linecolor": "rgba(0,0,0,0)",
            "tickfont": {"size": 11, "color": FAINT},
        },
    }


def satellite_marks(drawn: Sequence[SatelliteSky], mask: Mask | None) -> list[Spec]:
    """Satellites as marks, and over them their names and chances; each has a direction."""
    sides = text_sides(drawn, mask)
    return [
        *(_mark_of(sat) for sat in drawn),
        *(_words_of(sat, side) for sat, side in zip(drawn, sides, strict=True)),
    ]


def _chance_words(sat: SatelliteSky) -> str:
    return "" if sat.p_clear is None else tell("{share} clear", share=percent(sat.p_clear))


def _words_of(sat: SatelliteSky, side: str) -> Spec:
    """Name and chance beside a mark. They keep off an unseen mark that is larger than the one that is seen."""
    chance = _chance_words(sat)
    return {
        "type": "scatterpolar",
        "mode": "markers+text",
        "theta": [sat.azimuth_deg or 0.0],
        "r": [zenith_distance(sat.elevation_deg or 0.0)],
        "text": [f"<b>{label(sat.name, 24)}</b>" + (f"<br>{chance}" if chance else "")],
        "textposition": side,
        "textfont": {"size": 13, "color": INK},
        "marker": {"size": MARK_PX + 8, "opacity": 0},
        "hoverinfo": "skip",
        "showlegend": False,
        "cliponaxis": False,
    }


def _mark_of(sat: SatelliteSky) -> Spec:
    """One satellite as a mark; the shape tells its chance of being clear as well as the colour."""
    azimuth, elevation = sat.azimuth_deg or 0.0, sat.elevation_deg or 0.0
    symbol, fill = _mark(sat.p_clear)
    return {
        "type": "scatterpolar",
        "mode": "markers",
        "theta": [azimuth],
        "r": [zenith_distance(elevation)],
        "marker": {"symbol": symbol, "size": MARK_PX, "color": fill, "line": {"color": INK, "width": 1.8}},
        "hovertemplate": tell(
            "{satellite}: azimuth {azimuth:.0f}°, elevation {elevation:.0f}°",
            satellite=label(sat.name, 24),
            azimuth=azimuth,
            elevation=elevation,
        )
        + "<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def _mark(p_clear: float | None) -> tuple[str, str]:
    if p_clear is None:
        return "circle", PAPER
    if p_clear >= PROBABLY_CLEAR:
        return "circle", GREEN
    return ("x", VERMILLION) if p_clear < PROBABLY_BLOCKED else ("triangle-up", ORANGE)


def place_of(azimuth_deg: float, elevation_deg: float) -> Point:
    """Where a direction is drawn: degrees right of and above the zenith."""
    azimuth, distance = math.radians(azimuth_deg), zenith_distance(elevation_deg)
    return distance * math.sin(azimuth), distance * math.cos(azimuth)


def text_sides(drawn: Sequence[SatelliteSky], mask: Mask | None) -> list[str]:
    """For each mark the side on which its words keep clear of the rim, the skyline, other marks and words."""
    places = [place_of(sat.azimuth_deg or 0.0, sat.elevation_deg or 0.0) for sat in drawn]
    words = [Words(at, label(sat.name, 24), _chance_words(sat)) for at, sat in zip(places, drawn, strict=True)]
    edge = zip(mask.azimuth_deg, mask.edge_elevation_deg, strict=True) if mask else ()
    return sides_of(words, [place_of(*one) for one in edge])


def _caption(site: SiteSky) -> str:
    first = tell(
        "The sky over {site}: north is up, east is right, the zenith is in the middle, the horizon is the rim.",
        site=site.name,
    )
    said = [first, _skyline_words(site), *_end_words(site)]
    if site.visible_fraction is not None:
        share = percent(site.visible_fraction, site.visible_fraction_90)
        said.append(tell("Of the usable sky, {share} is open.", share=share))
    said += together_words(site)
    if site.place:
        said.append(tell("The place was described as {place}.", place=PLACES.get(site.place, site.place)))
    said.append(
        tell(
            "A disc marks a satellite that is probably clear, a triangle one that is doubtful, a cross one that is "
            "probably hidden."
        )
    )
    return " ".join([*said, *navigation_words(site)])


def _skyline_words(site: SiteSky) -> str:
    if not site.mask:
        return tell("No skyline was measured here.")
    return tell(
        "What is dotted lies behind the measured skyline, what is hatched behind one that is only inferred; the "
        "dotted lines are its {range}.",
        range=range_words(),
    )


def together_words(site: SiteSky) -> list[str]:
    """The chance that at least one satellite is clear, in a sentence; none for one satellite alone or unknown."""
    risen = [sat for sat in site.satellites if (sat.elevation_deg or 0.0) > 0.0]
    if len(risen) < 2 or site.p_any_clear is None:
        return []
    any_clear = percent(site.p_any_clear, site.p_any_clear_90)
    if site.p_all_clear is None:
        return [
            tell(
                "At least one of the satellites is clear with {any}; they share their obstacles, so this is not the "
                "product of their chances.",
                any=any_clear,
            )
        ]
    all_clear = percent(site.p_all_clear, site.p_all_clear_90)
    if len(risen) == 2:
        return [
            tell(
                "At least one of the satellites is clear with {any}, both with {all}; they share their obstacles, so "
                "this is not the product of their chances.",
                any=any_clear,
                all=all_clear,
            )
        ]
    return [
        tell(
            "At least one of the satellites is clear with {any}, all {count} with {all}; they share their obstacles, "
            "so this is not the product of their chances.",
            any=any_clear,
            count=len(risen),
            all=all_clear,
        )
    ]


def _alt(site: SiteSky) -> str:
    title = tell("Polar plot of the sky over {site}.", site=site.name)
    return " ".join([title, drawn_words(site), *navigation_words(site)])


def drawn_words(site: SiteSky) -> str:
    """The satellites of the service that a plot of the sky shows, in a sentence."""
    said = [
        tell(
            "{satellite} at azimuth {azimuth:.0f} degrees, elevation {elevation:.0f} degrees, chance of being clear "
            "{chance}",
            satellite=sat.name,
            azimuth=sat.azimuth_deg,
            elevation=sat.elevation_deg,
            chance=percent(sat.p_clear),
        )
        for sat in site.satellites
        if sat.azimuth_deg is not None and sat.elevation_deg is not None
    ]
    return parted(said) + "." if said else tell("No broadcast satellite is drawn.")


def satellite_table(site: SiteSky) -> Table:
    """Where each broadcast satellite stands and how likely the way to it is clear."""
    heads: tuple[str, ...] = (
        tell("satellite"),
        tell("azimuth"),
        tell("elevation"),
        tell("distance"),
        tell("chance of being clear"),
        tell("known from"),
    )
    rows = [_satellite_row(sat) for sat in site.satellites]
    if site.navigation is not None:
        heads = (*heads, tell("nearest look"), tell("stay parked"))
        rows = [(*row, *look_cells(sat)) for row, sat in zip(rows, site.satellites, strict=True)]
    first = tell("Broadcast satellites as seen from {site}; azimuth from true north, clockwise.", site=site.name)
    caption = " ".join([first, *_end_words(site), *together_words(site)])
    return table(caption, heads, rows, "azimuth|elevation|distance|chance of being clear")


def _end_words(site: SiteSky) -> list[str]:
    if all(sat.as_of is None for sat in site.satellites):
        return []
    return [tell("Those that move are shown as they stood at the end of the stay.")]


def _satellite_row(sat: SatelliteSky) -> tuple[str, ...]:
    return (
        sat.name,
        degrees_text(sat.azimuth_deg),
        degrees_text(sat.elevation_deg),
        quantity(None if sat.range_km is None else round(sat.range_km, -1), "km"),
        percent(sat.p_clear, sat.p_clear_90),
        SKY_SOURCES[sat.from_],
    )


def degrees_text(angle_deg: float | None) -> str:
    return unknown() if angle_deg is None else in_figures(f"{angle_deg:.1f}").replace("-", "\u2212") + "°"


def _mask_table(mask: Mask) -> Table:
    every = max(1, -(-len(mask.azimuth_deg) // MASK_ROWS))
    rows = [
        (
            f"{mask.azimuth_deg[i]:.0f}°",
            degrees_text(mask.edge_elevation_deg[i]),
            tell("{low} to {high}", low=degrees_text(mask.edge_p05_deg[i]), high=degrees_text(mask.edge_p95_deg[i])),
            tell("measured") if mask.measured[i] else tell("inferred"),
        )
        for i in range(0, len(mask.azimuth_deg), every)
    ]
    caption = tell("The skyline by direction, with its {range}.", range=range_words())
    if every > 1:
        caption += " " + tell("Every {every}th direction is listed.", every=every)
    return table(
        caption,
        (tell("azimuth"), tell("skyline"), range_words(), tell("how known")),
        rows,
        f"azimuth|skyline|{RANGE}",
    )
