"""Bars: what each piece of evidence weighs, and how probable each class and fault is."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from satdiag.diagnosis.model import load_model
from satdiag.findings import DiagnosisFindings, Evidence
from satdiag.language import parted, spoken, tell, translated
from satdiag.report.figure import Figure, Spec, axis, label, layout, note, table
from satdiag.report.numbers import decibans, percent
from satdiag.report.palette import FAINT, HATCH, INK, ORANGE, SKY_BLUE
from satdiag.report.words import CLASSES, fault_words, row_words

LINE_PX = 17
BAR_PX = 16
GAP_PX = 10
TOP_PX = 6
FOOT_PX = 50
LINE_LENGTH = 50
EVIDENCE_BARS = 12
FAULT_BARS = 8
WORTH_A_BAR = 0.005


class Bar(NamedTuple):
    """One bar: the words over it, its length, the words at its end."""

    words: str
    length: float
    value: str


def evidence_figure(found: DiagnosisFindings) -> Figure | None:
    """The strongest pieces of evidence as bars in decibans, or None without evidence."""
    if not found.evidence:
        return None
    ranked = sorted(found.evidence, key=lambda item: -abs(item.weight_db))
    main = _main_aim(ranked)
    bars = [Bar(_bar_words(item, main), item.weight_db, decibans(item.weight_db)) for item in ranked]
    data, spec_layout = _drawing(bars[:EVIDENCE_BARS], tell("weight, decibans"))
    spec_layout["shapes"] = [_zero_line()]
    spec_layout["xaxis"]["range"] = _range([bar.length for bar in bars])
    rows = [
        (item.text, _item_words(item), fault_words(item.for_), decibans(item.weight_db), row_words(item.rows))
        for item in ranked
    ]
    heads = (
        tell("what was seen"),
        tell("item"),
        tell("concerning"),
        tell("weight, decibans"),
        tell("rows of the log"),
    )
    evidence = table(tell("Every piece of evidence, strongest first."), heads, rows, "weight, decibans")
    return Figure("evidence", _evidence_caption(ranked), _evidence_alt(ranked), _spec(data, spec_layout), (evidence,))


def probability_figures(found: DiagnosisFindings) -> list[Figure]:
    """How probable each class is, and each fault; several can be present at once, so they need not add up to one."""
    made = []
    if found.classes:
        words = {name: CLASSES.get(name, name) for name in found.classes}
        made.append(_probabilities("classes", _of_classes(), words, found.classes))
    if found.faults:
        words = {name: fault_words(name) for name in found.faults}
        made.append(_probabilities("faults", _of_faults(), words, found.faults))
    return made


class _Said(NamedTuple):
    """The sentences of one figure of probabilities."""

    what: str
    caption: str
    of_table: str
    alt: str


def _of_classes() -> _Said:
    return _Said(
        tell("kind of cause"),
        tell(
            "How probable each kind of cause is, given all that was logged. More than one can be present, so the "
            "bars need not add up to a whole."
        ),
        tell("Probability of each kind of cause, highest first."),
        tell("Bar chart of probabilities by kind of cause:"),
    )


def _of_faults() -> _Said:
    return _Said(
        tell("fault"),
        tell(
            "How probable each fault is, given all that was logged. More than one can be present, so the bars need "
            "not add up to a whole."
        ),
        tell("Probability of each fault, highest first."),
        tell("Bar chart of probabilities by fault:"),
    )


def _probabilities(name: str, said: _Said, words: Mapping[str, str], chances: Mapping[str, float]) -> Figure:
    ranked = sorted(chances.items(), key=lambda item: -item[1])
    shown = [item for item in ranked if item[1] >= WORTH_A_BAR][:FAULT_BARS] or ranked[:1]
    bars = [Bar(words[key], p, percent(p)) for key, p in shown]
    data, spec_layout = _drawing(bars, tell("probability"))
    spec_layout["xaxis"] |= {"range": [-0.004, 1.18], "tickvals": [0, 0.25, 0.5, 0.75, 1]}
    spec_layout["xaxis"]["ticktext"] = [percent(share) for share in (0, 0.25, 0.5, 0.75, 1)]
    caption = said.caption
    if len(shown) < len(ranked):
        caption = f"{caption} {tell('Those below {share} have no bar.', share=percent(WORTH_A_BAR * 2))}"
    top = parted(f"{words[key]} {percent(p)}" for key, p in shown)
    rows = [(words[key], percent(p)) for key, p in ranked]
    whole = table(said.of_table, (said.what, tell("probability")), rows, "probability")
    return Figure(name, caption, f"{said.alt} {top}.", _spec(data, spec_layout), (whole,))


def _spec(data: list[Spec], spec_layout: Spec) -> Spec:
    return {"data": data, "layout": spec_layout}


def _item_words(item: Evidence) -> str:
    """The names of the model, which are words in English; elsewhere what the item is called."""
    known = load_model().items
    if spoken() != "en" and item.item in known:
        return translated(known[item.item].what)
    return f"{item.item.replace('-', ' ')}: {item.state.replace('-', ' ')}"


def _main_aim(ranked: Sequence[Evidence]) -> str:
    """The cause that most of the evidence concerns."""
    aims = [item.for_ for item in ranked]
    return max(dict.fromkeys(aims), key=aims.count)


def _bar_words(item: Evidence, main: str) -> str:
    """The words over a bar: what was seen, and what it concerns where that is not the main cause."""
    concerning = "" if item.for_ == main else f" ({fault_words(item.for_)})"
    return (item.text or _item_words(item)) + concerning


def _drawing(bars: Sequence[Bar], title: str) -> tuple[list[Spec], Spec]:
    """Bars from the top down, each with its words above it, so that long words need no margin.

    The vertical axis counts pixels downwards.
    """
    places, words, used = [], [], 0.0
    for bar in bars:
        lines = phone_lines(bar.words)
        used += GAP_PX + LINE_PX * len(lines) + BAR_PX
        places.append(used - BAR_PX / 2)
        words.append(note("<br>".join(label(line) for line in lines), x=0, xref="paper", y=used - BAR_PX, yshift=2))
    data = [_trace(bars, places, up) for up in (True, False)]
    return [trace for trace in data if trace["y"]], layout(
        round(used) + GAP_PX + TOP_PX + FOOT_PX,
        xaxis=axis(title),
        yaxis=axis(visible=False, range=[used + GAP_PX, 0]),
        annotations=words,
        showlegend=False,
        margin={"l": 10, "r": 14, "t": TOP_PX, "b": FOOT_PX, "pad": 0},
        bargap=0,
    )


def phone_lines(words: str) -> list[str]:
    """Words in at most two lines that fit a phone."""
    return textwrap.wrap(words, LINE_LENGTH, max_lines=2, placeholder=" …") or [""]


def _trace(bars: Sequence[Bar], places: Sequence[float], up: bool) -> Spec:
    """The bars to the right (plain) or to the left (hatched) of nought."""
    kept = [(bar, place) for bar, place in zip(bars, places, strict=True) if (bar.length >= 0) == up]
    fill = (
        {"color": SKY_BLUE}
        if up
        else {
            "color": ORANGE,
            "pattern": {"shape": "/", "fgcolor": HATCH, "bgcolor": ORANGE, "size": 6, "solidity": 0.25},
        }
    )
    return {
        "type": "bar",
        "orientation": "h",
        "x": [round(bar.length, 4) for bar, _ in kept],
        "y": [place for _, place in kept],
        "width": BAR_PX,
        "marker": {**fill, "line": {"color": INK, "width": 1.2}},
        "text": [label(bar.value) for bar, _ in kept],
        "textposition": "outside",
        "textfont": {"size": 12, "color": INK},
        "cliponaxis": False,
        "hoverinfo": "skip",
        "name": "for" if up else "against",
    }


def _zero_line() -> Spec:
    place = {"type": "line", "x0": 0, "x1": 0, "yref": "paper", "y0": 0, "y1": 1}
    return {**place, "line": {"color": FAINT, "width": 1.5}, "layer": "below"}


def _range(lengths: Sequence[float]) -> list[float]:
    """Room for the words at both ends of the bars."""
    low, high = min(0.0, *lengths), max(0.0, *lengths)
    room = 0.22 * max(high - low, 1.0)
    return [low - (room if low < 0 else 0.02 * room), high + (room if high > 0 else 0.02 * room)]


def _evidence_caption(ranked: Sequence[Evidence]) -> str:
    main = fault_words(_main_aim(ranked))
    said = [
        tell(
            "What each piece of evidence weighs on its own, in decibans: plain bars to the right speak for the "
            "cause, hatched bars to the left against it. Ten decibans make the odds ten times as high."
        ),
        tell("The cause meant is “{cause}” where no other stands in brackets.", cause=main),
    ]
    if len(ranked) > EVIDENCE_BARS:
        said.append(tell("The {count} strongest are drawn.", count=EVIDENCE_BARS))
    return " ".join(said)


def _evidence_alt(ranked: Sequence[Evidence]) -> str:
    said = parted(
        tell("{item}, {weight} decibans", item=_item_words(item), weight=decibans(item.weight_db))
        for item in ranked[:EVIDENCE_BARS]
    )
    return tell("Bar chart of evidence: {items}.", items=said)
