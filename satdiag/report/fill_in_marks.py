"""Beside the curves of the fill-in figure: the channels still awaited, by state, and when the last comes."""

from __future__ import annotations

from collections import Counter

from satdiag.findings import ChannelFinding, EntitlementFindings
from satdiag.language import tell
from satdiag.report import palette, words
from satdiag.report.figure import Spec
from satdiag.report.palette import INK, PURPLE

SYMBOLS = {"cross": "x", "ring": "circle-open", "triangle": "triangle-up", "dash": "line-ew-open", "disc": "circle"}
"""Symbols of the tables in plotly's names."""

ORDER = ("refused", "missing", "no-signal", "unchecked")
BIG, SMALL = 8, 5
FEW = 40
MOST_MARKS = 300
"""Of a state. Of more channels so many marks are drawn, as far up: more would hide one another."""

MORE_LIKELY_DEAD = 0.5


def _rest(found: EntitlementFindings) -> list[ChannelFinding]:
    """Expected channels that do not play: those with a chance above nought, and those that were lost."""
    return [
        channel
        for channel in found.channels
        if channel.state != "authorised" and ((channel.p_will_come or 0.0) > 0.0 or channel.reason == "lost")
    ]


def rest_marks(found: EntitlementFindings, scale: float) -> list[Spec]:
    """One mark a channel that does not play, stacked where the log ends, by state; of very many some."""
    rest, height = _rest(found), float(found.authorised or 0)
    if found.exposure_s is None or found.expected is None:
        return []
    size = BIG if len(rest) <= FEW else SMALL
    x, marks = round(found.exposure_s / scale, 4), list[Spec]()
    for state in ORDER:
        channels = sorted(part.channel for part in rest if part.state == state)
        if not channels:
            continue
        count = len(channels)
        places = sorted(
            {k * (count - 1) // (MOST_MARKS - 1) for k in range(MOST_MARKS)} if _are_many(count) else range(count)
        )
        look = palette.CHANNELS[state]
        color = INK if state == "unchecked" else look.fill
        marks.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": [x] * len(places),
                "y": [height + 1 + place for place in places],
                "marker": {"symbol": SYMBOLS[look.symbol], "size": size, "color": color, "line": {"width": 1.2}},
                "text": [tell("channel {channels}", channels=channels[place]) for place in places],
                "hovertemplate": "%{text}<extra></extra>",
                "name": tell("{count} {state}", count=count, state=words.CHANNEL_STATES[state]),
                "cliponaxis": False,
            }
        )
        height += count
    return marks


def _are_many(count: int) -> bool:
    return count > MOST_MARKS


def completion(found: EntitlementFindings, scale: float) -> list[Spec]:
    """When the last of those that still come should be there, with its 90 % range, at the number that then plays."""
    last, curve = found.remaining_to_last_s, found.curve
    if last is None or found.exposure_s is None or found.complete or curve is None or last.median <= 0.0:
        return []
    if (found.p_account_dead or 0.0) > MORE_LIKELY_DEAD:
        return []
    rest = [channel.p_will_come or 0.0 for channel in _rest(found)]
    number = (found.authorised or 0) + sum(rest)
    end_s = max(curve.exposure_s[-1], found.exposure_s + 1.1 * last.median)
    at_s = [found.exposure_s + wait for wait in (last.p05, last.median, last.p95)]
    low, middle, high = (round(min(time_s, end_s) / scale, 4) for time_s in at_s)
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "x": [middle],
            "y": [round(number, 1)],
            "error_x": {
                "type": "data",
                "symmetric": False,
                "array": [round(high - middle, 4)],
                "arrayminus": [round(middle - low, 4)],
                "color": INK,
                "thickness": 1.5,
                "width": 5,
            },
            "marker": {"symbol": "diamond", "size": 11, "color": PURPLE, "line": {"color": INK, "width": 1.2}},
            "name": tell("the last one, predicted"),
            "hovertemplate": tell("the last one, predicted: {listened}", listened="%{x:.0f}") + "<extra></extra>",
            "cliponaxis": False,
        }
    ]


def rest_words(found: EntitlementFindings) -> str:
    """What the caption says of the line where the log ends and of the marks on it, in a sentence."""
    has_rest = found.exposure_s is not None and bool(_rest(found))
    has_end = bool(completion(found, 1.0))
    if has_rest and any(_are_many(count) for count in Counter(part.state for part in _rest(found)).values()):
        column = tell(
            "The dash-dotted line is where the log ends; the column of marks on it is as tall as the number of "
            "channels that do not play yet."
        )
        diamond = tell("The diamond is when the last one should come, its whiskers the 90 % range as far as it fits.")
        return f"{column} {diamond}" if has_end else column
    if has_rest and has_end:
        return tell(
            "The dash-dotted line is where the log ends, with one mark for each channel that does not play yet; the "
            "diamond is when the last one should come, and its whiskers the 90 % range as far as it fits."
        )
    if has_rest:
        return tell(
            "The dash-dotted line is where the log ends, with one mark for each channel that does not play yet."
        )
    if has_end:
        return tell(
            "The dash-dotted line is where the log ends; the diamond is when the last one should come, and its "
            "whiskers the 90 % range as far as it fits."
        )
    return tell("The dash-dotted line is where the log ends.")
