"""What to expect in other kinds of place, for a vehicle that may stand under a roof, behind buildings or under trees.

The figures are found in the sky room (`satdiag.sky.elsewhere`); here they are only put into words and drawn.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import NamedTuple

from satdiag.findings import ElsewhereFindings, Findings, PathElsewhere, PlaceElsewhere
from satdiag.language import parted, tell
from satdiag.report.figure import Figure, Spec, Table, axis, label, layout, note, table
from satdiag.report.numbers import FIXED_SPACE, THIN_SPACE, percent, unknown
from satdiag.report.palette import INK, SKY_BLUE
from satdiag.report.words import fault_words, sentence

WORTH_SAYING = 0.1
"""A fault less probable than this is not worth a section."""

LINE_PX, BAR_PX, GAP_PX, FOOT_PX = 17, 14, 12, 50
LINE_LENGTH = 50


class Elsewhere(NamedTuple):
    """The parts of the section; `missing` says why there is nothing in it."""

    sentences: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    missing: tuple[str, ...] = ()


def elsewhere(findings: Findings) -> Elsewhere | None:
    """The section's parts, or None where no fault of the surroundings is likely enough or nothing was worked out."""
    found = findings.sky.elsewhere
    if found is None:
        return None
    chances = {move.fault: findings.diagnosis.faults.get(move.fault) or 0.0 for move in found.moves}
    if not found.places:
        return Elsewhere(missing=_said(found)) if _in_question(findings) else None
    likely = [fault for fault in sorted(chances, key=lambda one: -chances[one]) if chances[fault] >= WORTH_SAYING]
    if not likely:
        return None
    paths = found.places[0].paths
    highest = max(range(len(paths)), key=lambda number: paths[number].elevation_deg)
    tables = (_table(found), _sources_table(found))
    figure = _figure([(one, one.paths[highest]) for one in found.places], paths[highest], tables)
    return Elsewhere(
        sentences=_sentences(likely, chances, found),
        figures=(figure,) if figure is not None else (),
        tables=() if figure is not None else tables,
        missing=_said(found),
    )


_SURROUNDINGS = ("indoors", "obstructed", "foliage")


def _in_question(findings: Findings) -> bool:
    return any((findings.diagnosis.faults.get(fault) or 0.0) >= WORTH_SAYING for fault in _SURROUNDINGS)


def _said(found: ElsewhereFindings) -> tuple[str, ...]:
    return tuple(sentence(text) for text in found.could_not)


def _sentences(likely: Sequence[str], chances: dict[str, float], found: ElsewhereFindings) -> tuple[str, ...]:
    text = {move.fault: move.text for move in found.moves}
    return (
        *(sentence(_gain_words(fault, chances[fault], text[fault])) for fault in likely),
        sentence(found.weather),
        tell(
            "These are models of kinds of place, not measurements of this one: driving through a street or under "
            "trees the loss changes from metre to metre, and a vehicle that stands has one of those losses all the "
            "time."
        ),
    )


def _gain_words(fault: str, chance: float, gain: str) -> str:
    return tell("{fault} ({chance} probable): {gain}", fault=fault_words(fault), chance=percent(chance), gain=gain)


# --- tables ------------------------------------------------------------------------------------------------------


def _table(found: ElsewhereFindings) -> Table:
    rows = []
    for one in found.places:
        for path in one.paths:
            losses = (_db(path.exceeded_90_db), _db(path.exceeded_50_db), _db(path.exceeded_10_db))
            rows.append((one.words, path.name, *losses, percent(path.works_share), _any_words(one)))
    heads = (
        tell("place"),
        tell("satellite"),
        tell("9 in 10 lose"),
        tell("half lose"),
        tell("1 in 10 loses"),
        tell("it works"),
        tell("any works"),
    )
    margin = unknown() if found.margin_db is None else f"{found.margin_db:.0f}{THIN_SPACE}dB"
    caption = tell(
        "Loss against an open sky that is reached or passed in 90, 50 and 10 of 100 cases, and the share in which a "
        "path with {margin} in hand works. Cases are metres driven in streets and under trees, and garages.",
        margin=margin,
    )
    return table(caption, heads, rows, "|".join(heads[2:]))


def _db(value: float | None) -> str:
    if value is None:
        return unknown()
    return f"{round(value)}{THIN_SPACE}dB" if round(value) > 0 else tell("nothing")


def _any_words(one: PlaceElsewhere) -> str:
    if one.any_path_share_range is None:
        return unknown()
    low, high = (percent(share) for share in one.any_path_share_range)
    return low if low == high else tell("{low} to {high}", low=low, high=high).replace(" ", FIXED_SPACE)


def _sources_table(found: ElsewhereFindings) -> Table:
    rows: list[tuple[str, str]] = [(source.name, source.standing) for source in found.sources]
    rows += [(text, tell("note")) for text in found.notes]
    return table(tell("What these figures rest on."), (tell("model or figure"), tell("standing")), rows)


# --- figure ------------------------------------------------------------------------------------------------------


def _figure(
    found: Sequence[tuple[PlaceElsewhere, PathElsewhere]], satellite: PathElsewhere, tables: tuple[Table, ...]
) -> Figure | None:
    """Spans of loss by kind of place for one satellite, or None where no kind has all three figures."""
    spans = [(one.words, *ends) for one, path in found if (ends := _ends(path)) is not None]
    if not spans:
        return None
    caption = tell(
        "What is lost against an open sky towards {satellite}, {elevation:.0f}° high, by kind of place: the bar "
        "holds the middle 80 of 100 cases, the stroke in it is the middle one.",
        satellite=satellite.name,
        elevation=satellite.elevation_deg,
    )
    said = parted(
        tell(
            "{place} {low:.0f} to {high:.0f} dB, middle {middle:.0f}", place=words, low=low, high=high, middle=middle
        )
        for words, low, middle, high in spans
    )
    alt = tell("Spans of loss towards {satellite}: {spans}.", satellite=satellite.name, spans=said)
    return Figure("elsewhere", caption, alt, _spec(spans), tables)


Span = tuple[str, float, float, float]


def _ends(path: PathElsewhere) -> tuple[float, float, float] | None:
    losses = (path.exceeded_90_db, path.exceeded_50_db, path.exceeded_10_db)
    known = [max(0.0, loss) for loss in losses if loss is not None]
    return (known[0], known[1], known[2]) if len(known) == 3 else None


def _spec(spans: Sequence[Span]) -> Spec:
    """Bars from the top down, each with its words above it; the vertical axis counts pixels downwards."""
    places, words, used = [], [], 0.0
    for name, low, middle, high in spans:
        said = tell("{place}: {loss}", place=name, loss=_span_words(low, middle, high))
        lines = textwrap.wrap(said, LINE_LENGTH)
        used += GAP_PX + LINE_PX * len(lines) + BAR_PX
        places.append(used - BAR_PX / 2)
        text = "<br>".join(label(line) for line in lines)
        words.append(note(text, x=0, xref="paper", y=used - BAR_PX, yshift=2))
    bars = {
        "type": "bar",
        "orientation": "h",
        "base": [round(low, 3) for _, low, _, _ in spans],
        "x": [round(high - low, 3) for _, low, _, high in spans],
        "y": places,
        "width": BAR_PX,
        "marker": {"color": SKY_BLUE, "line": {"color": INK, "width": 1.2}},
        "hoverinfo": "skip",
    }
    strokes = {
        "type": "scatter",
        "mode": "markers",
        "x": [round(middle, 3) for _, _, middle, _ in spans],
        "y": places,
        "marker": {"symbol": "line-ns", "size": BAR_PX + 4, "color": INK, "line": {"color": INK, "width": 3}},
        "hoverinfo": "skip",
        "cliponaxis": False,
    }
    most = max(high for *_, high in spans)
    return {
        "data": [bars, strokes],
        "layout": layout(
            round(used) + GAP_PX + FOOT_PX,
            xaxis=axis(tell("loss against an open sky, dB"), range=[0, 1.06 * max(most, 10.0)]),
            yaxis=axis(visible=False, range=[used + GAP_PX, 0]),
            annotations=words,
            showlegend=False,
            margin={"l": 10, "r": 14, "t": 0, "b": FOOT_PX, "pad": 0},
            bargap=0,
        ),
    }


def _span_words(low: float, middle: float, high: float) -> str:
    if round(low) == round(high):
        return f"{round(middle)} dB"
    return tell("{low} to {high} dB, middle {middle}", low=round(low), high=round(high), middle=round(middle))
