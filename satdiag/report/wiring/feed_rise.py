"""The noise-rise test in the report."""

from __future__ import annotations

from satdiag.findings import Interval, NoiseRiseFindings, RiseInput
from satdiag.language import in_figures, mark, tell
from satdiag.report.figure import Figure, Spec, Table, axis, layout, table
from satdiag.report.local_time import IN_UTC, LocalTime
from satdiag.report.numbers import UNKNOWN, quantity, rounded
from satdiag.report.palette import BLUE, FAINT, GREEN, INK, ORANGE, PAPER
from satdiag.report.wiring.part import Part
from satdiag.report.words import Words

HEIGHT_PX = 330

MEANINGS = Words(
    {
        "none": mark("it does not rise"),
        "low": mark("it rises too little"),
        "as expected": mark("it rises as it should"),
        "high": mark("it rises too far"),
        "cannot tell": UNKNOWN,
    }
)
_FEED = Words({"off": mark("off"), "on": mark("on")})


def rise_part(found: NoiseRiseFindings, local: LocalTime = IN_UTC) -> Part:
    """How far the noise rises, beside how far it should."""
    measured = quantity(found.rise_db, "dB", found.rise_db_90)
    row = (tell("noise with the feed switched on"), MEANINGS[found.meaning], measured)
    return Part(row, (found.text,), (_figure(found, local),) if found.blocks else ())


def inputs_table(inputs: tuple[RiseInput, ...]) -> Table:
    """What an expected rise was computed from."""
    rows = [(one.words, f"{ends(one.low, one.high)} {one.unit}", one.standing) for one in inputs]
    caption = tell("What the expected rise was computed from; each figure lies evenly in its range.")
    return table(caption, (tell("figure"), tell("range"), tell("standing")), rows, "range")


def ends(low: float, high: float) -> str:
    """'25 to 30', or '28' of a range without width."""
    if low == high:
        return rounded(low, 0.0)
    return tell("{low} to {high}", low=rounded(low, 0.0), high=rounded(high, 0.0))


def _figure(found: NoiseRiseFindings, local: LocalTime) -> Figure:
    count = len(found.blocks)
    traces = [_band(tell("a healthy antenna"), found.expected_db_90, count, GREEN, "/")]
    if found.rise_db_90 is not None:
        traces.append(_band(tell("measured rise, 90 % range"), found.rise_db_90, count, ORANGE, ""))
    for name, feed, symbol, fill in (
        (tell("feed off"), "off", "square", PAPER),
        (tell("feed on"), "on", "circle", BLUE),
    ):
        own = [(nth, block) for nth, block in enumerate(found.blocks, 1) if block.feed == feed]
        marker = {"symbol": symbol, "size": 11, "color": fill, "line": {"color": INK, "width": 1.6}}
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": [nth for nth, _ in own],
                "y": [round(block.above_off_db, 3) for _, block in own],
                "marker": marker,
                "name": name,
                "hovertemplate": "%{y:.1f} dB<extra></extra>",
            }
        )
    spec = {
        "data": traces,
        "layout": layout(
            HEIGHT_PX,
            xaxis=axis(
                tell("noise readings between switchings, in order"),
                range=[0.4, count + 0.6],
                tickvals=list(range(1, count + 1)),
                ticktext=[_FEED[block.feed] for block in found.blocks],
                showgrid=False,
            ),
            yaxis=axis(tell("dB above feed off")),
            shapes=_between_tests(found),
            margin={"l": 48, "r": 14, "t": 84, "b": 48},
        ),
    }
    return Figure(
        "noise-rise", _caption(found), _alt(found), spec, (_blocks(found, local), inputs_table(found.inputs))
    )


def _band(name: str, ends_db: Interval, count: int, color: str, pattern: str) -> Spec:
    """A range across the figure: hatched where it has a pattern, else outlined."""
    low, high = (round(end, 3) for end in ends_db)
    left, right = 0.4, count + 0.6
    hatched = {
        "fill": "toself",
        "fillcolor": "rgba(0,0,0,0)",
        "fillpattern": {"shape": pattern, "fgcolor": color, "bgcolor": "rgba(0,0,0,0)", "size": 8, "solidity": 0.25},
    }
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [left, right, right, left, left],
        "y": [low, low, high, high, low],
        **(hatched if pattern else {}),
        "line": {"color": color, "width": 2, "dash": "dash" if not pattern else "solid"},
        "name": name,
        "hoverinfo": "skip",
    }


def _between_tests(found: NoiseRiseFindings) -> list[Spec]:
    """A line between two tests, whose readouts have no common zero."""
    changes = [
        nth + 0.5
        for nth, (one, other) in enumerate(zip(found.blocks, found.blocks[1:], strict=False), 1)
        if one.test != other.test
    ]
    line = {"color": FAINT, "width": 1, "dash": "dot"}
    return [{"type": "line", "x0": x, "x1": x, "y0": 0, "y1": 1, "yref": "paper", "line": line} for x in changes]


def _blocks(found: NoiseRiseFindings, local: LocalTime) -> Table:
    rows = [
        (
            local.clock(block.at),
            str(block.test),
            _FEED[block.feed],
            quantity(block.noise_db, "dB"),
            in_figures(f"{block.above_off_db:+.1f} dB").replace("-", "\u2212"),
            str(block.n),
        )
        for block in found.blocks
    ]
    heads = (
        tell("time"),
        tell("test"),
        tell("feed"),
        tell("noise, as read out"),
        tell("above feed off"),
        tell("readings"),
    )
    return table(
        f"{tell('The noise between the switchings of the feed.')} {local.sentence}",
        heads,
        rows,
        "noise, as read out|above feed off",
    )


def _caption(found: NoiseRiseFindings) -> str:
    said = tell(
        "Noise before and after the feed was switched, above the level with the feed off. Hatched: where a healthy "
        "antenna should lift it to; dashed: how far it rose, with its range."
    )
    return f"{said} {tell('A dotted line parts tests.')}" if found.tests > 1 else said


def _alt(found: NoiseRiseFindings) -> str:
    low, high = found.expected_db_90
    return tell(
        "Plot of {count} noise levels in order. Measured rise {rise}; expected {low:.0f} to {high:.0f} dB.",
        count=len(found.blocks),
        rise=quantity(found.rise_db, "dB", found.rise_db_90),
        low=low,
        high=high,
    )
