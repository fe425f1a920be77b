"""The hypotheses: nothing wrong, every single fault, every pair (every triple where asked for), and 'other'."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from satdiag.vocabulary import CLASS_OF, FAULT_CLASSES, FAULTS

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
FaultSet = frozenset[str]

PAIRS, TRIPLES = 2, 3
EXPLANATION = "partial-package"
"""It explains refused channels and hides nothing else."""


@dataclass(frozen=True, eq=False)
class Space:
    """Sets of at most `order` faults, 'nothing' first and 'something that is not in the list' last.

    `holds` (hypotheses, faults), `in_class` (hypotheses, classes): whether a set holds a fault, one of a class.
    `real_subscription`: whether it holds a fault of the account that is more than an explanation.
    """

    order: int
    hypotheses: tuple[frozenset[str], ...]
    holds: Flags
    in_class: Flags
    real_subscription: Flags

    @property
    def none(self) -> int:
        """The hypothesis that nothing is wrong."""
        return 0

    @property
    def other(self) -> int:
        """The hypothesis that it is something outside the list."""
        return len(self.hypotheses) - 1

    def only(self, kept: Flags) -> Space:
        """The hypotheses that are kept; 'nothing' and 'other' must be among them."""
        chosen = tuple(one for one, flag in zip(self.hypotheses, kept, strict=True) if flag)
        return Space(self.order, chosen, self.holds[kept], self.in_class[kept], self.real_subscription[kept])

    def mask_of(self, name: str) -> Flags:
        """The hypotheses that hold a fault, or the one that is 'none' or 'other'."""
        if name in FAULTS:
            found: Flags = self.holds[:, FAULTS.index(name)]
            return found
        alone: Flags = np.arange(len(self.hypotheses)) == {"none": self.none, "other": self.other}[name]
        return alone

    def index_of(self, *faults: str) -> int:
        """The hypothesis that holds just these faults."""
        return self.hypotheses.index(frozenset(faults))


@cache
def space_of(order: int = PAIRS) -> Space:
    """All sets of at most `order` faults."""
    sets = [frozenset(chosen) for size in range(order + 1) for chosen in combinations(FAULTS, size)]
    sets.append(frozenset(["other"]))
    holds = np.array([[fault in hypothesis for fault in FAULTS] for hypothesis in sets])
    member = np.array([[CLASS_OF[fault] == name for name in FAULT_CLASSES] for fault in FAULTS])
    real = np.array([CLASS_OF[fault] == "subscription" and fault != EXPLANATION for fault in FAULTS])
    return Space(order, tuple(sets), holds, holds @ member, (holds & real).any(axis=1))
