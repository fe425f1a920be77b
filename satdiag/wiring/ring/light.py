"""Where the light goes: from the plugs as they are written to closed rings and open chains of nodes.

A position passes light if it holds one output and one input. A passive coupler does so whichever of the two is in
the upper socket (common practice, no source), so plugs in each other's row do not count as dark here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from satdiag.ring_file import End, RingFile, Socket


class Place(NamedTuple):
    """One place that light passes between two nodes: a block's position, or a fibre of its own kind.

    `position` is None for a bridge ('the bridge b') and for a direct fibre.
    """

    name: str
    position: int | None

    def __str__(self) -> str:
        return self.name if self.position is None else f"position {self.position} of block {self.name}"


class Link(NamedTuple):
    """The way from one node to the next, with the places on it in downstream order."""

    from_node: str
    to_node: str
    places: tuple[Place, ...]


@dataclass(frozen=True)
class LightPaths:
    """Closed rings and open chains of nodes, downstream; a ring with the timing master begins with it.

    A chain's first node has a dark input. `links` are the ways that pass light. `unplugged` nodes have no plug at all
    and stand in no chain. `dark_bridges` are plugged, and no node's light passes them.
    """

    rings: tuple[tuple[str, ...], ...]
    chains: tuple[tuple[str, ...], ...]
    links: tuple[Link, ...]
    unplugged: tuple[str, ...]
    dark_bridges: tuple[str, ...]


def light_paths(file: RingFile) -> LightPaths:
    """Follow the light through the plugs of a file. Ends written at two sockets pass none: which holds is unknown."""
    arcs = _arcs(file)
    nodes = set(file.node_names)
    links = {name: link for name in file.node_names if (link := _link_from(name, arcs, nodes)) is not None}
    following = {name: link.to_node for name, link in links.items()}
    unplugged = tuple(name for name in file.node_names if not is_plugged(file, name))
    rings, chains = _walks([name for name in file.node_names if name not in unplugged], following, file.master)
    lit = {place.name.removeprefix(BRIDGE) for link in links.values() for place in link.places}
    used = [bridge.name for bridge in file.bridges if is_plugged(file, bridge.name)]
    return LightPaths(
        rings, chains, tuple(links.values()), unplugged, tuple(name for name in used if name not in lit)
    )


def is_plugged(file: RingFile, owner: str) -> bool:
    """True if any fibre end of a node or bridge is plugged or belongs to a direct fibre."""
    if any(owner in direct for direct in file.directs):
        return True
    return End(owner, "out") in file.sockets or End(owner, "in") in file.sockets


def times_used(file: RingFile, end: End) -> int:
    """How often a fibre end is used: its sockets and its direct fibres; right is once."""
    direct = sum((way.from_node if end.side == "out" else way.to_node) == end.owner for way in file.directs)
    return len(file.sockets.get(end, ())) + direct


BRIDGE = "the bridge "
FIBRE = "a fibre without a block"
BETWEEN = "the block's position between them"
"""Names of places that are no position of a block; `named.place_text` says them in the language in use."""


def _arcs(file: RingFile) -> dict[str, tuple[str, Place]]:
    """For each node or bridge whose output faces an input: whose input, and where."""
    found = {}
    for end, sockets in file.sockets.items():
        if end.side != "out" or times_used(file, end) != 1:
            continue
        socket = sockets[0]
        facing = file.held.get(facing_socket(socket))
        if facing is not None and facing.side == "in" and times_used(file, facing) == 1:
            found[end.owner] = (facing.owner, Place(socket.block, socket.position))
    for way in file.directs:
        if times_used(file, End(way.from_node, "out")) == times_used(file, End(way.to_node, "in")) == 1:
            found[way.from_node] = (way.to_node, Place(FIBRE, None))
    return found


def facing_socket(socket: Socket) -> Socket:
    """The other socket of the same position."""
    return socket._replace(row="lower" if socket.row == "upper" else "upper")


def _link_from(name: str, arcs: dict[str, tuple[str, Place]], nodes: set[str]) -> Link | None:
    """The way from a node to the next node, through bridges; None if the light ends on the way."""
    places: list[Place] = []
    here = name
    while here in arcs:
        here, place = arcs[here]
        places.append(place)
        if here in nodes:
            return Link(name, here, tuple(places))
        if Place(BRIDGE + here, None) in places:
            return None  # bridges that feed each other
        places.append(Place(BRIDGE + here, None))
    return None


def _walks(
    nodes: list[str], following: dict[str, str], master: str | None
) -> tuple[tuple[tuple[str, ...], ...], tuple[tuple[str, ...], ...]]:
    """Rings and chains; those of the master come first, then the longer ones."""
    fed = set(following.values())
    chains = [_walk(name, following) for name in nodes if name not in fed]
    seen = {name for chain in chains for name in chain}
    rings: list[tuple[str, ...]] = []
    for name in ([master] if master in nodes and master is not None else []) + nodes:
        if name not in seen:
            rings.append(_walk(name, following))
            seen |= set(rings[-1])

    def order(walk: tuple[str, ...]) -> tuple[bool, int]:
        return (master not in walk, -len(walk))

    return tuple(sorted(rings, key=order)), tuple(sorted(chains, key=order))


def _walk(start: str, following: dict[str, str]) -> tuple[str, ...]:
    walk = [start]
    while (step := following.get(walk[-1])) is not None and step != start:
        walk.append(step)
    return tuple(walk)
