"""How firm the diagnosis stands: what each figure of the model does to it, the plan of tests, the repairs."""

from __future__ import annotations

from collections.abc import Sequence

from satdiag.diagnosis.model import load_model
from satdiag.findings import DiagnosisFindings, PlanStep, Swing
from satdiag.language import parted, spoken, tell, tell_many, translated
from satdiag.report.figure import Figure, Spec, Table, axis, label, layout, note, table
from satdiag.report.kinds import kind_words
from satdiag.report.numbers import MINUTE_S, duration, percent
from satdiag.report.palette import FAINT, HATCH, INK, ORANGE, SKY_BLUE
from satdiag.report.weights import GAP_PX, LINE_PX, phone_lines
from satdiag.report.words import fault_words

BAR_PX = 16
FOOT_PX = 50
TOP_PX = 30


def sentences(found: DiagnosisFindings) -> list[str]:
    """What the figures show, in words."""
    said = []
    if found.explanation is not None:
        said += [found.explanation.kind_text, found.explanation.of_hundred]
    if found.odd_reading is not None:
        chance = percent(found.odd_reading.chance)
        said.append(
            tell(
                "This reading fits badly with the rest and is worth repeating: {reading} (given all else its chance "
                "is {chance}).",
                reading=found.odd_reading.text,
                chance=chance,
            )
        )
    if found.sets_up_to > 2:
        said.append(tell("More than two faults at once are plausible; sets of three were looked at too."))
    if found.stop_text:
        said.append(found.stop_text)
    if found.learned_jobs:
        said.append(
            tell_many(
                "The packaged figures were moved by {n} closed job learned from.",
                "The packaged figures were moved by {n} closed jobs learned from.",
                found.learned_jobs,
            )
        )
    return said


def swing_figure(found: DiagnosisFindings, fault: str | None) -> Figure | None:
    """The probability of the leading fault as each figure of the model moves within its stated range, or None."""
    if not found.swings or fault is None:
        return None
    now = found.faults.get(fault, found.classes.get(fault, 0.0))
    bars, words, height = [], [], 0
    for swing in found.swings:
        lines = phone_lines(_what(swing))
        height += GAP_PX + LINE_PX * len(lines) + BAR_PX
        bars.append((swing, height - BAR_PX / 2))
        said = "<br>".join(label(line) for line in lines)
        words.append(note(said, x=0, xref="paper", y=height - BAR_PX, yshift=2))
    spec_layout = layout(
        height + TOP_PX + FOOT_PX,
        xaxis=axis(tell("probability of “{fault}”", fault=fault_words(fault)), range=[-0.01, 1.01], **_ticks()),
        yaxis=axis(visible=False, range=[height + 8, 0]),
        annotations=words,
        shapes=[_line(now)],
        margin={"l": 10, "r": 14, "t": TOP_PX, "b": FOOT_PX, "pad": 0},
    )
    data = [part for part in (_trace(bars, False), _trace(bars, True)) if part["y"]]
    rows = [
        (_what(one), percent(one.low), percent(one.high), tell("yes") if one.changes_lead else tell("no"))
        for one in found.swings
    ]
    heads = (tell("figure moved"), tell("lowest"), tell("highest"), tell("does another cause lead then?"))
    behind = table(tell("What each figure of the model does, the widest first."), heads, rows, "lowest|highest")
    caption = tell(
        "How far the probability of the leading cause moves when one figure of the model moves within its stated "
        "range, all others as they are. Hatched bars: another cause would lead at one end. The dotted line is where "
        "it stands now."
    )
    ranges = parted(
        tell("{what} {low} to {high}", what=_what(one), low=percent(one.low), high=percent(one.high))
        for one in found.swings
    )
    alt = tell("Bars of probability ranges: {ranges}.", ranges=ranges)
    return Figure("firmness", caption, alt, {"data": data, "layout": spec_layout}, (behind,))


def _ticks() -> Spec:
    """Shares along the axis as the language writes per cent."""
    if spoken() == "en":
        return {"tickformat": ".0%"}
    shares = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
    return {"tickvals": list(shares), "ticktext": [percent(share) for share in shares]}


def _what(swing: Swing) -> str:
    if swing.what == "prior":
        return tell("how often this comes: {fault}", fault=fault_words(swing.of))
    if swing.what == "kind":
        fault, _, kind = swing.of.partition("/")
        return tell("how often “{kind}”: {fault}", kind=kind_words(kind), fault=fault_words(fault))
    items = load_model().items
    what = translated(items[swing.what].what) if swing.what in items else swing.what
    return tell("{what}, given: {fault}", what=what, fault=fault_words(swing.of))


def _line(at: float) -> Spec:
    place = {"type": "line", "x0": at, "x1": at, "yref": "paper", "y0": 0, "y1": 1}
    return {**place, "line": {"color": FAINT, "width": 1.5, "dash": "dot"}, "layer": "below"}


def _trace(bars: Sequence[tuple[Swing, float]], turns: bool) -> Spec:
    """Bars from the lowest to the highest probability; hatched where another cause leads at one end."""
    kept = [(swing, y) for swing, y in bars if swing.changes_lead == turns]
    hatched = {"shape": "/", "fgcolor": HATCH, "bgcolor": ORANGE, "size": 6, "solidity": 0.25}
    fill: Spec = {"color": ORANGE, "pattern": hatched} if turns else {"color": SKY_BLUE}
    return {
        "type": "bar",
        "orientation": "h",
        "x": [round(swing.high - swing.low, 4) for swing, _ in kept],
        "base": [round(swing.low, 4) for swing, _ in kept],
        "y": [y for _, y in kept],
        "width": BAR_PX,
        "marker": {**fill, "line": {"color": INK, "width": 1.2}},
        "hoverinfo": "skip",
        "name": tell("another cause would lead at one end") if turns else tell("the same cause leads"),
    }


def plan_tables(found: DiagnosisFindings) -> list[Table]:
    """A table for each step of the plan, and one for the repairs where no test is offered."""
    made = [_step(number, step) for number, step in enumerate(found.plan, 1)]
    if found.repairs:
        rows = [
            (part.text, fault_words(part.fault), percent(part.probability), duration(part.minutes * MINUTE_S))
            for part in found.repairs
        ]
        heads = (tell("repair"), tell("for"), tell("chance"), tell("work"))
        caption = tell("What to try, in the order that finds the cause soonest.")
        made.append(table(caption, heads, rows, "chance|work"))
    return made


def _step(number: int, step: PlanStep) -> Table:
    rows = [
        (one.text, percent(one.chance), f"{fault_words(one.fault)}, {percent(one.probability)}")
        for one in step.answers
    ]
    if number == 1:
        caption = tell("Step {number}: {test}", number=number, test=step.text)
    else:
        caption = tell("Step {number} (after the likeliest answer before): {test}", number=number, test=step.text)
    return table(caption, (tell("what it may show"), tell("chance"), tell("most likely then")), rows, "chance")
