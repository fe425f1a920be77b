"""Where the ring is broken, from the positions that nodes report in a ring-break test.

Every node lights its output. The node that sees no light counts 0 and hands its count on; each next node adds one. So
a node that reports r has the break r nodes upstream, at the input of the node that counts 0. (That a count is made
from a position 0 on stands in an open-source network stack; the rule of counting is from memory.)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from satdiag.ring_file import End, RingFile
from satdiag.wiring.ring.light import LightPaths, Place, light_paths

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
        f"the node {name} is not in the order of the nodes: its report is not used" for name in strange if order
    ]
    used = {name: count for name, count in reports.items() if name in order}
    if order and not used:
        could_not.append("no node reported a position")
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
        said = f"the plugs as written make {len(walks)} separate parts (satdiag ring check)"
        if own:
            return own[0], "plugs", [f"{said}: only the part with {file.master} is looked at"]
        return (), None, [f"{said}, and no timing master is named: the order is not known"]
    if file.wanted:
        return file.wanted, "wanted", ["the plugs are not written: the wanted order is taken for the one of today"]
    return (), None, ["neither plugs nor a wanted order are written: the order of the nodes is not known"]


def _contradictions(
    order: Sequence[str], reports: Mapping[str, int], heads: Mapping[str, str], beyond: Sequence[str]
) -> tuple[str, ...]:
    said = [
        f"the node {name} reports {reports[name]}, but with {len(order)} nodes no position is above {len(order) - 1}"
        for name in beyond
    ]
    sound = {name: head for name, head in heads.items() if name not in beyond}
    for head in dict.fromkeys(sound.values()):
        names = [f"{name} ({reports[name]})" for name in order if sound.get(name) == head]
        said.append(f"by {' and '.join(names)} the break would be at the input of {head}")
    points = sorted({order.index(head) for head in sound.values()})
    if beyond:  # such a count comes about with no number of breaks
        said.append("no number of breaks gives these reports: read the positions again, or the order is another")
    elif len(points) > 1 and _are_breaks(order, sound, points):
        where = " and ".join(order[place] for place in points)
        said.append(f"one break does not give these reports; {len(points)} breaks, at the inputs of {where}, would")
    elif len(points) > 1:
        said.append("no number of breaks gives these reports: read the positions again, or the order is another")
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
    supply = next((one.supply for one in file.nodes if one.name == upstream), "")
    fed = f" ({supply})" if supply else ""
    first = Suspect("transmitter", f"the supply{fed} or the transmitter of {upstream}")
    if weak:
        first = Suspect("transmitter", f"the transmitter of {upstream}, grown weak")
    rest = [
        Suspect("upstream-fibre", f"the fibre from {upstream} to the block"),
        *(Suspect("coupling", _place_text(place)) for place in _couplings(link.places if link else ())),
        Suspect("downstream-fibre", f"the fibre from the block to {node}"),
        Suspect("receiver", f"the receiver of {node}"),
    ]
    if link is not None and all(place.position is None for place in link.places):
        rest = [Suspect("upstream-fibre", f"the fibre from {upstream} straight to {node}"), rest[-1]]
    if weak:
        return (*found, *_as_attenuation(rest[:-1]), first, rest[-1])
    return (*found, first, *rest)


def _as_attenuation(parts: Sequence[Suspect]) -> list[Suspect]:
    """Fibres and couplings as what takes light away without cutting it off."""
    how = {
        "coupling": "a dirty or half-seated plug at ",
        "upstream-fibre": "a tight bend in ",
        "downstream-fibre": "",
    }
    how["downstream-fibre"] = how["upstream-fibre"]
    return [Suspect(one.part, how[one.part] + one.text) for one in parts]


def _open_plugs(file: RingFile, upstream: str, node: str) -> list[Suspect]:
    """What the file itself says of the way: an end that is plugged nowhere, or that faces no fitting end."""
    ends = (End(upstream, "out"), End(node, "in"))
    nowhere = [end for end in ends if end not in file.sockets]
    if nowhere:
        return [Suspect("plug", f"{end}: ring.toml has it plugged nowhere") for end in nowhere]
    where = " and ".join(f"{end} at {file.sockets[end][0]}" for end in ends)
    return [Suspect("plug", f"{where}: by ring.toml they do not face each other")]


def _couplings(places: Sequence[Place]) -> Sequence[Place]:
    return places or (Place("the block's position between them", None),)


def _place_text(place: Place) -> str:
    return str(place)


def _tests(upstream: str, node: str, suspects: Sequence[Suspect], silent: bool, weak: bool) -> tuple[BreakTest, ...]:
    """Tests in the order in which to do them: what costs least and splits best comes first."""
    parts = {one.part for one in suspects}
    supply = BreakTest(
        f"Check the supply of {upstream}: fuse, voltage, earth. Without supply it passes no light on"
        + (", and it reported no position." if silent else "; it reported a position, so this is less likely."),
        ("transmitter",),
    )
    clean = BreakTest(
        "With the bus down, reseat the plugs on this way until they snap in, look for tight bends and cable ties, "
        "and have end faces cleaned as the maker says.",
        ("upstream-fibre", "coupling", "downstream-fibre"),
    )
    card = BreakTest(
        f"With the bus down, take the input plug of {node} out of its block, power up, start the ring-break test, so "
        "that every node lights its output, and hold a white card before the open socket there. Red light on the "
        "card: light comes up to the block. None, while the test runs: the break is before. Look at the card only, "
        "never into a fibre or a socket.",
        ("transmitter", "upstream-fibre", "coupling"),
    )
    swap = BreakTest(
        f"With the bus down, put a known good fibre of the same kind in place of the one to {node}, then of the one "
        f"from {upstream}. The ring closes with it: that fibre was at fault.",
        ("upstream-fibre", "downstream-fibre"),
    )
    plug = BreakTest("Plug what is open, with the bus down, and close the ring.", ("plug",))
    first = (plug,) if "plug" in parts else ()
    if "coupling" not in parts:  # a fibre without a block has no socket to look at
        return (*first, clean, swap, supply) if weak else (*first, supply, swap, clean)
    if weak:
        return (*first, clean, swap, _meter(node))
    return (*first, supply, card, swap, clean) if silent else (*first, card, supply, swap, clean)


def _meter(node: str) -> BreakTest:
    """For weak light, which a card would show red as well (common practice, no source)."""
    return BreakTest(
        f"With the bus down, take the input plug of {node} out of its block, power up, start the ring-break test, so "
        "that every node lights its output, and put an optical power meter for red light (650 nm) to the open socket "
        "there. Well above what the receiver needs: the loss is behind it. Less: it is before. A white card does not "
        "do: weak light shows on it as well.",
        ("transmitter", "upstream-fibre", "coupling"),
    )
