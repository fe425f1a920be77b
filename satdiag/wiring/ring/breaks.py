"""Where the ring is broken, from the positions that nodes report in a ring-break test.

Every node lights its output. The node that sees no light counts 0 and hands its count on; each next node adds one. So
a node that reports r has the break r nodes upstream, at the input of the node that counts 0. (That a count is made
from a position 0 on stands in an open-source network stack; the rule of counting is from memory.)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from satdiag.language import tell
from satdiag.ring_file import End, RingFile
from satdiag.wiring.chained import chained
from satdiag.wiring.ring.light import BETWEEN, LightPaths, Link, Place, light_paths
from satdiag.wiring.ring.named import place_text, socket_mark

Part = Literal["plug", "transmitter", "upstream-fibre", "coupling", "downstream-fibre", "receiver"]


class Suspect(NamedTuple):
    """One part that the break may be in: its kind, the part in words."""

    part: Part
    text: str


class BreakTest(NamedTuple):
    """One test that splits the suspects: how to do it, which parts it clears or convicts."""

    text: str
    splits: tuple[Part, ...]


@dataclass(frozen=True)
class BreakReading:
    """What the reports say: `located`, `contradiction`, or `unknown` with the reason in `could_not`.

    `node` is the one whose input is dark, `upstream` the one that should light it. `order` is the order of the nodes
    that was used, from the `plugs` as written or the `wanted` order.
    """

    state: Literal["located", "contradiction", "unknown"]
    order: tuple[str, ...] = ()
    order_from: Literal["plugs", "wanted"] | None = None
    node: str | None = None
    upstream: str | None = None
    weak: bool = False
    suspects: tuple[Suspect, ...] = ()
    tests: tuple[BreakTest, ...] = ()
    contradictions: tuple[str, ...] = ()
    could_not: tuple[str, ...] = ()


def locate_break(file: RingFile, reports: Mapping[str, int], weak: bool = False) -> BreakReading:
    """Where the break is, from {node: reported position}. `weak`: position 0 saw light, too weak to lock on.

    All reports must point to one node's input; if they do not, they are named.
    """
    paths = light_paths(file)
    order, order_from, could_not = _order(file, paths)
    strange = [name for name in reports if name not in order]
    could_not += [
        tell("the node {node} is not in the order of the nodes: its report is not used", node=name)
        for name in strange
        if order
    ]
    used = {name: count for name, count in reports.items() if name in order}
    if order and not used:
        could_not.append(tell("no node reported a position"))
    if not used:
        return BreakReading("unknown", order, order_from, could_not=tuple(could_not))
    beyond = [name for name, count in used.items() if count >= len(order)]
    heads = {name: order[(order.index(name) - count) % len(order)] for name, count in used.items()}
    if beyond or len(set(heads.values())) > 1:
        against = _contradictions(order, used, heads, beyond)
        return BreakReading("contradiction", order, order_from, contradictions=against, could_not=tuple(could_not))
    node = next(iter(heads.values()))
    upstream = order[order.index(node) - 1]
    suspects = _suspects(file, paths, upstream, node, order_from == "plugs", weak)
    silent = upstream not in reports
    tests = _tests(upstream, node, suspects, silent, weak)
    return BreakReading(
        "located", order, order_from, node, upstream, weak, suspects, tests, could_not=tuple(could_not)
    )


def _order(file: RingFile, paths: LightPaths) -> tuple[tuple[str, ...], Literal["plugs", "wanted"] | None, list[str]]:
    """The downstream order, where it is from, and what is not known of it."""
    walks = [*paths.rings, *paths.chains]
    if len(walks) == 1:
        return walks[0], "plugs", []
    if walks:
        own = [walk for walk in walks if file.master in walk]
        if own:
            said = tell(
                "the plugs as written make {count} separate parts (satdiag ring check): only the part with {node} is "
                "looked at",
                count=len(walks),
                node=file.master,
            )
            return own[0], "plugs", [said]
        said = tell(
            "the plugs as written make {count} separate parts (satdiag ring check), and no timing master is named: "
            "the order is not known",
            count=len(walks),
        )
        return (), None, [said]
    if file.wanted:
        said = tell("the plugs are not written: the wanted order is taken for the one of today")
        return file.wanted, "wanted", [said]
    return (), None, [tell("neither plugs nor a wanted order are written: the order of the nodes is not known")]


def _contradictions(
    order: Sequence[str], reports: Mapping[str, int], heads: Mapping[str, str], beyond: Sequence[str]
) -> tuple[str, ...]:
    said = [
        tell(
            "the node {node} reports {position}, but with {count} nodes no position is above {most}",
            node=name,
            position=reports[name],
            count=len(order),
            most=len(order) - 1,
        )
        for name in beyond
    ]
    sound = {name: head for name, head in heads.items() if name not in beyond}
    for head in dict.fromkeys(sound.values()):
        names = chained(f"{name} ({reports[name]})" for name in order if sound.get(name) == head)
        said.append(tell("by {reports} the break would be at the input of {node}", reports=names, node=head))
    points = sorted({order.index(head) for head in sound.values()})
    if not beyond and len(points) > 1 and _are_breaks(order, sound, points):
        said.append(
            tell(
                "one break does not give these reports; {count} breaks, at the inputs of {nodes}, would",
                count=len(points),
                nodes=chained(order[place] for place in points),
            )
        )
    elif beyond or len(points) > 1:  # a count beyond the number of nodes comes about with no number of breaks
        said.append(
            tell("no number of breaks gives these reports: read the positions again, or the order is another")
        )
    return tuple(said)


def _are_breaks(order: Sequence[str], heads: Mapping[str, str], points: Sequence[int]) -> bool:
    """True if each node stands between its own break and the next one: the count begins afresh at every break."""
    for name, head in heads.items():
        own = order.index(head)
        passed = [(order.index(name) - step) % len(order) for step in range((order.index(name) - own) % len(order))]
        if any(place in points for place in passed):
            return False
    return True


# --- what it may be, and which test splits that ------------------------------------------------------------------


def _suspects(
    file: RingFile, paths: LightPaths, upstream: str, node: str, from_plugs: bool, weak: bool
) -> tuple[Suspect, ...]:
    """The parts in the order of the light. Of a weak light the transmitter is named last: it gives light."""
    link = next((one for one in paths.links if (one.from_node, one.to_node) == (upstream, node)), None)
    found = list(_open_plugs(file, upstream, node)) if from_plugs and link is None else []
    receiver = Suspect("receiver", tell("the receiver of {node}", node=node))
    way = _way_of_weak_light(link, upstream, node) if weak else _way_of_light(link, upstream, node)
    if weak:
        first = Suspect("transmitter", tell("the transmitter of {node}, grown weak", node=upstream))
        return (*found, *way, first, receiver)
    supply = next((one.supply for one in file.nodes if one.name == upstream), "")
    if supply:
        text = tell("the supply ({supply}) or the transmitter of {node}", supply=supply, node=upstream)
    else:
        text = tell("the supply or the transmitter of {node}", node=upstream)
    return (*found, Suspect("transmitter", text), *way, receiver)


def _is_straight(link: Link | None) -> bool:
    return link is not None and all(place.position is None for place in link.places)


def _way_of_light(link: Link | None, upstream: str, node: str) -> list[Suspect]:
    """Fibres and couplings between two nodes."""
    if _is_straight(link):
        text = tell("the fibre from {upstream} straight to {node}", upstream=upstream, node=node)
        return [Suspect("upstream-fibre", text)]
    return [
        Suspect("upstream-fibre", tell("the fibre from {node} to the block", node=upstream)),
        *(Suspect("coupling", place_text(place)) for place in _couplings(link.places if link else ())),
        Suspect("downstream-fibre", tell("the fibre from the block to {node}", node=node)),
    ]


def _way_of_weak_light(link: Link | None, upstream: str, node: str) -> list[Suspect]:
    """Fibres and couplings as what takes light away without cutting it off."""
    if _is_straight(link):
        text = tell("a tight bend in the fibre from {upstream} straight to {node}", upstream=upstream, node=node)
        return [Suspect("upstream-fibre", text)]
    couplings = [place_text(place) for place in _couplings(link.places if link else ())]
    return [
        Suspect("upstream-fibre", tell("a tight bend in the fibre from {node} to the block", node=upstream)),
        *(Suspect("coupling", tell("a dirty or half-seated plug at {place}", place=place)) for place in couplings),
        Suspect("downstream-fibre", tell("a tight bend in the fibre from the block to {node}", node=node)),
    ]


def _open_plugs(file: RingFile, upstream: str, node: str) -> list[Suspect]:
    """What the file itself says of the way: an end that is plugged nowhere, or that faces no fitting end."""
    ends = (End(upstream, "out"), End(node, "in"))
    nowhere = [end for end in ends if end not in file.sockets]
    if nowhere:
        return [Suspect("plug", tell("{end}: ring.toml has it plugged nowhere", end=end)) for end in nowhere]
    where = chained(tell("{end} at {place}", end=end, place=socket_mark(file.sockets[end][0])) for end in ends)
    return [Suspect("plug", tell("{places}: by ring.toml they do not face each other", places=where))]


def _couplings(places: Sequence[Place]) -> Sequence[Place]:
    return places or (Place(BETWEEN, None),)


def _tests(upstream: str, node: str, suspects: Sequence[Suspect], silent: bool, weak: bool) -> tuple[BreakTest, ...]:
    """Tests in the order in which to do them: what costs least and splits best comes first."""
    parts = {one.part for one in suspects}
    supply = BreakTest(
        _supply_test(upstream, silent),
        ("transmitter",),
    )
    clean = BreakTest(
        tell(
            "With the bus down, reseat the plugs on this way until they snap in, look for tight bends and cable "
            "ties, and have end faces cleaned as the maker says."
        ),
        ("upstream-fibre", "coupling", "downstream-fibre"),
    )
    card = BreakTest(
        tell(
            "With the bus down, take the input plug of {node} out of its block, power up, start the ring-break test, "
            "so that every node lights its output, and hold a white card before the open socket there. Red light on "
            "the card: light comes up to the block. None, while the test runs: the break is before. Look at the card "
            "only, never into a fibre or a socket.",
            node=node,
        ),
        ("transmitter", "upstream-fibre", "coupling"),
    )
    swap = BreakTest(
        tell(
            "With the bus down, put a known good fibre of the same kind in place of the one to {node}, then of the "
            "one from {upstream}. The ring closes with it: that fibre was at fault.",
            node=node,
            upstream=upstream,
        ),
        ("upstream-fibre", "downstream-fibre"),
    )
    plug = BreakTest(tell("Plug what is open, with the bus down, and close the ring."), ("plug",))
    first = (plug,) if "plug" in parts else ()
    if "coupling" not in parts:  # a fibre without a block has no socket to look at
        return (*first, clean, swap, supply) if weak else (*first, supply, swap, clean)
    if weak:
        return (*first, clean, swap, _meter(node))
    return (*first, supply, card, swap, clean) if silent else (*first, card, supply, swap, clean)


def _supply_test(upstream: str, silent: bool) -> str:
    if silent:
        return tell(
            "Check the supply of {node}: fuse, voltage, earth. Without supply it passes no light on, and it reported "
            "no position.",
            node=upstream,
        )
    return tell(
        "Check the supply of {node}: fuse, voltage, earth. Without supply it passes no light on; it reported a "
        "position, so this is less likely.",
        node=upstream,
    )


def _meter(node: str) -> BreakTest:
    """For weak light, which a card would show red as well (common practice, no source)."""
    return BreakTest(
        tell(
            "With the bus down, take the input plug of {node} out of its block, power up, start the ring-break test, "
            "so that every node lights its output, and put an optical power meter for red light (650 nm) to the open "
            "socket there. Well above what the receiver needs: the loss is behind it. Less: it is before. A white "
            "card does not do: weak light shows on it as well.",
            node=node,
        ),
        ("transmitter", "upstream-fibre", "coupling"),
    )
