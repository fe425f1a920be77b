"""What is wrong with the plugs as they are written: is it one closed ring, through all nodes, in the wanted order?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from satdiag.language import mark, tell, translated
from satdiag.ring_file import Block, End, RingFile
from satdiag.wiring.chained import chained
from satdiag.wiring.ring.light import LightPaths, is_plugged, light_paths, times_used

State = Literal["valid", "problems", "order-differs"]


class RingProblem(NamedTuple):
    """One thing wrong with the plugs: its kind, for programs, and a sentence."""

    kind: str
    text: str


@dataclass(frozen=True)
class RingCheck:
    """The state of the plugs: `valid`, `order-differs` (one ring, other order), `problems`; None if not written.

    `could_not` says what could not be judged.
    """

    state: State | None
    problems: tuple[RingProblem, ...]
    paths: LightPaths
    could_not: tuple[str, ...] = ()


def check_ring(file: RingFile) -> RingCheck:
    """Judge the plugs of a file against its wanted order; without one, whether they make one closed ring."""
    paths = light_paths(file)
    if not file.plugs_known:
        return RingCheck(None, (), paths, (tell("how the ring is plugged today is not written: nothing to check"),))
    problems = [*_ends(file), *_positions(file), *_rings(file, paths), *_not_wanted(file)]
    unordered = tell("the wanted order is not written: the order of the nodes was not judged")
    could_not = () if file.wanted else (unordered,)
    state: State = "problems" if problems else "valid"
    if not problems and file.wanted and not same_ring(paths.rings[0], file.wanted):
        text = tell(
            "the ring is closed, but its order is {found}; wanted is {wanted}",
            found=" > ".join(paths.rings[0]),
            wanted=" > ".join(_from_master(file)),
        )
        problems, state = [RingProblem("order-differs", text)], "order-differs"
    return RingCheck(state, tuple(problems), paths, could_not)


def same_ring(one: Sequence[str], other: Sequence[str]) -> bool:
    """True if two orders are the same ring: a ring has no first node, so one may be a rotation of the other."""
    if len(one) != len(other) or set(one) != set(other):
        return False
    turn = list(other).index(one[0]) if one else 0
    return list(one) == [*other[turn:], *other[:turn]]


def not_plugged(
    wanted: Sequence[str], rings: Sequence[Sequence[str]], chains: Sequence[Sequence[str]]
) -> tuple[str, ...]:
    """The wanted nodes that stand in no part of the ring: the plugs were written down before they were put in."""
    there = {name for part in (*rings, *chains) for name in part}
    return tuple(name for name in wanted if name not in there)


def only_waits_for(
    wanted: Sequence[str], rings: Sequence[Sequence[str]], chains: Sequence[Sequence[str]], problems: int
) -> tuple[str, ...]:
    """The nodes that a closed ring still waits for, where nothing else is wrong: each is one of the `problems`."""
    names = not_plugged(wanted, rings, chains)
    return names if len(rings) == 1 and not chains and problems == len(names) else ()


def miscounted(file: RingFile) -> tuple[str, ...]:
    """Every end of a wanted node (of any node, without an order) that is not used just once, such as 'a.out x0'."""
    nodes = file.wanted or file.node_names
    ends = [End(name, "out") for name in nodes] + [End(name, "in") for name in nodes]
    return tuple(f"{end} x{times_used(file, end)}" for end in ends if times_used(file, end) != 1)


def _from_master(file: RingFile) -> tuple[str, ...]:
    wanted = file.wanted or ()
    turn = wanted.index(file.master) if file.master in wanted else 0
    return (*wanted[turn:], *wanted[:turn])


def _ends(file: RingFile) -> Iterator[RingProblem]:
    """Nodes that are wanted and not plugged, ends left open, ends written twice."""
    for name in dict.fromkeys((*(file.wanted or ()), *file.node_names, *(bridge.name for bridge in file.bridges))):
        if not is_plugged(file, name):
            if name in (file.wanted or ()):
                text = tell("the node {node} is wanted on the ring and not plugged yet", node=name)
                yield RingProblem("not-plugged", text)
            continue
        for end in (End(name, "out"), End(name, "in")):
            word = "output" if end.side == "out" else "input"
            count = times_used(file, end)
            if count == 0:
                yield RingProblem(f"{word}-open", _open_text(end))
            elif count > 1:
                text = tell(
                    "the end {end} is written {count} times ({places}): one plug cannot be in two places",
                    end=end,
                    count=count,
                    places=chained(map(str, file.sockets.get(end, ()))) or tell("its direct fibres"),
                )
                yield RingProblem(f"{word}-twice", text)


def _open_text(end: End) -> str:
    if end.side == "out":
        return tell("the output of {node} ({end}) is open: it is plugged nowhere", node=end.owner, end=end)
    return tell("the input of {node} ({end}) is open: it is plugged nowhere", node=end.owner, end=end)


def _positions(file: RingFile) -> Iterator[RingProblem]:
    """Positions that pass no light, and plugs in the wrong row."""
    for block in file.blocks:
        for position in range(1, block.positions + 1):
            yield from _position(file, block, position)


def _position(file: RingFile, block: Block, position: int) -> Iterator[RingProblem]:
    held = [(row, file.held.get(block.socket(position, "out")._replace(row=row))) for row in ("upper", "lower")]
    values = {"position": position, "block": block.name}
    there = [(row, end) for row, end in held if end is not None]
    for row, end in there:
        if row != block.row_of(end.side):
            text = translated(_MISTAKEN[end.side, row]).format(end=end, **values)
            yield RingProblem("row-mistaken", text)
    if len(there) == 1:
        text = tell(
            "the end {end} faces an empty socket at position {position} of block {block}: no light passes there",
            end=there[0][1],
            **values,
        )
        yield RingProblem("faces-nothing", text)
    elif len(there) == 2 and there[0][1].side == there[1][1].side:
        both = chained(str(end) for _, end in there)
        yield RingProblem("same-side", translated(_SAME_SIDE[there[0][1].side]).format(ends=both, **values))


_MISTAKEN = {
    ("out", "upper"): mark(
        "the end {end} stands in the upper row at position {position} of block {block}, but outputs belong in the "
        "lower row: plug or file, mend one of the two"
    ),
    ("out", "lower"): mark(
        "the end {end} stands in the lower row at position {position} of block {block}, but outputs belong in the "
        "upper row: plug or file, mend one of the two"
    ),
    ("in", "upper"): mark(
        "the end {end} stands in the upper row at position {position} of block {block}, but inputs belong in the "
        "lower row: plug or file, mend one of the two"
    ),
    ("in", "lower"): mark(
        "the end {end} stands in the lower row at position {position} of block {block}, but inputs belong in the "
        "upper row: plug or file, mend one of the two"
    ),
}
_SAME_SIDE = {
    "out": mark(
        "two outputs, {ends}, face each other at position {position} of block {block}: no light passes there"
    ),
    "in": mark("two inputs, {ends}, face each other at position {position} of block {block}: no light passes there"),
}


def _rings(file: RingFile, paths: LightPaths) -> Iterator[RingProblem]:
    for ring in paths.rings:
        if len(ring) == 1:
            text = tell("the node {node} is looped on itself: its output feeds its own input", node=ring[0])
            yield RingProblem("looped", text)
    if len(paths.rings) > 1:
        parts = ", ".join(" > ".join(ring) for ring in paths.rings)
        text = tell(
            "the plugs make {count} separate rings, {rings}: what is not on the master's ring is lost",
            count=len(paths.rings),
            rings=parts,
        )
        yield RingProblem("several-rings", text)
    for chain in paths.chains:
        yield RingProblem("open", tell("the ring is open: no light reaches the input of {node}", node=chain[0]))
    for name in paths.dark_bridges:
        text = tell("the bridge {name} is plugged, but no node's light passes through it", name=name)
        yield RingProblem("dark-bridge", text)


def _not_wanted(file: RingFile) -> Iterator[RingProblem]:
    for name in file.node_names:
        if file.wanted and name not in file.wanted and is_plugged(file, name):
            text = tell("the node {node} is plugged, but the wanted order does not name it", node=name)
            yield RingProblem("not-wanted", text)
