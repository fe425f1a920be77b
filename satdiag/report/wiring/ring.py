"""The optical ring in the report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from satdiag.findings import RingBreak, RingFindings, RingLink
from satdiag.report import words
from satdiag.report.figure import Table, table
from satdiag.report.numbers import UNKNOWN, duration, quantity
from satdiag.report.wiring.part import Part
from satdiag.report.wiring.ring_figure import ring_figure
from satdiag.report.words import sentence
from satdiag.wiring.ring import only_waits_for

WAITS = "closed as plugged; {names} still to be put in"
PLAN_STATES = {
    "valid": "plugged as wanted",
    "problems": "plugs are wrong",
    "order-differs": "closed, in another order than wanted",
}
BENDS = {"good": "good", "tight": "tight: check it", "too-tight": "too tight"}


def ring_part(found: RingFindings) -> Part:
    """The state of the ring, which nodes answer, how it is plugged, where it may be broken, how much light it has."""
    return Part(
        ("optical ring", _state(found), "; ".join(_measured(found))),
        tuple(_sentences(found)),
        (ring_figure("ring", _caption(found), found.blocks),) if found.blocks else (),
        tuple(_tables(found)),
    )


def _state(found: RingFindings) -> str:
    reported = words.RING_STATES[found.state] if found.state else UNKNOWN
    return f"{reported}; {_plan_words(found)}" if found.plan else reported


def plan_state(plan: str, waits: Sequence[str]) -> str:
    """How the plugs stand, in words. `waits`: nodes still to be put into a ring that is sound otherwise."""
    return WAITS.format(names=" and ".join(waits)) if waits else PLAN_STATES[plan]


def _plan_words(found: RingFindings) -> str:
    return plan_state(found.plan or "problems", _waits(found))


def _waits(found: RingFindings) -> tuple[str, ...]:
    return only_waits_for(found.wanted, found.rings, found.chains, len(found.plan_problems))


def _measured(found: RingFindings) -> Iterator[str]:
    if found.nodes_present:
        yield f"answer: {', '.join(found.nodes_present)}"
    if found.nodes_absent:
        yield f"do not answer: {', '.join(found.nodes_absent)}"
    if found.other_sources:
        yield f"other sources {words.OTHER_SOURCES[found.other_sources]}"
    if found.open_s:
        yield f"open for {duration(found.open_s)} in all"
    if found.least_margin_db is not None:
        yield f"least optical margin {quantity(found.least_margin_db, 'dB')} ({found.least_margin_link})"


def _caption(found: RingFindings) -> str:
    told = {
        "valid": "one closed ring in the wanted order" if found.wanted else "one closed ring",
        "order-differs": "one closed ring, in another order than wanted",
        "problems": "not the ring that is wanted",
    }
    if waits := _waits(found):
        told["problems"] = f"one closed ring, {' and '.join(waits)} still to be put in"
    return f"The ring's blocks as ring.toml has them: {told[found.plan or 'problems']}."


def _sentences(found: RingFindings) -> Iterator[str]:
    yield from (sentence(f"Optical ring: {text}") for text in found.plan_problems)
    if found.moves:
        plugs = "one plug move leads" if found.moves == 1 else f"{found.moves} plug moves lead"
        yield f"At least {plugs} to the wanted order: satdiag ring plan names them."
    if found.order_reported_text:
        yield found.order_reported_text
    if found.second_ring_text:
        yield found.second_ring_text
    if found.break_ is not None:
        yield from break_sentences(found.break_)
    yield from link_sentences(found.links)


def break_sentences(found: RingBreak) -> Iterator[str]:
    """Where the break is, or that the reports contradict each other."""
    if found.state == "located":
        yield (
            f"The positions that the nodes reported point to a break between the output of {found.upstream} and the "
            f"input of {found.node}."
        )
    elif found.state == "contradiction":
        yield "The positions that the nodes reported contradict each other."
        yield from (sentence(text) for text in found.contradictions)
    else:
        yield "Where the ring is broken is unknown."


def link_sentences(links: Sequence[RingLink]) -> Iterator[str]:
    """What is wrong with the light or the bends of a link."""
    for one in links:
        way = f"{one.from_} > {one.to}"
        if one.margin_db is not None and one.margin_db < 0:
            yield f"The link {way} may lack light: {quantity(-one.margin_db, 'dB')} short in the worst case."
        if one.overload_db is not None and one.overload_db > 0:
            over = quantity(one.overload_db, "dB")
            yield (
                f"The link {way} may have too much light: up to {over} more than the receiver bears, with the least "
                "losses as ring.toml has them (nought where none is written)."
            )
        if one.bend in ("tight", "too-tight"):
            yield f"A bend on the link {way} is {'too ' if one.bend == 'too-tight' else ''}tight: lay it wider."


def _tables(found: RingFindings) -> Iterator[Table]:
    if found.break_ is not None:
        yield from break_tables(found.break_)
    if found.links:
        yield links_table(found.links)


def break_tables(found: RingBreak) -> Iterator[Table]:
    """The suspects in the order of the light, and the tests that split them."""
    if found.suspects:
        rows = [(str(number), text) for number, text in enumerate(found.suspects, 1)]
        yield table("What may be broken. Reports of positions alone cannot part these.", ("no.", "suspect"), rows)
    if found.tests:
        rows = [(str(number), text) for number, text in enumerate(found.tests, 1)]
        yield table("What parts the suspects next.", ("no.", "test"), rows)


def links_table(links: Sequence[RingLink]) -> Table:
    """The optical budget of each link."""
    rows = [
        (
            f"{one.from_} > {one.to}",
            quantity(one.length_m, "m"),
            UNKNOWN if one.inline_connectors is None else str(one.inline_connectors),
            quantity(one.loss_db, "dB"),
            quantity(one.margin_db, "dB"),
            quantity(one.overload_db, "dB"),
            quantity(one.bend_radius_mm, "mm"),
            BENDS[one.bend] if one.bend else UNKNOWN,
        )
        for one in links
    ]
    heads = ("link", "fibre", "couplings", "greatest loss", "margin", "over the limit", "tightest bend", "bend")
    caption = (
        "Light on each link in the worst case: the margin with the weakest transmitter and the greatest loss; by how "
        "much the strongest transmitter exceeds the receiver's limit (below nought: it does not)."
    )
    return table(caption, heads, rows, "fibre|couplings|greatest loss|margin|over the limit|tightest bend")
