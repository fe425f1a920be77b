"""The supply over time: voltages as logged, the limits of the supply codes, dips and restarts by shape."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from satdiag.findings import SupplyEvent, SupplyFindings, SupplyPoint
from satdiag.language import in_figures, mark, tell, translated
from satdiag.report.figure import Figure, Spec, Table, axis, day_ticks, layout, note, table
from satdiag.report.local_time import LocalTime, parse_instant
from satdiag.report.numbers import duration, unknown
from satdiag.report.palette import BLUE, FAINT, INK, ORANGE, PURPLE, VERMILLION
from satdiag.report.words import Words
from satdiag.vocabulary import VISIT_PAUSE_S

VISITS_DRAWN = 3
MARKERS_BELOW = 80
HEIGHT_PX = 380
ROWS_LISTED = 100
PAUSE_S = 600.0
"""Readings farther apart than this are not joined by a line: nothing is known between them."""

LIMITS_V = {"A": 6.0, "B": 8.0, "C": 9.0, "D": 10.5}
HIGHEST_V = 16.0
"""Limits of the supply codes, ISO 16750-2:2010, table 1; a test compares them with those of the estimator."""

SHAPES = {
    "cranking": ("diamond", mark("dip like the start of an engine")),
    "contact": ("x", mark("dip too brief for a start")),
    "lasting": ("square", mark("low for longer than a start")),
    "": ("triangle-down", mark("dip of unknown shape")),
}
SEEN_IN = Words(
    {
        "readings": mark("readings"),
        "minimum": mark("a lowest value"),
        "both": mark("readings and a lowest value"),
    }
)


def supply_figures(found: SupplyFindings, local: LocalTime) -> tuple[Figure, ...]:
    """A figure for each of the last visits with a voltage; none without."""
    visits = _visits(found.points)
    made = [_figure(found, part, local, number, len(visits)) for number, part in enumerate(visits, 1)]
    return tuple(made[-VISITS_DRAWN:])


def _visits(points: Sequence[SupplyPoint]) -> list[list[SupplyPoint]]:
    """The points parted where nothing was logged for longer than a visit's pause."""
    parts: list[list[SupplyPoint]] = []
    for point in points:
        if parts and (parse_instant(point.at) - parse_instant(parts[-1][-1].at)).total_seconds() <= VISIT_PAUSE_S:
            parts[-1].append(point)
        else:
            parts.append([point])
    return parts


def _figure(
    found: SupplyFindings, points: Sequence[SupplyPoint], local: LocalTime, number: int, visits: int
) -> Figure:
    start, end = _ends(found, points)
    local = local.steady(start, end)
    dips = [one for one in found.dips if start <= parse_instant(one.to) <= end]
    restarts = [one for one in found.restarts if start <= parse_instant(one.at) <= end]
    lowest_v, highest_v = _scale(points)
    traces = [
        *_limits(found, (start, end), (lowest_v, highest_v), local),
        *_readings([point for point in points if point.span_s is None], local),
        *_lowest([point for point in points if point.span_s is not None], local),
        *_dips(dips, local),
        *_restarts([one.at for one in restarts if one.tied], highest_v, True, local),
        *_restarts([one.at for one in restarts if not one.tied], highest_v, False, local),
    ]
    time_axis = axis(type="date", range=[local.axis(start), local.axis(end)], nticks=6, showgrid=False)
    time_axis["tickformatstops"] = [
        {"dtickrange": [None, 60000], "value": "%H:%M:%S"},
        {"dtickrange": [60000, None], "value": f"%H:%M\n{day_ticks()}"},
    ]
    spec = {
        "data": traces,
        "layout": layout(
            HEIGHT_PX,
            xaxis=time_axis,
            yaxis=axis(tell("V at the receiver"), range=[lowest_v, highest_v], nticks=7),
            annotations=_limit_words((lowest_v, highest_v)),
            margin={"l": 52, "r": 14, "t": 16, "b": 150},
            legend={"orientation": "h", "x": 0, "xanchor": "left", "y": -0.2, "yanchor": "top", "tracegroupgap": 0},
        ),
    }
    said = [
        tell(
            "Voltages as logged; a bar is a lowest value over the time that it covers. Level lines are the lower "
            "limits of the supply codes A to D and their common upper one, 16 V (ISO 16750-2)."
        )
    ]
    if visits > 1:
        said.append(tell("Visit {number} of {visits} with readings.", number=number, visits=visits))
    caption = " ".join([*said, local.sentence])
    tables = tuple(
        part for part in (dip_table(dips, local), _restart_table(found, local, start, end)) if part is not None
    )
    alt = _alt(points, dips, len(restarts))
    return Figure(f"supply-{number}", caption, alt, spec, (*tables, _point_table(points, local)))


def _ends(found: SupplyFindings, points: Sequence[SupplyPoint]) -> tuple[datetime, datetime]:
    """From before the first to after the last of what is drawn, a little room on both sides."""
    first, last = parse_instant(points[0].at), parse_instant(points[-1].at)
    for point in points:
        first = min(first, parse_instant(point.at) - timedelta(seconds=point.span_s or 0.0))
    near = timedelta(seconds=VISIT_PAUSE_S)
    times = [parse_instant(one.at) for one in found.restarts]
    times = [one for one in times if first - near < one < last + near]
    first, last = min([first, *times]), max([last, *times])
    room = max((last - first) * 0.03, timedelta(seconds=10))
    return first - room, last + room


def _scale(points: Sequence[SupplyPoint]) -> tuple[float, float]:
    volts = [point.voltage_v for point in points]
    return min(*volts, 8.4, 99.0) - 0.8, max(*volts, HIGHEST_V) + 1.2


def _limits(
    found: SupplyFindings, ends: tuple[datetime, datetime], scale: tuple[float, float], local: LocalTime
) -> list[Spec]:
    """A line at each limit in sight; those of the receiver's own code are drawn stronger."""
    x = [local.axis(end) for end in ends]
    traces: list[Spec] = []
    for code, volts in (*LIMITS_V.items(), ("", HIGHEST_V)):
        own = code in ("", found.code_needed)
        if scale[0] < volts < scale[1]:
            line = {"color": INK if own else FAINT, "width": 1.4 if own else 1.0, "dash": "solid" if own else "dot"}
            name = tell("limits of the receiver's code") if own else tell("limits of other codes")
            shown = name not in {trace["name"] for trace in traces}
            traces.append(
                _trace(x, [volts, volts], name, mode="lines", line=line, legendgroup=name, showlegend=shown)
            )
    return traces


def _limit_words(scale: tuple[float, float]) -> list[Spec]:
    # Words of B under its line, or they would lie over those of C on a telephone; A alike, not to meet B.
    limits = [
        (tell("{code}: {volts:g} V", code=code, volts=volts), volts, "top" if code in "AB" else "bottom")
        for code, volts in LIMITS_V.items()
    ]
    return [
        note(text, FAINT, x=1.0, xref="paper", xanchor="right", y=volts, yref="y", yanchor=side)
        for text, volts, side in (*limits, (_volts(HIGHEST_V), HIGHEST_V, "bottom"))
        if scale[0] < volts < scale[1]
    ]


def _readings(points: Sequence[SupplyPoint], local: LocalTime) -> list[Spec]:
    if not points:
        return []
    x: list[str | None] = []
    y: list[float | None] = []
    before: datetime | None = None
    for point in points:
        at = parse_instant(point.at)
        if before is not None and (at - before).total_seconds() > PAUSE_S:
            x.append(None)
            y.append(None)
        x.append(local.axis(at))
        y.append(round(point.voltage_v, 3))
        before = at
    look: Spec = {"mode": "lines", "line": {"color": BLUE, "width": 1.4}}
    if len(points) < MARKERS_BELOW:
        look |= {"mode": "lines+markers", "marker": {"size": 7, "color": BLUE, "line": {"color": INK, "width": 0.8}}}
    return [_trace(x, y, tell("reading"), hovertemplate="%{x|%H:%M:%S}: %{y} V<extra></extra>", **look)]


def _lowest(points: Sequence[SupplyPoint], local: LocalTime) -> list[Spec]:
    if not points:
        return []
    x: list[str | None] = []
    y: list[float | None] = []
    for point in points:
        at = parse_instant(point.at)
        x += [local.axis(at - timedelta(seconds=point.span_s or 0.0)), local.axis(at), None]
        y += [round(point.voltage_v, 3)] * 2 + [None]
    marker = {"symbol": "line-ns-open", "size": 9, "color": PURPLE, "line": {"color": PURPLE, "width": 2}}
    line = {"color": PURPLE, "width": 3}
    hover = f"{tell('lowest up to')} %{{x|%H:%M:%S}}: %{{y}} V<extra></extra>"
    return [_trace(x, y, tell("lowest value"), mode="lines+markers", line=line, marker=marker, hovertemplate=hover)]


def _dips(dips: Sequence[SupplyEvent], local: LocalTime) -> list[Spec]:
    traces = []
    for shape, (symbol, words) in SHAPES.items():
        kept = [one for one in dips if (one.shape or "") == shape]
        if kept:
            x = [local.axis(parse_instant(one.to)) for one in kept]
            marker = {"symbol": symbol, "size": 12, "color": ORANGE, "line": {"color": INK, "width": 1.2}}
            y = [round(one.extreme_v, 3) for one in kept]
            hover = f"{tell('dip to')} %{{y}} V<extra></extra>"
            traces.append(_trace(x, y, translated(words), mode="markers", marker=marker, hovertemplate=hover))
    return traces


def _restarts(instants: Sequence[str], highest_v: float, tied: bool, local: LocalTime) -> list[Spec]:
    """Restarts along the upper edge: a filled star for one tied to a dip, an open star for another."""
    if not instants:
        return []
    color = VERMILLION
    symbol = "star" if tied else "star-open"
    marker = {"symbol": symbol, "size": 13, "color": color, "line": {"color": INK if tied else color, "width": 1.2}}
    name = tell("restart with a dip") if tied else tell("restart, no dip seen")
    x = [local.axis(parse_instant(one)) for one in instants]
    hover = f"%{{x|%H:%M:%S}} {name}<extra></extra>"
    return [_trace(x, [highest_v - 0.5] * len(x), name, mode="markers", marker=marker, hovertemplate=hover)]


def _trace(x: Sequence[str | None], y: Sequence[float | None], name: str, **look: object) -> Spec:
    return {"type": "scatter", "x": list(x), "y": list(y), "name": name, "hoverinfo": "skip", **look}


# --- tables ------------------------------------------------------------------------------------------------------


def dip_table(dips: Sequence[SupplyEvent], local: LocalTime) -> Table | None:
    """Dips, one a row; None without any."""
    if not dips:
        return None
    rows = [
        (
            *_event_words(one, local),
            "" if one.depth_v is None else in_figures(f"{one.depth_v:.2g} V"),
            translated(SHAPES[one.shape or ""][1]),
            str(one.restarts) if one.restarts else "",
        )
        for one in dips[:ROWS_LISTED]
    ]
    heads = (*_event_heads(), tell("below before"), tell("looks like"), tell("restarts"))
    caption = tell("Dips below {limit:g} V.", limit=LIMITS_V["D"]) + _more(len(dips))
    return table(caption, heads, rows, "reached|below before|restarts")


def over_table(over: Sequence[SupplyEvent], local: LocalTime) -> Table | None:
    """Over-voltages, one a row; None without any."""
    if not over:
        return None
    rows = [_event_words(one, local) for one in over[:ROWS_LISTED]]
    caption = tell("The supply above {limit:g} V.", limit=HIGHEST_V) + _more(len(over))
    return table(caption, _event_heads(), rows, "reached")


def _event_heads() -> tuple[str, ...]:
    return tell("from"), tell("to"), tell("reached"), tell("lasted"), tell("seen in")


def _volts(value: float) -> str:
    return in_figures(f"{value:g} V")


def _event_words(one: SupplyEvent, local: LocalTime) -> tuple[str, ...]:
    lasted = [tell("at least {length}", length=duration(one.at_least_s))] if one.at_least_s > 0.0 else []
    if one.at_most_s is None:
        lasted.append(tell("no end seen"))
    else:
        lasted.append(tell("at most {length}", length=duration(one.at_most_s)))
    return (
        unknown() if one.from_ is None else _clock(one.from_, local),
        _clock(one.to, local),
        _volts(one.extreme_v),
        ", ".join(lasted),
        SEEN_IN[one.seen_in],
    )


def _more(count: int) -> str:
    if count <= ROWS_LISTED:
        return ""
    return " " + tell("The first {listed} of {all} are listed.", listed=ROWS_LISTED, all=count)


def _restart_table(found: SupplyFindings, local: LocalTime, start: datetime, end: datetime) -> Table | None:
    kept = [one for one in found.restarts if start <= parse_instant(one.at) <= end][:ROWS_LISTED]
    if not kept:
        return None
    rows = [
        (_clock(one.at, local), tell("in or just after a dip") if one.tied else tell("no dip seen")) for one in kept
    ]
    return table(tell("Unexpected restarts."), (tell("at"), tell("the supply then")), rows)


def _point_table(points: Sequence[SupplyPoint], local: LocalTime) -> Table:
    rows = [(_clock(point.at, local), _volts(point.voltage_v), _kind_words(point)) for point in points[:ROWS_LISTED]]
    heads = (tell("at"), tell("voltage"), tell("what"))
    return table(tell("Voltages drawn.") + _more(len(points)), heads, rows, "voltage")


def _kind_words(point: SupplyPoint) -> str:
    if point.span_s is None:
        return tell("reading")
    if point.span_s:
        return tell("lowest of {length}", length=duration(point.span_s))
    return tell("lowest since an unknown time")


def _clock(instant: str, local: LocalTime) -> str:
    return f"{local.wall(parse_instant(instant)):%H:%M:%S}"


def _alt(points: Sequence[SupplyPoint], dips: Sequence[SupplyEvent], restarts: int) -> str:
    volts = [point.voltage_v for point in points]
    said = [tell("The supply between {low:g} V and {high:g} V.", low=min(volts), high=max(volts))]
    limit = LIMITS_V["D"]
    if dips:
        said.append(tell("Dips below {limit:g} V: {count}.", limit=limit, count=len(dips)))
    else:
        said.append(tell("No dip below {limit:g} V.", limit=limit))
    if restarts:
        said.append(tell("Restarts: {count}.", count=restarts))
    return " ".join(said)
