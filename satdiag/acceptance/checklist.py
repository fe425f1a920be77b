"""The checklist's one door: from a job and its findings to the walk through the installation."""

from __future__ import annotations

from collections.abc import Sequence

import satdiag
from satdiag.acceptance.checklist_document import STATES, Checklist, Item, Section
from satdiag.acceptance.checklist_items import SECTIONS, Step
from satdiag.acceptance.checklist_signs import Known, by_hand
from satdiag.findings import Findings, instant_text
from satdiag.job import Job
from satdiag.language import parted, tell, tell_many, translated

OPEN = ("contradicted", "partly", "missing")

ANSWERS = {"open-channel": 7, "all-here": 10}
"""Proved items that answer the questions up to so many with them."""


def checklist(job: Job, findings: Findings) -> Checklist:
    """What the log proves of each step, contradicts, or leaves open. `findings` must be those of `job`."""
    known = Known(job, findings)
    sections = tuple(
        Section(key, translated(title), tuple(_item(known, step) for step in steps)) for key, title, steps in SECTIONS
    )
    items = [item for section in sections for item in section.items]
    counts: dict[str, int] = {state: sum(item.state == state for item in items) for state in STATES}
    following = next_of(items)
    return Checklist(
        satdiag=satdiag.__version__,
        job=job.sheet.id,
        as_of=instant_text(job.instant(job.end_s)),
        text=_text(items, counts, following),
        counts=counts,
        next=None if following is None else following.key,
        sections=sections,
    )


def _item(known: Known, step: Step) -> Item:
    found = step.judge(known)
    return Item(
        key=step.key,
        title=translated(step.title),
        question=step.question,
        why=translated(step.why),
        how=translated(step.how),
        caution=step.caution,
        by_hand=step.judge is by_hand,
        state=found.state,
        earlier=found.earlier,
        text=found.text,
        seen=found.seen,
        at=None if found.t_s is None else instant_text(known.job.instant(found.t_s)),
        rows=found.rows,
    )


def next_of(items: Sequence[Item]) -> Item | None:
    """The item to see to first: what speaks against, now or when last seen; then the first open question.

    Once an open channel was heard the questions before it are answered, as of that moment; once every expected
    channel plays, all of them are. A low battery waits until nothing else speaks against.
    """
    against = [item for item in items if _speaks_against(item)]
    if against:
        return min(against, key=lambda item: item.key == "battery")
    answered = max((ANSWERS[item.key] for item in items if item.key in ANSWERS and item.state == "proved"), default=0)
    return next((item for item in items if item.state in OPEN and (item.question or 0) > answered), None)


def _speaks_against(item: Item) -> bool:
    """True for what the log contradicts, and for what it did when last seen."""
    return item.state == "contradicted" or (item.earlier and item.state == "missing")


def _text(items: Sequence[Item], counts: dict[str, int], following: Item | None) -> str:
    applies = sum(counts.values()) - counts["does-not-apply"]
    said = _counts_text(counts, applies)
    if following is None:
        return f"{said} {_answered(items)}{_left_to_the_hand(items)}"
    title = _inside(following.title)
    if _speaks_against(following):
        return f"{said} {tell('See to: {title}.', title=title)}"
    return f"{said} {tell('Next: {title}.', title=title)}"


def _counts_text(counts: dict[str, int], applies: int) -> str:
    """How many steps the log proves, contradicts and proves in part, as a sentence."""
    steps = tell_many("{n} step", "{n} steps", applies)
    values = {"proved": counts["proved"], "steps": steps, "against": counts["contradicted"]}
    if counts["contradicted"]:
        said = tell("The log proves {proved} of {steps} that apply, contradicts {against}", **values)
    else:
        said = tell("The log proves {proved} of {steps} that apply, and contradicts none", **values)
    if not counts["partly"]:
        return f"{said}."
    return f"{parted([said, tell_many('{n} is proved in part', '{n} are proved in part', counts['partly'])])}."


def _inside(title: str) -> str:
    """A title within a sentence."""
    return title[:1].lower() + title[1:]


def _answered(items: Sequence[Item]) -> str:
    """How the ten questions are answered: each by its own rows, or some only by the channels that play."""
    open_ones = sorted({item.question for item in items if item.question and item.state in OPEN})
    if not open_ones:
        return tell("The ten questions are answered.")
    told = ", ".join(str(number) for number in open_ones)
    return tell(
        "The channels that play answer the ten questions, also those without rows of their own ({numbers}).",
        numbers=told,
    )


def _left_to_the_hand(items: Sequence[Item]) -> str:
    """What no channel that plays can answer: above all the steps that keep people safe."""
    left = [_inside(item.title) for item in items if item.by_hand and item.state in OPEN]
    if not left:
        return ""
    said = tell(
        "That proves nothing of what only a person can see; still to tick by hand: {steps}.", steps=parted(left)
    )
    return f" {said}"
