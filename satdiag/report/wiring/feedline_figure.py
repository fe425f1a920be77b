"""The drawing of the antenna lead: the measured curve, what should stand where, and the numbered reflections."""

from __future__ import annotations

from collections.abc import Sequence

from satdiag.findings import FeedlineFindings, LeadProfile, Reflection
from satdiag.language import tell
from satdiag.report import words
from satdiag.report.figure import Spec, axis, label, layout, note
from satdiag.report.palette import BLUE, FAINT, GREEN, INK, ORANGE, PAPER, PURPLE, VERMILLION

HEIGHT_PX = 420
MOST_NUMBERED = 9
LOWEST_DB = -70.0
Shown = Sequence[tuple[int, Reflection]]

# kind: colour, symbol; a ghost is hollow. No meaning hangs on colour alone.
MARKS = {
    "open": (BLUE, "circle"),
    "short": (VERMILLION, "square"),
    "step": (ORANGE, "triangle-up"),
    "unknown": (PURPLE, "diamond"),
    "ghost": (FAINT, "circle-open"),
}


def feedline_spec(found: FeedlineFindings, shown: Shown) -> Spec:
    """The drawing in plotly's form, against metres, or nanoseconds where no velocity factor is known."""
    curve = found.profile
    assert curve is not None
    across = curve.distance_m if curve.distance_m is not None else curve.delay_ns
    in_metres = curve.distance_m is not None
    title = tell("metres along the lead") if in_metres else tell("nanoseconds there and back")
    low = _lowest(found, curve)
    drawn = [pair for pair in shown if across[0] <= _place(pair[1], curve) <= across[-1]]
    shapes, notes = _expected(found) if curve.distance_m is not None else ([], [])
    return {
        "data": [_curve(curve, across), *_noise(found, across, low), *_marks(found, drawn, curve)],
        "layout": layout(
            HEIGHT_PX,
            xaxis=axis(title, range=[across[0], across[-1]]),
            yaxis=axis(tell("dB of the wave sent"), range=[low, 8.0]),
            shapes=shapes,
            annotations=notes,
            margin={"l": 48, "r": 14, "t": 52, "b": 44},
            legend={"orientation": "h", "x": 0, "y": -0.2, "xanchor": "left", "yanchor": "top"},
        ),
    }


def _lowest(found: FeedlineFindings, curve: LeadProfile) -> float:
    floor = found.noise_floor_db if found.noise_floor_db is not None else LOWEST_DB
    return max(LOWEST_DB, min(-40.0, floor - 12.0, min(curve.level_db) if len(curve.level_db) < 3 else -40.0))


def _place(one: Reflection, curve: LeadProfile) -> float:
    return one.delay_ns if curve.distance_m is None or one.distance_m is None else one.distance_m


def _curve(curve: LeadProfile, across: Sequence[float]) -> Spec:
    unit = tell("metres") if curve.distance_m is not None else tell("nanoseconds")
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [round(value, 3) for value in across],
        "y": [round(value, 1) for value in curve.level_db],
        "line": {"color": INK, "width": 1.3},
        "name": tell("measured"),
        "hovertemplate": f"%{{x:.2f}} {unit}: %{{y:.0f}} dB<extra></extra>",
    }


def _noise(found: FeedlineFindings, across: Sequence[float], low: float) -> list[Spec]:
    if found.noise_floor_db is None or found.noise_floor_db <= low:
        return []
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "x": [across[0], across[-1]],
            "y": [found.noise_floor_db] * 2,
            "line": {"color": FAINT, "width": 1.2, "dash": "dot"},
            "name": tell("noise reaches this"),
            "hoverinfo": "skip",
        }
    ]


def _marks(found: FeedlineFindings, drawn: Shown, curve: LeadProfile) -> list[Spec]:
    """A trace for each kind of reflection, the strongest with their numbers; within a smear there is no room."""
    apart = [pair for pair in drawn if not _smeared(found, pair[1])]
    strongest = sorted(apart, key=lambda pair: -pair[1].gamma)[:MOST_NUMBERED]
    numbered = {number for number, _ in strongest}
    traces = []
    for kind, (color, symbol) in MARKS.items():
        of_kind = [pair for pair in drawn if pair[1].kind == kind]
        if of_kind:
            traces.append(_trace(kind, of_kind, numbered, curve, color, symbol))
    return traces


def _smeared(found: FeedlineFindings, one: Reflection) -> bool:
    place = one.distance_m
    return place is not None and any(begin <= place <= end for begin, end in found.smeared_m)


def _trace(kind: str, drawn: Shown, numbered: set[int], curve: LeadProfile, color: str, symbol: str) -> Spec:
    hollow = symbol.endswith("-open")
    places = [_place(one, curve) for _, one in drawn]
    spec: Spec = {
        "type": "scatter",
        "mode": "markers+text",
        "x": [round(place, 4) for place in places],
        "y": [round(-one.return_loss_db, 2) for _, one in drawn],
        "text": [f"<b>{number}</b>" if number in numbered else "" for number, _ in drawn],
        "textposition": "top center",
        "textfont": {"size": 13, "color": INK},
        "marker": {
            "symbol": symbol,
            "size": 11,
            "color": color,
            "line": {"color": FAINT if hollow else PAPER, "width": 2 if hollow else 1},
        },
        "name": label(words.REFLECTIONS[kind]),
        "customdata": [tell("no. {number}", number=number) for number, _ in drawn],
        "hovertemplate": "%{customdata}, %{x:.2f}: %{y:.1f} dB<extra></extra>",
        "cliponaxis": False,
    }
    if curve.distance_m is not None and not hollow:
        spec["error_x"] = {
            "type": "data",
            "symmetric": False,
            "array": [max(0.0, one.distance_m_90[1] - place) for (_, one), place in zip(drawn, places, strict=True)],
            "arrayminus": [
                max(0.0, place - one.distance_m_90[0]) for (_, one), place in zip(drawn, places, strict=True)
            ],
            "color": color,
            "thickness": 1.6,
            "width": 5,
        }
    return spec


def _expected(found: FeedlineFindings) -> tuple[list[Spec], list[Spec]]:
    """Lines where receiver, joints and antenna should be, and a band for how closely the antenna's place is known."""
    shapes = [_line(0.0, FAINT, "solid"), *(_smear(*ends) for ends in found.smeared_m)]
    notes = [_word(0.0, tell("receiver"), "left")]
    for number, joint in enumerate(found.joints_m, 1):
        shapes.append(_line(joint, FAINT, "dash"))
        # On a second row, or the word would lie over the others on a telephone.
        name = tell("joint {number}", number=number) if len(found.joints_m) > 1 else tell("joint")
        notes.append(_word(joint, name, "center", 2 - number % 2))
    notes += [_word(0.5 * sum(ends), tell("smeared"), "center", 0, "top") for ends in found.smeared_m]
    if found.expected_length_m is not None:
        place, margin = found.expected_length_m, found.expected_margin_m or 0.0
        band = {
            "type": "rect",
            "xref": "x",
            "yref": "paper",
            "x0": place - margin,
            "x1": place + margin,
            "y0": 0,
            "y1": 1,
        }
        shapes.append({**band, "fillcolor": GREEN, "opacity": 0.18, "line": {"width": 0}, "layer": "below"})
        shapes.append(_line(place, GREEN, "dash"))
        notes.append(_word(place, tell("antenna"), "center"))
    return shapes, notes


def _line(place: float, color: str, dash: str) -> Spec:
    line = {"color": color, "width": 1.6, "dash": dash}
    return {"type": "line", "xref": "x", "yref": "paper", "x0": place, "x1": place, "y0": 0, "y1": 1, "line": line}


def _smear(begin: float, end: float) -> Spec:
    """A stretch of low reflections without places of their own."""
    area = {"type": "rect", "xref": "x", "yref": "paper", "x0": begin, "x1": end, "y0": 0, "y1": 1}
    return {**area, "fillcolor": ORANGE, "opacity": 0.14, "line": {"width": 0}, "layer": "below"}


def _word(place: float, text: str, anchor: str, row: int = 0, side: str = "bottom") -> Spec:
    """A word over the figure, rows counted upwards."""
    return note(text, x=place, xref="x", y=1.0, yref="paper", xanchor=anchor, yanchor=side, yshift=16 * row)
