"""The skyline in the figure of the sky: what lies behind it, the line itself, and its band."""

from __future__ import annotations

from satdiag.findings import Mask
from satdiag.language import tell
from satdiag.report.figure import Spec
from satdiag.report.numbers import range_words
from satdiag.report.palette import FAINT, INK


def zenith_distance(elevation_deg: float) -> float:
    """Where an elevation is drawn: degrees from the centre, at most the rim."""
    return round(90.0 - min(max(elevation_deg, 0.0), 90.0), 2)


def skyline_trace(mask: Mask) -> list[Spec]:
    """Down to the rim dotted where it was measured and hatched where only inferred, the line, and its band."""
    return [
        _hatching(mask, True, tell("behind the skyline, measured"), "."),
        _hatching(mask, False, tell("behind the skyline, only inferred"), "/"),
        _band(mask),
        _ring(mask, mask.edge_elevation_deg, {"color": INK, "width": 2}, tell("skyline")),
        _ring(
            mask,
            mask.edge_p05_deg,
            {"color": FAINT, "width": 1.2, "dash": "dot"},
            tell("its {range}", range=range_words()),
        ),
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
        "name": tell("its {range}", range=range_words()),
        "hoverinfo": "skip",
        "showlegend": False,
    }
