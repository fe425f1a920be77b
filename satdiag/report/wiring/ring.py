"""The optical ring in the report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from satdiag.findings import RingBreak, RingFindings, RingLink
from satdiag.language import mark, parted, tell, tell_many
from satdiag.report import words
from satdiag.report.figure import Table, table
from satdiag.report.numbers import duration, quantity, unknown
from satdiag.report.wiring.part import Part
from satdiag.report.wiring.ring_figure import ring_figure
from satdiag.report.words import sentence
from satdiag.wiring.chained import chained
from satdiag.wiring.ring import only_waits_for

PLAN_STATES = words.Words(
    {
        "valid": mark("plugged as wanted"),
        "problems": mark("plugs are wrong"),
        "order-differs": mark("closed, in another order than wanted"),
    }
)
BENDS = words.Words({"good": mark("good"), "tight": mark("tight: check it"), "too-tight": mark("too tight")})


def ring_part(found: RingFindings) -> Part:
    """The state of the ring, which nodes answer, how it is plugged, where it may be broken, how much light it has."""
    return Part(
        (tell("optical ring"), _state(found), parted(_measured(found))),
        tuple(_sentences(found)),
        (ring_figure("ring", _caption(found), found.blocks),) if found.blocks else (),
        tuple(_tables(found)),
    )


def _state(found: RingFindings) -> str:
    reported = words.RING_STATES[found.state] if found.state else unknown()
    return parted([reported, _plan_words(found)]) if found.plan else reported


def plan_state(plan: str, waits: Sequence[str]) -> str:
    """How the plugs stand, in words. `waits`: nodes still to be put into a ring that is sound otherwise."""
    if waits:
        return tell("closed as plugged; {names} still to be put in", names=chained(waits))
    return PLAN_STATES[plan]


def _plan_words(found: RingFindings) -> str:
    return plan_state(found.plan or "problems", _waits(found))


def _waits(found: RingFindings) -> tuple[str, ...]:
    return only_waits_for(found.wanted, found.rings, found.chains, len(found.plan_problems))


def _measured(found: RingFindings) -> Iterator[str]:
    if found.nodes_present:
        yield tell("answer: {nodes}", nodes=", ".join(found.nodes_present))
    if found.nodes_absent:
        yield tell("do not answer: {nodes}", nodes=", ".join(found.nodes_absent))
    if found.other_sources:
        yield words.OTHER_SOURCES[found.other_sources]
    if found.open_s:
        yield tell("open for {length} in all", length=duration(found.open_s))
    if found.least_margin_db is not None:
        yield tell(
            "least optical margin {margin} ({link})",
            margin=quantity(found.least_margin_db, "dB"),
            link=found.least_margin_link,
        )


def _caption(found: RingFindings) -> str:
    if found.plan == "valid" and found.wanted:
        return tell("The ring's blocks as ring.toml has them: one closed ring in the wanted order.")
    if found.plan == "valid":
        return tell("The ring's blocks as ring.toml has them: one closed ring.")
    if found.plan == "order-differs":
        return tell("The ring's blocks as ring.toml has them: one closed ring, in another order than wanted.")
    if waits := _waits(found):
        return tell(
            "The ring's blocks as ring.toml has them: one closed ring, {nodes} still to be put in.",
            nodes=chained(waits),
        )
    return tell("The ring's blocks as ring.toml has them: not the ring that is wanted.")


def _sentences(found: RingFindings) -> Iterator[str]:
    yield from (sentence(tell("Optical ring: {said}", said=text)) for text in found.plan_problems)
    if found.moves:
        yield tell_many(
            "At least one plug move leads to the wanted order: satdiag ring plan names them.",
            "At least {n} plug moves lead to the wanted order: satdiag ring plan names them.",
            found.moves,
        )
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
        yield tell(
            "The positions that the nodes reported point to a break between the output of {upstream} and the input "
            "of {node}.",
            upstream=found.upstream,
            node=found.node,
        )
    elif found.state == "contradiction":
        yield tell("The positions that the nodes reported contradict each other.")
        yield from (sentence(text) for text in found.contradictions)
    else:
        yield tell("Where the ring is broken is unknown.")


def link_sentences(links: Sequence[RingLink]) -> Iterator[str]:
    """What is wrong with the light or the bends of a link."""
    for one in links:
        way = f"{one.from_} > {one.to}"
        if one.margin_db is not None and one.margin_db < 0:
            short = quantity(-one.margin_db, "dB")
            yield tell("The link {way} may lack light: {short} short in the worst case.", way=way, short=short)
        if one.overload_db is not None and one.overload_db > 0:
            over = quantity(one.overload_db, "dB")
            yield tell(
                "The link {way} may have too much light: up to {over} more than the receiver bears, with the least "
                "losses as ring.toml has them (nought where none is written).",
                way=way,
                over=over,
            )
        if one.bend == "tight":
            yield tell("A bend on the link {way} is tight: lay it wider.", way=way)
        if one.bend == "too-tight":
            yield tell("A bend on the link {way} is too tight: lay it wider.", way=way)


def _tables(found: RingFindings) -> Iterator[Table]:
    if found.break_ is not None:
        yield from break_tables(found.break_)
    if found.links:
        yield links_table(found.links)


def break_tables(found: RingBreak) -> Iterator[Table]:
    """The suspects in the order of the light, and the tests that split them."""
    if found.suspects:
        rows = [(str(number), text) for number, text in enumerate(found.suspects, 1)]
        caption = tell("What may be broken. Reports of positions alone cannot part these.")
        yield table(caption, (tell("no."), tell("suspect")), rows)
    if found.tests:
        rows = [(str(number), text) for number, text in enumerate(found.tests, 1)]
        yield table(tell("What parts the suspects next."), (tell("no."), tell("test")), rows)


def links_table(links: Sequence[RingLink]) -> Table:
    """The optical budget of each link."""
    rows = [
        (
            f"{one.from_} > {one.to}",
            quantity(one.length_m, "m"),
            unknown() if one.inline_connectors is None else str(one.inline_connectors),
            quantity(one.loss_db, "dB"),
            quantity(one.margin_db, "dB"),
            quantity(one.overload_db, "dB"),
            quantity(one.bend_radius_mm, "mm"),
            BENDS[one.bend] if one.bend else unknown(),
        )
        for one in links
    ]
    heads = (
        tell("link"),
        tell("fibre"),
        tell("couplings"),
        tell("greatest loss"),
        tell("margin"),
        tell("over the limit"),
        tell("tightest bend"),
        tell("bend"),
    )
    caption = tell(
        "Light on each link in the worst case: the margin with the weakest transmitter and the greatest loss; by how "
        "much the strongest transmitter exceeds the receiver's limit (below nought: it does not)."
    )
    return table(caption, heads, rows, "fibre|couplings|greatest loss|margin|over the limit|tightest bend")
