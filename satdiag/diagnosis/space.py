"""The hypotheses: nothing wrong, every single fault, every pair (every triple where asked for), and 'other'.

A fault that comes in kinds which look unlike one another is a hypothesis for each kind: what one kind shows in one
item goes with what it shows in the next, and a mean over kinds would hide that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from satdiag.vocabulary import CLASS_OF, FAULT_CLASSES, FAULTS

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
FaultSet = frozenset[str]
Kind = tuple[str, str]
Kinds = tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
"""Faults that come in several kinds: of each its kinds, and the share that each has of it."""

PAIRS, TRIPLES = 2, 3
OTHER = "other"
EXPLANATION = "partial-package"
"""It explains refused channels and hides nothing else."""


@dataclass(frozen=True, eq=False)
class Space:
    """Sets of at most `order` faults, 'nothing' first and 'something that is not in the list' last.

    `holds` (hypotheses, faults), `in_class` (hypotheses, classes): whether a set holds a fault, one of a class.
    `real_subscription`: whether it holds a fault of the account that is more than an explanation. A set that holds a
    fault of several kinds is there once for each of them: `of_kind[fault, kind]` are the hypotheses that hold it in
    that kind, `log_share` is the logarithm of the share that the kinds of a hypothesis have of its set.
    """

    order: int
    hypotheses: tuple[frozenset[str], ...]
    holds: Flags
    in_class: Flags
    real_subscription: Flags
    of_kind: Mapping[Kind, Flags]
    log_share: Floats

    @property
    def none(self) -> int:
        """The hypothesis that nothing is wrong."""
        return 0

    @cached_property
    def other(self) -> int:
        """The hypothesis that it is something outside the list; the first of them where that has kinds."""
        return self.hypotheses.index(frozenset([OTHER]))

    @property
    def outside(self) -> slice:
        """All hypotheses that it is something outside the list: the last ones."""
        return slice(self.other, None)

    def only(self, kept: Flags) -> Space:
        """The hypotheses that are kept; 'nothing' and 'other' must be among them."""
        chosen = tuple(one for one, flag in zip(self.hypotheses, kept, strict=True) if flag)
        return Space(
            self.order,
            chosen,
            self.holds[kept],
            self.in_class[kept],
            self.real_subscription[kept],
            {kind: mask[kept] for kind, mask in self.of_kind.items()},
            self.log_share[kept],
        )

    def mask_of(self, name: str) -> Flags:
        """The hypotheses that hold a fault, or the one that is 'none' or 'other'."""
        if name in FAULTS:
            found: Flags = self.holds[:, FAULTS.index(name)]
            return found
        alone = np.zeros(len(self.hypotheses), dtype=bool)
        alone[{"none": slice(self.none, self.none + 1), OTHER: self.outside}[name]] = True
        return alone

    def index_of(self, *faults: str) -> int:
        """The hypothesis that holds just these faults."""
        return self.hypotheses.index(frozenset(faults))


@cache
def space_of(order: int = PAIRS, kinds: Kinds = ()) -> Space:
    """All sets of at most `order` faults and 'other', each once for every kind that it comes in."""
    table = {name: dict(own) for name, own in kinds}
    even = _evenly(order, tuple((name, tuple(own)) for name, own in table.items()))
    share = np.ones(len(even.hypotheses))
    for name in (*FAULTS, OTHER):
        for kind, part in table.get(name, {}).items():
            share[even.of_kind[name, kind]] *= part
    return replace(even, log_share=np.log(share))


@cache
def _evenly(order: int, kinds: tuple[tuple[str, tuple[str, ...]], ...]) -> Space:
    """The space with all shares 1: spaces that differ in their shares alone have the rest in common."""
    plain = [frozenset(chosen) for size in range(order + 1) for chosen in combinations(FAULTS, size)]
    table = dict(kinds)
    named = [(one, ways) for one in [*plain, frozenset([OTHER])] for ways in _ways(one, table)]
    sets = tuple(one for one, _ in named)
    holds = np.array([[fault in hypothesis for fault in FAULTS] for hypothesis in sets])
    member = np.array([[CLASS_OF[fault] == name for name in FAULT_CLASSES] for fault in FAULTS])
    real = np.array([CLASS_OF[fault] == "subscription" and fault != EXPLANATION for fault in FAULTS])
    every = [(fault, kind) for fault, own in kinds for kind in own]
    of_kind = {one: np.array([one in ways for _, ways in named]) for one in every}
    return Space(order, sets, holds, holds @ member, (holds & real).any(axis=1), of_kind, np.zeros(len(sets)))


def _ways(faults: FaultSet, kinds: Mapping[str, tuple[str, ...]]) -> list[tuple[Kind, ...]]:
    """The ways in which a set can be there: each fault of several kinds in one of them."""
    own = [[(name, kind) for kind in kinds[name]] for name in (*FAULTS, OTHER) if name in faults and name in kinds]
    return list(product(*own))
