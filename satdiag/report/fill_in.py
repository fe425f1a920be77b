"""The fill-in curve: how many channels play after how much listening, seen and expected."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from satdiag.findings import EntitlementFindings, FillCurve, StepFinding
from satdiag.language import tell
from satdiag.report.figure import Figure, Spec, Table, axis, layout, note, table
from satdiag.report.fill_in_marks import completion, rest_marks, rest_words
from satdiag.report.numbers import HOUR_S, MINUTE_S, duration, percent, range_words
from satdiag.report.palette import BLUE, FAINT, INK, SKY_BLUE, VERMILLION

HEIGHT_PX = 380
TABLE_ROWS = 24
FEW_CHECKS = 12


def fill_in_figure(found: EntitlementFindings) -> Figure | None:
    """The figure of `entitlement.curve`, or None where there is no curve."""
    curve = found.curve
    if curve is None or not curve.exposure_s:
        return None
    unit, scale = ("h", HOUR_S) if curve.exposure_s[-1] > 5 * HOUR_S else ("min", MINUTE_S)
    marks = [*rest_marks(found, scale), *completion(found, scale)]
    look = layout(
        HEIGHT_PX,
        xaxis=axis(tell("time listened, {unit}", unit=unit), rangemode="tozero"),
        yaxis=axis(tell("channels that play"), rangemode="tozero"),
        shapes=_lines(found, scale),
        annotations=_line_labels(found, scale),
        margin={"l": 48, "r": 14, "t": 64, "b": 48},
    )
    look["legend"]["traceorder"] = "normal"  # plotly turns it round where an area is filled
    spec: Spec = {
        "data": [*_band(curve, scale), *_steps(found.steps, scale), *_seen(curve, scale), *marks],
        "layout": look,
    }
    return Figure("fill-in", _caption(found), _alt(found, curve), spec, _tables(found, curve))


def _scaled(times_s: Sequence[float], scale: float) -> list[float]:
    return [round(time_s / scale, 4) for time_s in times_s]


def _band(curve: FillCurve, scale: float) -> list[Spec]:
    x = _scaled(curve.exposure_s, scale)
    edge: dict[str, Any] = {"color": BLUE, "width": 1, "dash": "dot"}
    shared = {"type": "scatter", "mode": "lines", "x": x}
    return [
        {**shared, "y": list(curve.p05), "line": edge, "showlegend": False, "name": "5 %", "hoverinfo": "skip"},
        {
            **shared,
            "y": list(curve.p95),
            "line": edge,
            "fill": "tonexty",
            "fillcolor": "rgba(86,180,233,0.25)",
            "name": tell("expected, {range}", range=range_words()),
            "hoverinfo": "skip",
        },
        {
            **shared,
            "y": list(curve.median),
            "line": {"color": BLUE, "width": 2.5},
            "name": tell("expected, middle"),
            "hovertemplate": tell("{listened}: {count} expected", listened="%{x:.0f}", count="%{y:.0f}")
            + "<extra></extra>",
        },
    ]


def _steps(steps: StepFinding | None, scale: float) -> list[Spec]:
    """Turnbull's step curve, from the start on; where a step lies inside its interval is not determined."""
    if steps is None:
        return []
    x = [0.0, *_scaled(steps.upper_s, scale)]
    y = [steps.held, *(round(steps.held + share * steps.channels, 2) for share in steps.share)]
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "x": x,
            "y": y,
            "line": {"color": INK, "width": 1.5, "shape": "hv"},
            "name": tell("step estimate"),
            "hoverinfo": "skip",
        }
    ]


def _seen(curve: FillCurve, scale: float) -> list[Spec]:
    if not curve.seen_s:
        return []
    shared = {"type": "scatter", "mode": "markers", "x": _scaled(curve.seen_s, scale), "cliponaxis": False}
    marks = {
        "symbol": "triangle-up",
        "size": 8 if len(curve.seen_s) <= FEW_CHECKS else 5,
        "color": SKY_BLUE,
        "line": {"color": INK, "width": 1.2},
    }
    tops = {**marks, "symbol": "triangle-down"}
    return [
        {**shared, "y": list(curve.seen_low), "marker": marks, "name": tell("seen, at least")},
        {**shared, "y": list(curve.seen_high), "marker": tops, "name": tell("seen, at most")},
    ]


def _lines(found: EntitlementFindings, scale: float) -> list[Spec]:
    """Where the log ends (a strip where only bounds are known), and how many channels are expected."""
    lines: list[Spec] = []
    if found.exposure_s is not None:
        now = round(found.exposure_s / scale, 4)
        if _open_ended(found):
            most = round((found.exposure_max_s or 0.0) / scale, 4)
            strip = {"type": "rect", "fillcolor": VERMILLION, "opacity": 0.09, "line": {"width": 0}}
            lines.append({**_upright(now, most), **strip})
        lines.append({**_upright(now, now), "line": {"color": VERMILLION, "width": 2, "dash": "dashdot"}})
    if found.expected is not None:
        across = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": found.expected, "y1": found.expected}
        lines.append({**across, "line": {"color": FAINT, "width": 1.5, "dash": "longdash"}, "layer": "below"})
    return lines


def _open_ended(found: EntitlementFindings) -> bool:
    """True if the log allows more listening than it proves."""
    return found.exposure_s is not None and (found.exposure_max_s or 0.0) > found.exposure_s


def _upright(start: float, end: float) -> Spec:
    return {"type": "line", "yref": "paper", "x0": start, "x1": end, "y0": 0, "y1": 1, "layer": "below"}


def _line_labels(found: EntitlementFindings, scale: float) -> list[Spec]:
    labels: list[Spec] = []
    if found.exposure_s is not None:
        now = round(found.exposure_s / scale, 4)
        labels.append(note(tell("last row"), VERMILLION, x=now, y=0.02, yref="paper", xshift=4))
    if found.expected is not None:
        labels.append(
            note(tell("{count} expected", count=found.expected), FAINT, x=0, xref="paper", y=found.expected, xshift=4)
        )
    return labels


def _caption(found: EntitlementFindings) -> str:
    said = [
        tell(
            "Channels that play against the time the receiver has listened. The blue line and its band show what "
            "the model expects of the channels still to come; the triangles show what was seen: at least so many, "
            "at most so many, and the stepped line is the estimate that needs no model (Turnbull 1976)."
        ),
        rest_words(found),
    ]
    if _open_ended(found):
        said.append(tell("The strip beside it reaches to the longest listening that the log allows."))
    return " ".join(said)


def _alt(found: EntitlementFindings, curve: FillCurve) -> str:
    said = [tell("Line chart of channels that play over listening time.")]
    if curve.seen_s:
        said.append(
            tell(
                "At the last check at least {least:.0f} and at most {most:.0f} played.",
                least=curve.seen_low[-1],
                most=curve.seen_high[-1],
            )
        )
    values = {
        "time": duration(curve.exposure_s[-1]),
        "middle": f"{curve.median[-1]:.0f}",
        "low": f"{curve.p05[-1]:.0f}",
        "high": f"{curve.p95[-1]:.0f}",
    }
    if found.expected is None:
        said.append(tell("After {time} of listening the model has {middle} ({low} to {high}).", **values))
    else:
        said.append(
            tell(
                "After {time} of listening the model has {middle} ({low} to {high}) of {expected} expected.",
                **values,
                expected=found.expected,
            )
        )
    return " ".join(said)


def _tables(found: EntitlementFindings, curve: FillCurve) -> tuple[Table, ...]:
    every = max(1, -(-len(curve.exposure_s) // TABLE_ROWS))
    picked = range(0, len(curve.exposure_s), every)
    caption = tell("Channels expected to play after a time of listening, with the {range}.", range=range_words())
    if every > 1:
        caption += " " + tell("Every {every}th point of the curve is listed.", every=every)
    model = table(
        caption,
        (tell("listened"), tell("middle"), tell("5 %"), tell("95 %")),
        [
            (duration(curve.exposure_s[i]), *(f"{part[i]:.0f}" for part in (curve.median, curve.p05, curve.p95)))
            for i in picked
        ],
        "listened|middle|5 %|95 %",
    )
    rows = zip(curve.seen_s, curve.seen_low, curve.seen_high, strict=True)
    seen = table(
        tell("Channels seen to play: fewest and most that the checks allow."),
        (tell("listened"), tell("at least"), tell("at most")),
        [(duration(at), f"{low:.0f}", f"{high:.0f}") for at, low, high in rows],
        "listened|at least|at most",
    )
    parts = (model, seen) if curve.seen_s else (model,)
    return (*parts, _step_table(found.steps)) if found.steps else parts


def _step_table(steps: StepFinding) -> Table:
    rows = zip(steps.lower_s, steps.upper_s, steps.share, strict=True)
    return table(
        tell(
            "Estimate without a model (Turnbull): the share of {count} channels that has come.", count=steps.channels
        ),
        (tell("after"), tell("and by"), tell("have come")),
        [(duration(low), duration(high), percent(share)) for low, high, share in rows],
        "after|and by|have come",
    )
