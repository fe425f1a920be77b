"""What `satdiag ring` shows of a check, a plan or a break: sentences, tables, drawings, as a page of its own."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup
from plotly.offline import get_plotlyjs

from satdiag.errors import SatdiagError
from satdiag.language import parted, tell, tell_many, translated
from satdiag.report import palette
from satdiag.report.cautions import CAUTIONS
from satdiag.report.figure import Figure, Table, table
from satdiag.report.numbers import unknown
from satdiag.report.page import Clean, cleaned, script_safe, template_environment
from satdiag.report.wiring.ring import break_sentences, break_tables, link_sentences, links_table, plan_state
from satdiag.report.wiring.ring_figure import Touched, ring_figure
from satdiag.report.writing import check_place, replace_file
from satdiag.ring_file import RingFile
from satdiag.wiring.ring import (
    BreakReading,
    RingCheck,
    RingPlan,
    Step,
    blocks_shown,
    break_shown,
    budget_gaps,
    budgets,
    labels_of,
    link_shown,
    only_waits_for,
    step_text,
    steps_of,
    undo_of,
)
from satdiag.wiring.ring.steps import AFTERWARDS, BEFORE

CAUTION_KEYS = ("airbag", "fibre", "rules")
NO_FIBRE = ("airbag", "rules")  # where the list before the steps speaks of the fibres already


@dataclass(frozen=True)
class RingPage:
    """One page: what is asked, the answer in a sentence, more sentences, then drawings, lists and tables."""

    over: str
    title: str
    answer: str
    said: tuple[str, ...] = ()
    before_hands: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    figures: tuple[Figure, ...] = ()
    afterwards: tuple[str, ...] = ()
    last_tables: tuple[Table, ...] = ()


def check_page(file: RingFile, found: RingCheck) -> RingPage:
    """The page of a check: what is wrong, the light on each link, the plugs as they are."""
    links = tuple(link_shown(one) for one in budgets(file))
    parts = found.paths
    waits = only_waits_for(file.wanted or (), parts.rings, parts.chains, len(found.problems))
    title = plan_state(found.state, waits) if found.state else unknown()
    wanted = ""
    if file.wanted:
        wanted = tell("Wanted, in the order of the light: {order}.", order=" > ".join(file.wanted))
    rings = parted(" > ".join(ring) for ring in found.paths.rings)
    answer = ""
    if rings:
        answer = tell_many(
            "The plugs make one ring: {rings}.",
            "The plugs make these rings: {rings}.",
            len(found.paths.rings),
            rings=rings,
        )
    problems = [problem.text for problem in found.problems]
    said = [*_sentences(problems), *link_sentences(links), *_sentences([*found.could_not, *budget_gaps(file)])]
    return RingPage(
        tell("Optical ring: check"),
        title[:1].upper() + title[1:],
        " ".join(filter(None, (answer, wanted))),
        tuple(said),
        tables=(links_table(links),) if links else (),
        figures=_now(file),
    )


def break_page(file: RingFile, reading: BreakReading, reports: dict[str, int]) -> RingPage:
    """The page of a break: where it is, what it may be, which test parts that, the plugs with the suspect marked."""
    shown = break_shown(reading, reports)
    titles = {
        "located": tell("Broken before {node}", node=reading.node),
        "contradiction": tell("Contradicting reports"),
    }
    first, *rest = break_sentences(shown)
    could_not = _sentences(reading.could_not)
    if reading.state == "unknown":  # the title says so already: what stands below it is why
        first, *could_not = could_not or [first]
    told = tell("Reported: {reports}.", reports=", ".join(shown.reports)) if shown.reports else ""
    weak = ""
    if reading.weak:
        weak = tell("Light arrives there, too weak to lock on: that points to attenuation, not to a cut.")
    located = reading.state == "located"
    return RingPage(
        tell("Optical ring: break"),
        titles.get(reading.state, tell("Where it is broken is unknown")),
        first,
        tuple(filter(None, (told, weak if located else "", *rest, *could_not))),
        tuple(map(translated, BEFORE[:-1])) if located else (),
        tuple(break_tables(shown)),
        _now(file, reading),
    )


def _now(file: RingFile, reading: BreakReading | None = None) -> tuple[Figure, ...]:
    """The plugs as they are; nothing where they are not written."""
    if not file.plugs_known:
        return ()
    return (ring_figure("ring", tell("As it is plugged now."), blocks_shown(file, reading)),)


def plan_page(plan: RingPlan, said: Sequence[str] = ()) -> RingPage:
    """The page of a plan: what to do before, the labels, the steps, the drawings, what to do after, the way back."""
    over, order = tell("Optical ring: plan"), " > ".join(plan.order)
    if plan.after is None:
        figures = (ring_figure("ring-before", tell("As it is plugged now."), blocks_shown(plan.before)),)
        known = plan.before.plugs_known
        unknown = tell("Which plugs to move cannot be told yet")
        title = tell("This order cannot be reached by moving plugs") if known else unknown
        wanted = tell("Wanted: {order}.", order=order)
        against = tuple(_sentences(plan.impossible)) + tuple(said)
        return RingPage(over, title, wanted, against, (), (), figures)
    count = len(plan.moves)
    if not count:
        after = (ring_figure("ring-after", tell("As it is plugged now."), blocks_shown(plan.after)),)
        answer = tell("The ring is plugged as wanted: {order}.", order=order)
        return RingPage(over, tell("Nothing to move"), answer, tuple(said), figures=after)
    steps = steps_of(plan.moves)
    back = tell("The way back: the same steps the other way round, should it not work.")
    return RingPage(
        over,
        tell_many("One plug to move", "{n} plugs to move", count),
        tell("Wanted, in the order of the light: {order}. Fewer moves do not lead there.", order=order),
        tuple(said),
        tuple(map(translated, BEFORE)),
        (labels_table(plan), steps_table(steps, tell("The steps, in this order."))),
        plan_figures(plan),
        tuple(map(translated, AFTERWARDS)),
        (steps_table(undo_of(steps), back),),
    )


def _sentences(texts: Sequence[str]) -> list[str]:
    return [text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".") for text in texts]


def labels_table(plan: RingPlan) -> Table:
    """What to write on the tape of each plug before it is touched."""
    rows = [(f"{now}, {then}", end) for end, now, then in labels_of(plan)]
    caption = tell("Labels: tape on each of these plugs before you touch it.")
    return table(caption, (tell("write"), tell("on the plug that is")), rows)


def steps_table(steps: Sequence[Step], caption: str) -> Table:
    """Numbered steps; each with what to mind of its plug. What holds for all of them stands before the table."""
    rows = [(step.name, step_text(step), _caution(step)) for step in steps]
    return table(caption, (tell("step"), tell("do"), tell("mind")), rows)


def _caution(step: Step) -> str:
    """What to mind at a step: an end that is left open, or one that is plugged."""
    if step.action in ("take-out", "lay-aside"):
        return tell("Cap both at once.")
    if step.action == "move":
        return tell("Touch no end face; cap the socket that it leaves.")
    return tell("It must snap in; no sharp bend behind it.")


def plan_figures(plan: RingPlan) -> tuple[Figure, ...]:
    """How it is and how it is to be, with the plugs that move marked in both."""
    if plan.after is None:
        return ()
    before, after = tell("Before: as it is plugged now."), tell("After: as it is to be plugged.")
    return (
        ring_figure("ring-before", before, blocks_shown(plan.before), touched_before(plan)),
        ring_figure("ring-after", after, blocks_shown(plan.after), touched_after(plan)),
    )


def touched_before(plan: RingPlan) -> set[Touched]:
    """The sockets that plugs leave."""
    return {(*move.from_[:2], str(move.from_.row)) for move in plan.moves if move.from_ is not None}


def touched_after(plan: RingPlan) -> set[Touched]:
    """The sockets that plugs come into."""
    return {(*move.to[:2], str(move.to.row)) for move in plan.moves if move.to is not None}


# --- as a page ---------------------------------------------------------------------------------------------------


def write_ring_page(path: str | os.PathLike[str], page: RingPage, clean: Clean = lambda text: text) -> None:
    """Write a page, over an older one if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, ring_html(page, clean).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the page cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def ring_html(page: RingPage, clean: Clean = lambda text: text) -> str:
    """The page as one HTML text that needs nothing but itself."""
    return (
        template_environment(clean)
        .get_template("ring.html.j2")
        .render(
            page=page,
            cautions=[one for one in CAUTIONS if one.key in (NO_FIBRE if page.before_hands else CAUTION_KEYS)],
            drawings={figure.name: cleaned(figure.spec, clean) for figure in page.figures},
            palette=palette,
            light={name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")},
            plotly_js=Markup(script_safe(get_plotlyjs())) if page.figures else "",
        )
    )
