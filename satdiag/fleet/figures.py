"""The drawings of a fleet's report, in plotly's JSON form."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from satdiag.fleet.pool_normal import Grouped
from satdiag.fleet.report_data import SHOWN_CLASSES, class_words
from satdiag.fleet.report_stats import Calibration, wilson
from satdiag.language import in_figures, tell
from satdiag.report.figure import Figure, Spec, Table, axis, label, layout
from satdiag.report.palette import BLUE, FAINT, INK, ORANGE, PAPER, VERMILLION

PANEL_PX, PANEL_GAP_PX, FOOT_PX, TOP_PX = 76, 34, 60, 40
ROW_PX = 44
LONG_GAP_MONTHS = 12
MOST_TICKS = 6
_FINE_STEPS = tuple(1.0 + 0.5 * k for k in range(18))
Z_90 = 1.6449


def class_figure(months: Sequence[str], counts: Mapping[tuple[str, str], int], behind: Table) -> Figure:
    """One small panel for each class that comes: its share of the jobs, month by month, with the interval.

    A month without a job has no share: the line ends before it and begins anew.
    """
    months = with_gaps(months)
    names = [name for name in SHOWN_CLASSES if any(counts.get((month, name)) for month in months)]
    whole = {month: sum(counts.get((month, name), 0) for name in SHOWN_CLASSES) for month in months}
    height_px = len(names) * (PANEL_PX + PANEL_GAP_PX) + FOOT_PX + TOP_PX
    inner = len(names) * (PANEL_PX + PANEL_GAP_PX)
    spec: Spec = {"data": [], "layout": layout(height_px, showlegend=False, annotations=[])}
    spec["layout"]["margin"] = {"l": 48, "r": 14, "t": TOP_PX, "b": FOOT_PX}
    spec["layout"]["xaxis"] = axis(tell("month"), type="category", categoryorder="array", categoryarray=list(months))
    for number, name in enumerate(names):
        top = 1.0 - (number * (PANEL_PX + PANEL_GAP_PX) + PANEL_GAP_PX * 0.6) / inner
        low = max(0.0, top - PANEL_PX / inner)
        nth = "" if number == 0 else str(number + 1)
        spec["layout"][f"yaxis{nth}"] = axis(domain=[low, top], rangemode="tozero", ticksuffix="\u202f%", nticks=3)
        heading = {"text": f"<b>{label(class_words(name))}</b>", "x": 0, "y": top, "xref": "paper", "yref": "paper"}
        spec["layout"]["annotations"].append(
            {
                **heading,
                "showarrow": False,
                "xanchor": "left",
                "yanchor": "bottom",
                "font": {"size": 13, "color": INK},
            }
        )
        spec["data"].append(_share_trace(months, name, counts, whole, f"y{nth}"))
    spec["layout"]["xaxis"]["anchor"] = f"y{len(names)}" if len(names) > 1 else "y"
    caption = tell("Share of each class in the jobs of a month, with its 90 % interval.")
    alt = tell(
        "Small drawings, one for each class of fault: its share of the jobs month by month. The table "
        "beneath holds the figures."
    )
    return Figure("classes", caption, alt, spec, (behind,))


def with_gaps(months: Sequence[str]) -> list[str]:
    """Months as 2031-05, in order, with those between them; of a long gap one entry says from when to when."""
    found: list[str] = []
    for month in months:
        if found:
            after, until = _number(found[-1]) + 1, _number(month)
            between = [f"{number // 12:04d}-{number % 12 + 1:02d}" for number in range(after, until)]
            long = len(between) > LONG_GAP_MONTHS
            found += [f"{between[0]} – {between[-1]}"] if long else between
        found.append(month)
    return found


def _number(month: str) -> int:
    year, _, nth = month.partition("-")
    return 12 * int(year) + int(nth) - 1


def _share_trace(
    months: Sequence[str], name: str, counts: Mapping[tuple[str, str], int], whole: Mapping[str, int], vertical: str
) -> Spec:
    shares: list[float | None] = []
    up: list[float | None] = []
    down: list[float | None] = []
    for month in months:
        hits, number = counts.get((month, name), 0), whole[month]
        if not number:
            shares, up, down = [*shares, None], [*up, None], [*down, None]
            continue
        low, high = wilson(hits, number)
        share = hits / number
        shares.append(round(100.0 * share, 2))
        up.append(round(100.0 * (high - share), 2))
        down.append(round(100.0 * (share - low), 2))
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": class_words(name),
        "x": list(months),
        "y": shares,
        "yaxis": vertical,
        "error_y": {"type": "data", "symmetric": False, "array": up, "arrayminus": down, "color": FAINT, "width": 3},
        "line": {"color": BLUE, "width": 1.6},
        "cliponaxis": False,
        "marker": {"size": 7, "color": BLUE, "line": {"color": INK, "width": 0.8}},
        "hovertemplate": "%{x}: %{y:.0f}\u202f%<extra></extra>",
    }


def forest_figure(
    name: str, found: Grouped, order: Sequence[str], words: Mapping[str, str], behind: Table, what: str
) -> Figure:
    """Groups under each other: their median time by their own jobs, and drawn towards the others."""
    groups = {group.name: group for group in found.groups}
    shown = [groups[one] for one in order]
    places = np.arange(len(shown), dtype=float)
    raw = _times([group.raw for group in shown], [group.raw_se for group in shown])
    drawn = _times([group.drawn for group in shown], [group.drawn_se for group in shown])
    ticks = [label(words[group.name], 28) for group in shown]
    height_px = ROW_PX * len(shown) + 130
    spec: Spec = {"data": [], "layout": layout(height_px)}
    ends_h = [(at - d, at + u) for one in (raw, drawn) for at, u, d in zip(*one, strict=True)]
    low, high = min(low for low, _ in ends_h) / 1.15, max(high for _, high in ends_h) * 1.15
    ticks_h = log_ticks(low, high)
    spec["layout"]["xaxis"] = axis(
        tell("hours of exposure"),
        type="log",
        range=[math.log10(low), math.log10(high)],
        tickvals=ticks_h,
        ticktext=[in_figures(f"{one:g}") for one in ticks_h],
        tickangle=0,
    )
    ends = [len(shown) - 0.5, -0.5]
    spec["layout"]["yaxis"] = axis(tickvals=places.tolist(), ticktext=ticks, range=ends)
    spec["data"].append(_interval_trace(tell("by its own jobs"), raw, places - 0.14, PAPER, VERMILLION, "diamond"))
    spec["data"].append(_interval_trace(tell("drawn towards the others"), drawn, places + 0.14, BLUE, BLUE, "circle"))
    middle = round(float(np.exp(found.mean)), 4)
    line = {"color": FAINT, "width": 1.2, "dash": "dash"}
    spec["data"].append(
        {
            "type": "scatter",
            "mode": "lines",
            "name": tell("all groups"),
            "x": [middle, middle],
            "y": ends,
            "line": line,
            "hoverinfo": "skip",
        }
    )
    alt = tell(
        "{what}: for each group a mark with its 90 % interval, the slowest on top. The table beneath "
        "holds the figures.",
        what=what,
    )
    return Figure(name, what, alt, spec, (behind,))


def log_ticks(low: float, high: float) -> list[float]:
    """From two to six marks of a logarithmic axis with few digits, as many as there are room for on a telephone."""
    decades = range(math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 1)
    found: list[float] = []
    for steps in ((1.0,), (1.0, 3.0), (1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 5.0, 7.0), _FINE_STEPS):
        marks = [float(f"{step * 10.0**decade:.6g}") for decade in decades for step in steps]
        finer = [one for one in marks if low <= one <= high]
        if len(finer) > MOST_TICKS:
            break
        found = finer
    return found


def _times(log_hours: Sequence[float], se: Sequence[float]) -> list[list[float]]:
    """Median, length up to the upper end and down to the lower end of each interval, in hours."""
    middle, spread = np.asarray(log_hours), np.asarray(se)
    at, high, low = np.exp(middle), np.exp(middle + Z_90 * spread), np.exp(middle - Z_90 * spread)
    return [np.round(part, 5).tolist() for part in (at, high - at, at - low)]


def _interval_trace(
    name: str, times: list[list[float]], places: np.ndarray, fill: str, line: str, symbol: str
) -> Spec:
    at, up, down = times
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": at,
        "y": places.tolist(),
        "error_x": {"type": "data", "symmetric": False, "array": up, "arrayminus": down, "color": line, "width": 4},
        "marker": {"size": 10, "symbol": symbol, "color": fill, "line": {"color": line, "width": 2}},
        "hovertemplate": "%{x:.2f} h<extra></extra>",
    }


def reliability_figure(found: Calibration, behind: Table) -> Figure:
    """How often the named fault was found, by the probability that was stated."""
    stated = [round(100.0 * one.mean, 2) for one in found.bins]
    share = [round(100.0 * one.hits / one.number, 2) for one in found.bins]
    up = [round(100.0 * (one.share_90[1] - one.hits / one.number), 2) for one in found.bins]
    down = [round(100.0 * (one.hits / one.number - one.share_90[0]), 2) for one in found.bins]
    spec: Spec = {"data": [], "layout": layout(360)}
    for direction, title in (("x", tell("probability stated")), ("y", tell("found so"))):
        spec["layout"][f"{direction}axis"] = axis(title, range=[-3, 103], ticksuffix="\u202f%", nticks=6)
    line = {"color": FAINT, "width": 1.2, "dash": "dash"}
    spec["data"].append(
        {
            "type": "scatter",
            "mode": "lines",
            "name": tell("as stated"),
            "x": [0, 100],
            "y": [0, 100],
            "line": line,
            "hoverinfo": "skip",
        }
    )
    error = {"type": "data", "symmetric": False, "array": up, "arrayminus": down, "color": INK, "width": 4}
    spec["data"].append(
        {
            "type": "scatter",
            "mode": "markers",
            "name": tell("closed jobs"),
            "x": stated,
            "y": share,
            "error_y": error,
            "marker": {"size": 10, "color": ORANGE, "line": {"color": INK, "width": 1.2}},
            "hovertemplate": "%{x:.0f}\u202f% → %{y:.0f}\u202f%<extra></extra>",
        }
    )
    caption = tell("How often the named fault was found, by the probability that the verdict stated; 90 % intervals.")
    alt = tell("A mark on the dashed line: what was stated came true as often. The table beneath holds the figures.")
    return Figure("reliability", caption, alt, spec, (behind,))
