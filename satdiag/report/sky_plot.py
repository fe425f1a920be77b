"""The sky over a site: north up, azimuth clockwise, the zenith in the centre, what is only inferred hatched."""

from __future__ import annotations

import math
from collections.abc import Sequence

from satdiag.findings import Mask, SatelliteSky, SiteSky
from satdiag.report.figure import Figure, Spec, Table, label, layout, table
from satdiag.report.numbers import RANGE, UNKNOWN, percent, quantity
from satdiag.report.palette import FAINT, GREEN, GRID, INK, ORANGE, PAPER, VERMILLION
from satdiag.report.sky_points import look_cells, navigation_table, navigation_words, point_traces
from satdiag.report.sky_words import Point, Words, sides_of
from satdiag.report.words import PLACES, SKY_SOURCES

HEIGHT_PX = 480
MARK_PX = 15
MASK_ROWS = 36
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
            "ticktext": ["N", "NE", "E", "SE", "S", "SW", "W", "NW"],
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


def zenith_distance(elevation_deg: float) -> float:
    """Where an elevation is drawn: degrees from the centre, at most the rim."""
    return round(90.0 - min(max(elevation_deg, 0.0), 90.0), 2)


def skyline_trace(mask: Mask) -> list[Spec]:
    """Down to the rim dotted where it was measured and hatched where only inferred, the line, and its band."""
    return [
        _hatching(mask, True, "behind the skyline, measured", "."),
        _hatching(mask, False, "behind the skyline, only inferred", "/"),
        _band(mask),
        _ring(mask, mask.edge_elevation_deg, {"color": INK, "width": 2}, "skyline"),
        _ring(mask, mask.edge_p05_deg, {"color": FAINT, "width": 1.2, "dash": "dot"}, f"its {RANGE}"),
        {**_ring(mask, mask.edge_p95_deg, {"color": FAINT, "width": 1.2, "dash": "dot"}, ""), "showlegend": False},
    ]


def _hatching(mask: Mask, measured: bool, name: str, pattern: str) -> Spec:
    edges = zip(mask.azimuth_deg, mask.edge_elevation_deg, mask.measured, strict=True)
    kept = [(azimuth, edge) for azimuth, edge, known in edges if known == measured and edge > 0]
    distances = [zenith_distance(edge) for _, edge in kept]
    return {
        "type": "barpolar",
        "theta": [azimuth for azimuth, _ in kept],
        "base": distances,
        "r": [round(90.0 - distance, 2) for distance in distances],
        "width": 360.0 / len(mask.azimuth_deg),
        "marker": {
            "color": "rgba(128,128,128,0.16)",
            "line": {"width": 0},
            "pattern": {"shape": pattern, "fgcolor": FAINT, "bgcolor": "rgba(128,128,128,0.16)", "size": 7},
        },
        "name": name,
        "hoverinfo": "skip",
        "showlegend": bool(kept),
    }


def _ring(mask: Mask, elevations_deg: tuple[float, ...], line: Spec, name: str) -> Spec:
    closed = [*zip(mask.azimuth_deg, elevations_deg, strict=True)]
    closed.append(closed[0])
    return {
        "type": "scatterpolar",
        "mode": "lines",
        "theta": [azimuth for azimuth, _ in closed],
        "r": [zenith_distance(elevation) for _, elevation in closed],
        "line": line,
        "name": name,
        "hoverinfo": "skip",
    }


def _band(mask: Mask) -> Spec:
    """The band of the skyline as a filled ring: outwards one way round, inwards the other."""
    azimuth = [*mask.azimuth_deg, mask.azimuth_deg[0]]
    low, high = ([*edge, edge[0]] for edge in (mask.edge_p05_deg, mask.edge_p95_deg))
    return {
        "type": "scatterpolar",
        "mode": "lines",
        "theta": [*azimuth, *reversed(azimuth)],
        "r": [zenith_distance(edge) for edge in (*low, *reversed(high))],
        "fill": "toself",
        "fillcolor": "rgba(86,180,233,0.16)",
        "line": {"width": 0},
        "name": f"its {RANGE}",
        "hoverinfo": "skip",
        "showlegend": False,
    }


def satellite_marks(drawn: Sequence[SatelliteSky], mask: Mask | None) -> list[Spec]:
    """Satellites as marks, and over them their names and chances; each has a direction."""
    sides = text_sides(drawn, mask)
    return [
        *(_mark_of(sat) for sat in drawn),
        *(_words_of(sat, side) for sat, side in zip(drawn, sides, strict=True)),
    ]


def _chance_words(sat: SatelliteSky) -> str:
    return "" if sat.p_clear is None else f"{percent(sat.p_clear)} clear"


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
        "hovertemplate": f"{label(sat.name, 24)}: azimuth {azimuth:.0f}°, elevation {elevation:.0f}°<extra></extra>",
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
    share = ""
    if site.visible_fraction is not None:
        share = f" Of the usable sky, {percent(site.visible_fraction, site.visible_fraction_90)} is open."
    share += together_words(site)
    place = f" The place was described as {PLACES.get(site.place, site.place)}." if site.place else ""
    skyline = " No skyline was measured here."
    if site.mask:
        skyline = (
            " What is dotted lies behind the measured skyline, what is hatched behind one that is only inferred; the "
            f"dotted lines are its {RANGE}."
        )
    return (
        f"The sky over {site.name}: north is up, east is right, the zenith is in the middle, the horizon is the rim."
        f"{skyline}{_end_words(site)}{share}{place} A disc marks a satellite that is probably clear, "
        f"a triangle one that is doubtful, a cross one that is probably hidden.{navigation_words(site)}"
    )


def together_words(site: SiteSky) -> str:
    """The chance that at least one satellite is clear, in a sentence after a blank; '' for one alone or unknown."""
    risen = [sat for sat in site.satellites if (sat.elevation_deg or 0.0) > 0.0]
    if len(risen) < 2 or site.p_any_clear is None:
        return ""
    both = "both" if len(risen) == 2 else f"all {len(risen)}"
    said = f" At least one of the satellites is clear with {percent(site.p_any_clear, site.p_any_clear_90)}"
    if site.p_all_clear is not None:
        said += f", {both} with {percent(site.p_all_clear, site.p_all_clear_90)}"
    return f"{said}; they share their obstacles, so this is not the product of their chances."


def _alt(site: SiteSky) -> str:
    said = [
        f"{sat.name} at azimuth {sat.azimuth_deg:.0f} degrees, elevation {sat.elevation_deg:.0f} degrees, "
        f"chance of being clear {percent(sat.p_clear)}"
        for sat in site.satellites
        if sat.azimuth_deg is not None and sat.elevation_deg is not None
    ]
    shown = "; ".join(said) + "." if said else "No broadcast satellite is drawn."
    return f"Polar plot of the sky over {site.name}. {shown}{navigation_words(site)}"


def satellite_table(site: SiteSky) -> Table:
    """Where each broadcast satellite stands and how likely the way to it is clear."""
    heads: tuple[str, ...] = ("satellite", "azimuth", "elevation", "distance", "chance of being clear", "known from")
    rows = [_satellite_row(sat) for sat in site.satellites]
    if site.navigation is not None:
        heads = (*heads, "nearest look", "stay parked")
        rows = [(*row, *look_cells(sat)) for row, sat in zip(rows, site.satellites, strict=True)]
    caption = (
        f"Broadcast satellites as seen from {site.name}; azimuth from true north, clockwise.{_end_words(site)}"
        f"{together_words(site)}"
    )
    return table(caption, heads, rows, "azimuth|elevation|distance|chance of being clear")


def _end_words(site: SiteSky) -> str:
    if all(sat.as_of is None for sat in site.satellites):
        return ""
    return " Those that move are shown as they stood at the end of the stay."


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
    return UNKNOWN if angle_deg is None else f"{angle_deg:.1f}°".replace("-", "\u2212")


def _mask_table(mask: Mask) -> Table:
    every = max(1, -(-len(mask.azimuth_deg) // MASK_ROWS))
    rows = [
        (
            f"{mask.azimuth_deg[i]:.0f}°",
            degrees_text(mask.edge_elevation_deg[i]),
            f"{degrees_text(mask.edge_p05_deg[i])} to {degrees_text(mask.edge_p95_deg[i])}",
            "measured" if mask.measured[i] else "inferred",
        )
        for i in range(0, len(mask.azimuth_deg), every)
    ]
    thinned = f" Every {every}th direction is listed." if every > 1 else ""
    return table(
        f"The skyline by direction, with its {RANGE}.{thinned}",
        ("azimuth", "skyline", RANGE, "how known"),
        rows,
        f"azimuth|skyline|{RANGE}",
    )
