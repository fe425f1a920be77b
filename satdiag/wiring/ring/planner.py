"""The least plug moves from the plugs of today to a given order.

Each way from one node to the next needs a position of a block that holds both ends (with a bridge: one in each of
two blocks). Which position costs how many moves is known for each, so that the least is an assignment problem, which
scipy solves exactly; the few ways to use several bridges are tried one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product
from typing import NamedTuple

import numpy as np

from satdiag.errors import SatdiagError
from satdiag.language import tell
from satdiag.ring_file import Block, End, Node, Plug, RingFile, Socket, name_problem
from satdiag.wiring.ring.check import check_ring
from satdiag.wiring.ring.light import is_plugged, times_used


class Move(NamedTuple):
    """One plug that ends elsewhere than it began. `from_` None: it was not plugged; `to` None: it is taken out."""

    end: End
    from_: Socket | None
    to: Socket | None


@dataclass(frozen=True)
class RingPlan:
    """How to come to an order: the moves (each plug once), the file as it is then; or why it cannot be done so."""

    order: tuple[str, ...]
    before: RingFile
    after: RingFile | None
    moves: tuple[Move, ...] = ()
    impossible: tuple[str, ...] = ()


def plan_ring(file: RingFile, order: Sequence[str] | None = None) -> RingPlan:
    """The least plug moves to an order, by default the wanted one. Raises SatdiagError where there is none.

    `order` names nodes of the file, each once.
    """
    wanted = tuple(order if order is not None else file.wanted or ())
    if not wanted:
        raise SatdiagError("The wanted order is not written: add wanted = [...] in [ring], or use --insert.")
    against = [*_unknown_plugs(file, wanted), *_direct_in_the_way(file, wanted)]
    if not against:
        pairs, bridged, against = _ways(file, wanted)
    if not against:
        against = _too_few(file, pairs, bridged)
    if against:
        return RingPlan(wanted, file, None, impossible=tuple(against))
    moves = _least_moves(file, wanted, pairs, bridged)
    return RingPlan(wanted, file, with_moves(file, moves, wanted), tuple(moves))


def order_with(file: RingFile, insert: str, after: str) -> tuple[RingFile, tuple[str, ...]]:
    """The file with a node put in after another, and the order that this makes.

    The base is the wanted order, else the ring as it is plugged today. Raises SatdiagError.
    """
    base = file.wanted
    if base is None:
        check = check_ring(file)
        if check.state != "valid":
            raise SatdiagError(
                "Neither a wanted order is written nor one closed ring is plugged: write wanted first."
            )
        base = check.paths.rings[0]
    rest = [name for name in base if name != insert]
    if after not in rest:
        raise SatdiagError(f"'{after}' is not on the ring; on it are: {', '.join(rest)}.")
    if trouble := name_problem(insert):
        raise SatdiagError(f"'{insert}' {trouble}. Name the new node otherwise.")
    if insert in (bridge.name for bridge in file.bridges):
        raise SatdiagError(f"'{insert}' is a bridge of this ring, not a node. Name the new node otherwise.")
    if is_plugged(file, insert):
        raise SatdiagError(
            f"'{insert}' is plugged already. To move it, write the wanted order and leave --insert out."
        )
    if insert not in file.node_names:
        file = replace(file, nodes=(*file.nodes, Node(insert)))
    place = rest.index(after) + 1
    order = (*rest[:place], insert, *rest[place:])
    return replace(file, wanted=order), order


def with_moves(file: RingFile, moves: Sequence[Move], order: tuple[str, ...]) -> RingFile:
    """The file as it is once all moves are done."""
    moved = {move.end for move in moves}
    kept = [plug for plug in file.plugs if plug.end not in moved]
    kept += [Plug(move.end, move.to) for move in moves if move.to is not None]
    return replace(file, plugs=tuple(kept), wanted=order)


# --- what stands against it --------------------------------------------------------------------------------------


def _unknown_plugs(file: RingFile, wanted: tuple[str, ...]) -> Iterator[str]:
    if not file.plugs_known:
        yield tell("how the ring is plugged today is not written: look at each position and add its [[plug]]")
    for owner in (*file.node_names, *(bridge.name for bridge in file.bridges)):
        for end in (End(owner, "out"), End(owner, "in")):
            if (count := times_used(file, end)) > 1:
                yield tell(
                    "the end {end} is written {count} times: look where that plug is, and write it once",
                    end=end,
                    count=count,
                )


def _direct_in_the_way(file: RingFile, wanted: tuple[str, ...]) -> Iterator[str]:
    following = dict(zip(wanted, (*wanted[1:], wanted[0]), strict=True))
    for way in file.directs:
        if following.get(way.from_node) != way.to_node:
            yield tell(
                "the fibre from {upstream} straight to {node} stands against this order, and no plug at a block can "
                "change it: put an inline coupler there (a block with one position), or keep these two together",
                upstream=way.from_node,
                node=way.to_node,
            )


_Pair = tuple[End, End]
_Bridged = tuple[End, End, tuple[str, str]]


def _ways(file: RingFile, wanted: tuple[str, ...]) -> tuple[dict[str, list[_Pair]], list[_Bridged], list[str]]:
    """The pairs of ends that must face each other in each block, those that need a bridge, what is not known."""
    pairs: dict[str, list[_Pair]] = {block.name: [] for block in file.blocks}
    bridged: list[_Bridged] = []
    against: list[str] = []
    for name, following in zip(wanted, (*wanted[1:], wanted[0]), strict=True):
        if any(way == (name, following) for way in file.directs):
            continue
        ends = End(name, "out"), End(following, "in")
        places = [_reach(file, end) for end in ends]
        for end, place in zip(ends, places, strict=True):
            if place is None:
                against.append(
                    tell(
                        "which block {end} reaches is not known: set block of the node {node}",
                        end=end,
                        node=end.owner,
                    )
                )
        if places[0] is None or places[1] is None:
            continue
        if places[0] == places[1]:
            pairs[places[0]].append(ends)
        else:
            bridged.append((*ends, (places[0], places[1])))
    return pairs, bridged, against


def _reach(file: RingFile, end: End) -> str | None:
    """The block an end's fibre reaches: where it is plugged, its node's own, the other end's, the only one."""
    if end in file.sockets:
        return file.sockets[end][0].block
    own = next((node.block for node in file.nodes if node.name == end.owner), None)
    if own is not None:
        return own
    other = file.sockets.get(End(end.owner, "in" if end.side == "out" else "out"))
    if other is not None:
        return other[0].block
    return file.blocks[0].name if len(file.blocks) == 1 else None


def _too_few(file: RingFile, pairs: dict[str, list[_Pair]], bridged: list[_Bridged]) -> list[str]:
    """Bridges and positions that are lacking, and what then."""
    against = []
    needed = [way for *_, way in bridged]
    for way in dict.fromkeys(needed):
        there = sum((bridge.from_block, bridge.to_block) == way for bridge in file.bridges)
        if there < needed.count(way):
            against.append(
                tell(
                    "the order crosses from block {one} to block {other} {times} times, and there are {bridges} "
                    "bridges that way: add a [[bridge]], or choose an order that crosses less",
                    one=way[0],
                    other=way[1],
                    times=needed.count(way),
                    bridges=there,
                )
            )
    for block in file.blocks:
        count = len(pairs[block.name]) + sum((block.name in way) for way in needed)
        if count > block.positions:
            against.append(
                tell(
                    "block {block} has {positions} positions and the order needs {count}: there is no free position. "
                    "Fit a block with more positions, or a second block with a bridge each way, or an inline coupler "
                    "(a block with one position) in the fibre before the new node",
                    block=block.name,
                    positions=block.positions,
                    count=count,
                )
            )
    return against


# --- the least moves ---------------------------------------------------------------------------------------------

# A plug moved counts most; then rather move an input than an output; then rather a low position. At most 64 of each.
_MOVE, _OUTPUT, _POSITION = 1e8, 1e4, 1.0


def _least_moves(
    file: RingFile, wanted: tuple[str, ...], pairs: dict[str, list[_Pair]], bridged: list[_Bridged]
) -> list[Move]:
    best: tuple[float, list[Move]] | None = None
    for chosen in _bridge_choices(file, bridged):
        wholes = {name: list(found) for name, found in pairs.items()}
        for (out, into, (first, second)), bridge in zip(bridged, chosen, strict=True):
            wholes[first].append((out, End(bridge, "in")))
            wholes[second].append((End(bridge, "out"), into))
        cost, moves = 0.0, _taken_out(file, wanted, chosen)
        for block in file.blocks:
            of_block, found = _assigned(file, block, wholes[block.name])
            cost += of_block
            moves += found
        cost += _MOVE * sum(move.to is None for move in moves)
        if best is None or cost < best[0]:
            best = (cost, moves)
    assert best is not None  # `_too_few` has found enough bridges
    return best[1]


def _bridge_choices(file: RingFile, bridged: list[_Bridged]) -> Iterator[tuple[str, ...]]:
    """Every way to give each way across blocks a bridge of its own."""
    ways = [way for *_, way in bridged]
    kinds = list(dict.fromkeys(ways))
    there = {way: [one.name for one in file.bridges if (one.from_block, one.to_block) == way] for way in kinds}
    for choice in product(*(permutations(there[way], ways.count(way)) for way in kinds)):
        left = {way: list(names) for way, names in zip(kinds, choice, strict=True)}
        yield tuple(left[way].pop(0) for way in ways)


def _taken_out(file: RingFile, wanted: tuple[str, ...], bridges: Sequence[str]) -> list[Move]:
    """Plugs of nodes that the order does not name, and of bridges that it does not use."""
    return [Move(end, found[0], None) for end, found in file.sockets.items() if end.owner not in (*wanted, *bridges)]


def _assigned(file: RingFile, block: Block, pairs: Sequence[_Pair]) -> tuple[float, list[Move]]:
    """The cheapest positions for the pairs of one block: cost and moves."""
    cost = np.array([[_cost(file, block, pair, place) for place in range(1, block.positions + 1)] for pair in pairs])
    if not pairs:
        return 0.0, []
    from scipy.optimize import linear_sum_assignment  # dear to import, and seldom needed

    rows, columns = linear_sum_assignment(cost)
    moves = []
    for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
        for end in pairs[row]:
            now, then = _socket_now(file, end), block.socket(column + 1, end.side)
            if now != then:
                moves.append(Move(end, now, then))
    return float(cost[rows, columns].sum()), moves


def _cost(file: RingFile, block: Block, pair: _Pair, position: int) -> float:
    out, into = (block.socket(position, end.side) != _socket_now(file, end) for end in pair)
    return _MOVE * (out + into) + _OUTPUT * out + _POSITION * position


def _socket_now(file: RingFile, end: End) -> Socket | None:
    found = file.sockets.get(end)
    return found[0] if found else None
