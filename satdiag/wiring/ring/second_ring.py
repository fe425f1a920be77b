"""Nodes that do not answer on a closed ring: do they stand on a second ring?

Two plugs of one row exchanged in a good ring always give two rings (counted over all pairs in the tests): the nodes
between them are lost, all others work.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Literal, NamedTuple

from satdiag.ring_file import RingFile
from satdiag.wiring.ring.light import LightPaths


class SecondRing(NamedTuple):
    """Lost nodes that would be on a second ring, and why: the `plugs` as written, or two `inputs` exchanged."""

    nodes: tuple[str, ...]
    from_: Literal["plugs", "pattern"]
    inputs: tuple[str, str] | None = None


def second_ring(
    file: RingFile, paths: LightPaths, present: Collection[str], absent: Collection[str]
) -> SecondRing | None:
    """The reading of lost nodes as a second ring; None where it does not fit or nothing is lost.

    By the plugs: the lost nodes are all those on rings without the timing master. By the pattern: they follow each
    other in the good order, so that the inputs of the first of them and of the node after the last were exchanged.
    """
    lost = {name for name in absent if name in file.node_names}
    if not lost or file.master is None or file.master in lost:
        return None
    if len(paths.rings) > 1 and not paths.chains:
        outside = {name for ring in paths.rings if file.master not in ring for name in ring}
        told = lost | {name for name in present if name in file.node_names}
        if lost == outside & told:
            return SecondRing(tuple(name for ring in paths.rings for name in ring if name in outside), "plugs")
        return None
    order = paths.rings[0] if len(paths.rings) == 1 and not paths.chains else file.wanted
    if order is None or not lost <= set(order):
        return None
    return _pattern(order, lost)


def _pattern(order: Sequence[str], lost: Collection[str]) -> SecondRing | None:
    firsts = [place for place, name in enumerate(order) if name in lost and order[place - 1] not in lost]
    if len(firsts) != 1:
        return None
    arc = [order[(firsts[0] + step) % len(order)] for step in range(len(lost))]
    after = order[(firsts[0] + len(lost)) % len(order)]
    return SecondRing(tuple(arc), "pattern", (arc[0], after))
