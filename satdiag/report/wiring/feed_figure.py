"""Voltage against current of the feed: the windows as regions, the readings as points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from satdiag.findings import BiasFindings, FeedReading, FeedWindows, LeadFindings
from satdiag.language import mark, tell
from satdiag.report.figure import Figure, Spec, Table, axis, layout, note
from satdiag.report.numbers import quantity
from satdiag.report.palette import BLUE, FAINT, GREEN, HATCH, INK, ORANGE, PAPER, PURPLE, SKY_BLUE, VERMILLION
from satdiag.report.words import BIAS_STATES, Words

HEIGHT_PX = 390
_REGIONS = Words(
    {
        "open": mark("open"),
        "low": mark("low"),
        "normal": mark("normal"),
        "high": mark("high"),
        "short": mark("short"),
        "absent": mark("absent"),
    }
)
_LEARNT = Words(
    {
        "": mark("learnt as usual"),
        "satellite": mark("learnt as usual, satellite"),
        "repeater": mark("learnt as usual, repeater"),
    }
)
_AT_THE_END = Words(
    {
        "": mark("at the end"),
        "satellite": mark("at the end, satellite lead"),
        "repeater": mark("at the end, repeater lead"),
    }
)
TICKS_MA = (0, 5, 15, 40, 80, 150, 300, 600, 1200)
_SYMBOLS = {None: "circle", "satellite": "circle", "repeater": "square"}
_ENDS = {None: "star-diamond", "satellite": "star-diamond", "repeater": "star-square"}
_FILLS = {"open": SKY_BLUE, "low": ORANGE, "normal": GREEN, "high": PURPLE, "short": VERMILLION}


def feed_figure(found: BiasFindings, tables: Sequence[Table]) -> Figure | None:
    """The figure, or None where there is no lead or no reading to draw."""
    if not found.leads or not found.readings:
        return None
    lead = next((lead for lead in found.leads if lead.path == found.path), found.leads[0])
    top_ma = 1.15 * max([lead.windows.limit_ma, *(one.current_ma or 0.0 for one in found.readings)])
    top_v = 1.12 * max([lead.windows.normal_v[1], *(one.voltage_v or 0.0 for one in found.readings)])
    spec = {
        "data": [
            *(_learnt(one, top_v) for one in found.leads if one.windows.learnt_ma is not None),
            *_points(found.readings),
            *(_now(one) for one in found.leads),
        ],
        "layout": layout(
            HEIGHT_PX,
            shapes=_regions(lead.windows, top_ma, top_v),
            annotations=_labels(lead.windows, top_ma, top_v),
            xaxis=axis(
                tell("current, mA"),
                range=[-0.35, _root(top_ma)],
                tickvals=[_root(tick) for tick in TICKS_MA if tick < top_ma],
                ticktext=[str(tick) for tick in TICKS_MA if tick < top_ma],
                showgrid=False,
            ),
            yaxis=axis(tell("voltage, V"), range=[-0.04 * top_v, top_v], showgrid=False),
            margin={"l": 48, "r": 14, "t": 84, "b": 48},
        ),
    }
    return Figure("feed", _caption(found, lead), _alt(found, lead), spec, tuple(tables))


def _root(milliamps: float) -> float:
    """Where a current is drawn: small ones get more room."""
    return round(math.sqrt(max(milliamps, 0.0)), 4)


def _bands(windows: FeedWindows, top_ma: float) -> list[tuple[str, float, float]]:
    edges = (0.0, windows.no_current_ma, *windows.normal_ma, windows.limit_ma, top_ma)
    names = ("open", "low", "normal", "high", "short")
    return [(name, left, right) for name, (left, right) in zip(names, pairwise(edges), strict=True)]


def _regions(windows: FeedWindows, top_ma: float, top_v: float) -> list[Spec]:
    found = [
        _box(left if left else -1.0, right, windows.no_voltage_v, top_v, _FILLS[name], 0.16)
        for name, left, right in _bands(windows, top_ma)
    ]
    found.append(_box(-1.0, windows.no_current_ma, -1.0, windows.no_voltage_v, FAINT, 0.22))
    found.append(_box(windows.no_current_ma, top_ma, -1.0, windows.no_voltage_v, VERMILLION, 0.16))
    low, high = windows.normal_v
    found.append(_box(*windows.normal_ma, low, high, GREEN, 0.14))
    outline = {"fillcolor": "rgba(0,0,0,0)", "opacity": 1.0, "line": {"color": GREEN, "width": 2}}
    return [*found, {**found[-1], **outline}]


def _box(left: float, right: float, bottom: float, top: float, color: str, opacity: float) -> Spec:
    place = {"x0": -0.35 if left < 0 else _root(left), "x1": _root(right), "y0": bottom, "y1": top}
    fill = {"fillcolor": color, "opacity": opacity, "line": {"color": color, "width": 0}, "layer": "below"}
    return {"type": "rect", **place, **fill}


def _labels(windows: FeedWindows, top_ma: float, top_v: float) -> list[Spec]:
    found = [
        note(
            _REGIONS[name],
            x=(_root(left) + _root(right)) / 2.0,
            y=0.985 * top_v,
            xanchor="center",
            yanchor="top",
            font={"size": 12, "color": INK},
        )
        for name, left, right in _bands(windows, top_ma)
    ]
    middle = windows.no_voltage_v / 2.0
    low: Spec = {"xanchor": "center", "yanchor": "middle", "font": {"size": 12, "color": INK}}
    found.append(note(_REGIONS["absent"], x=_root(windows.no_current_ma) / 2.0, y=middle, **low))
    found.append(note(_REGIONS["short"], x=(_root(windows.no_current_ma) + _root(top_ma)) / 2.0, y=middle, **low))
    return found


def _learnt(lead: LeadFindings, top_v: float) -> Spec:
    """The learnt window of the current, hatched."""
    low, high = lead.windows.normal_ma
    bottom, top = lead.windows.normal_v[0], min(lead.windows.normal_v[1], top_v)
    name = _LEARNT[lead.path or ""]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [_root(low), _root(low), _root(high), _root(high), _root(low)],
        "y": [bottom, top, top, bottom, bottom],
        "fill": "toself",
        "fillcolor": "rgba(0,0,0,0)",
        "fillpattern": {"shape": "/", "fgcolor": GREEN, "bgcolor": "rgba(0,0,0,0)", "size": 7, "solidity": 0.25},
        "line": {"color": GREEN, "width": 2, "dash": "dash"},
        "name": name,
        "hoverinfo": "skip",
    }


def _points(readings: Sequence[FeedReading]) -> list[Spec]:
    kinds = (
        (tell("while it worked"), True, [one for one in readings if one.live and one.worked]),
        (tell("not known to work"), False, [one for one in readings if one.live and not one.worked]),
    )
    found = [_trace(name, solid, part) for name, solid, part in kinds if part]
    off = [one for one in readings if not one.live]
    return [*found, _off(off)] if off else found


def _trace(name: str, solid: bool, readings: Sequence[FeedReading]) -> Spec:
    marker = {"size": 9, "color": BLUE if solid else PAPER, "line": {"color": INK if solid else BLUE, "width": 1.6}}
    return _marks(name, readings, {**marker, "symbol": [_symbol(one) for one in readings]})


def _off(readings: Sequence[FeedReading]) -> Spec:
    return _marks(tell("feed or receiver off"), readings, {"size": 9, "color": FAINT, "symbol": "x-thin-open"})


def _symbol(one: FeedReading) -> str:
    """Of a reading of one quantity alone a triangle lies at the other's axis and points along it."""
    if one.voltage_v is None:
        return "triangle-up"
    return "triangle-right" if one.current_ma is None else _SYMBOLS[one.path]


def _marks(name: str, readings: Sequence[FeedReading], marker: Spec) -> Spec:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [_root(one.current_ma or 0.0) for one in readings],
        "y": [one.voltage_v or 0.0 for one in readings],
        "marker": marker,
        "name": name,
        "text": [f"{quantity(one.voltage_v, 'V')}, {quantity(one.current_ma, 'mA')}" for one in readings],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _now(lead: LeadFindings) -> Spec:
    """What a lead reads at the end, with its ranges."""
    volts, milliamps = lead.voltage_v, lead.current_ma
    x, y = _root(milliamps or 0.0), volts or 0.0
    low_ma, high_ma = lead.current_ma_90 or (milliamps or 0.0, milliamps or 0.0)
    low_v, high_v = lead.voltage_v_90 or (y, y)
    bars = {"color": INK, "thickness": 1.6, "width": 5, "symmetric": False, "type": "data"}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [x],
        "y": [y],
        "error_x": {**bars, "array": [_root(high_ma) - x], "arrayminus": [x - _root(low_ma)]},
        "error_y": {**bars, "array": [high_v - y], "arrayminus": [y - low_v]},
        "marker": {"symbol": _ENDS[lead.path], "size": 15, "color": ORANGE, "line": {"color": HATCH, "width": 1.6}},
        "name": _AT_THE_END[lead.path or ""],
        "text": [f"{quantity(volts, 'V')}, {quantity(milliamps, 'mA')}"],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _caption(found: BiasFindings, lead: LeadFindings) -> str:
    said = [
        tell(
            "Voltage and current of the antenna's feed, among the regions that each state covers; the box outlined "
            "in full is what is normal. The scale of the current is stretched at its low end."
        )
    ]
    if lead.windows.learnt_ma is not None:
        said.append(tell("Hatched: learnt from readings taken while the receiver worked."))
    if len(found.leads) > 1:
        said.append(_whose_regions(lead))
    if any(one.voltage_v is None or one.current_ma is None for one in found.readings):
        said.append(tell("A triangle at an axis is a reading of one quantity alone."))
    return " ".join(said)


def _whose_regions(lead: LeadFindings) -> str:
    if lead.path == "repeater":
        return tell("The regions are those of the repeater lead; squares are readings of the repeater lead.")
    return tell("The regions are those of the satellite lead; squares are readings of the repeater lead.")


_READS = Words(
    {
        "": mark("At the end the feed reads {volts} and {milliamps}: {state}."),
        "satellite": mark("At the end the satellite lead reads {volts} and {milliamps}: {state}."),
        "repeater": mark("At the end the repeater lead reads {volts} and {milliamps}: {state}."),
    }
)


def _alt(found: BiasFindings, lead: LeadFindings) -> str:
    plot = tell("Plot of voltage against current with {count} readings.", count=len(found.readings))
    reads = _READS[lead.path or ""].format(
        volts=quantity(lead.voltage_v, "V"),
        milliamps=quantity(lead.current_ma, "mA"),
        state=BIAS_STATES[lead.state] if lead.state else tell("a state that cannot be told"),
    )
    return f"{plot} {reads}"
