"""How firm the diagnosis stands: what each figure of the model does to it, the plan of tests, the repairs."""

from __future__ import annotations

from collections.abc import Sequence

from satdiag.diagnosis.model import load_model
from satdiag.findings import DiagnosisFindings, PlanStep, Swing
from satdiag.report.figure import Figure, Spec, Table, axis, label, layout, note, table
from satdiag.report.numbers import MINUTE_S, duration, percent
from satdiag.report.palette import FAINT, HATCH, INK, ORANGE, SKY_BLUE
from satdiag.report.words import fault_words

ROW_PX = 46
BAR_PX = 16
FOOT_PX = 50
LABEL_LENGTH = 48  # what a telephone shows in one line
TOP_PX = 30


def sentences(found: DiagnosisFindings) -> list[str]:
    """What the figures show, in words."""
    said = []
    if found.explanation is not None:
        said += [found.explanation.kind_text, found.explanation.of_hundred]
    if found.odd_reading is not None:
        chance = percent(found.odd_reading.chance)
        said.append(
            f"This reading fits badly with the rest and is worth repeating: {found.odd_reading.text} (given all else "
            f"its chance is {chance})."
        )
    if found.sets_up_to > 2:
        said.append("More than two faults at once are plausible; sets of three were looked at too.")
    if found.stop_text:
        said.append(found.stop_text)
    if found.learned_jobs:
        jobs = "1 closed job" if found.learned_jobs == 1 else f"{found.learned_jobs} closed jobs"
        said.append(f"The packaged figures were moved by {jobs} of this computer's user.")
    return said


def swing_figure(found: DiagnosisFindings, fault: str | None) -> Figure | None:
    """The probability of the leading fault as each figure of the model moves within its stated range, or None."""
    if not found.swings or fault is None:
        return None
    now = found.faults.get(fault, found.classes.get(fault, 0.0))
    bars, words = [], []
    for place, swing in enumerate(found.swings):
        y = place * ROW_PX + ROW_PX - BAR_PX / 2
        bars.append((swing, y))
        words.append(note(label(_what(swing), LABEL_LENGTH), x=0, xref="paper", y=y - BAR_PX / 2, yshift=2))
    height = len(found.swings) * ROW_PX
    spec_layout = layout(
        height + TOP_PX + FOOT_PX,
        xaxis=axis(f"probability of “{fault_words(fault)}”", range=[-0.01, 1.01], tickformat=".0%"),
        yaxis=axis(visible=False, range=[height + 8, 0]),
        annotations=words,
        shapes=[_line(now)],
        margin={"l": 10, "r": 14, "t": TOP_PX, "b": FOOT_PX, "pad": 0},
    )
    data = [part for part in (_trace(bars, False), _trace(bars, True)) if part["y"]]
    rows = [
        (_what(one), percent(one.low), percent(one.high), "yes" if one.changes_lead else "no") for one in found.swings
    ]
    heads = ("figure moved", "lowest", "highest", "does another cause lead then?")
    behind = table("What each figure of the model does, the widest first.", heads, rows, "lowest|highest")
    caption = (
        "How far the probability of the leading cause moves when one figure of the model moves within its stated "
        "range, all others as they are. Hatched bars: another cause would lead at one end. The dotted line is where "
        "it stands now."
    )
    alt = "Bars of probability ranges: " + "; ".join(
        f"{_what(one)} {percent(one.low)} to {percent(one.high)}" for one in found.swings
    )
    return Figure("firmness", caption, f"{alt}.", {"data": data, "layout": spec_layout}, (behind,))


def _what(swing: Swing) -> str:
    if swing.what == "prior":
        return f"how often this comes: {fault_words(swing.of)}"
    what = load_model().items[swing.what].what if swing.what in load_model().items else swing.what
    return f"{what}, given: {fault_words(swing.of)}"


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
        "name": "another cause would lead at one end" if turns else "the same cause leads",
    }


def plan_tables(found: DiagnosisFindings) -> list[Table]:
    """A table for each step of the plan, and one for the repairs where no test is offered."""
    made = [_step(number, step) for number, step in enumerate(found.plan, 1)]
    if found.repairs:
        rows = [
            (part.text, fault_words(part.fault), percent(part.probability), duration(part.minutes * MINUTE_S))
            for part in found.repairs
        ]
        heads = ("repair", "for", "chance", "work")
        made.append(table("What to try, in the order that finds the cause soonest.", heads, rows, "chance|work"))
    return made


def _step(number: int, step: PlanStep) -> Table:
    rows = [
        (one.text, percent(one.chance), f"{fault_words(one.fault)}, {percent(one.probability)}")
        for one in step.answers
    ]
    after = "" if number == 1 else " (after the likeliest answer before)"
    caption = f"Step {number}{after}: {step.text}"
    return table(caption, ("what it may show", "chance", "most likely then"), rows, "chance")
