"""In which order to try repairs once no test pays any more: the likeliest per minute first."""

from __future__ import annotations

from collections.abc import Sequence

from satdiag.diagnosis.inference import Posterior
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.space import EXPLANATION
from satdiag.findings import Repair
from satdiag.language import translated
from satdiag.vocabulary import FAULTS

LEAST_CHANCE = 0.05
MOST_REPAIRS = 4


def repair_order(p: Sequence[float], minutes: Sequence[float]) -> list[int]:
    """Places in descending p / minutes: the cheapest order to look where one fault is there and a look shows it.

    Kadane & Simon 1977; Heckerman, Breese, Rommelse 1995. Ties keep their order. It can be wrong where one action
    mends several faults.
    """
    return sorted(range(len(p)), key=lambda place: -p[place] / minutes[place])


def expected_minutes(
    order: Sequence[int], p: Sequence[float], look: Sequence[float], mend: Sequence[float], call: float | None = None
) -> float:
    """Expected cost of looking at causes in an order and mending the one that is found.

    `call`: what it costs to hand the vehicle on after the last of them, where the order is not complete.
    """
    cost, left = 0.0, 1.0
    for place in order:
        cost += left * look[place] + p[place] * mend[place]
        left -= p[place]
    return cost + (left * call if call is not None else 0.0)


def repairs(model: Model, belief: Posterior) -> tuple[Repair, ...]:
    """The repairs worth trying, in the order that finds the fault soonest, each with its chance and its work.

    A package that leaves channels out is no repair: it is named only where it leads.
    """
    chances, lead = belief.faults(), belief.top()[1]
    likely = [one for one in FAULTS if chances[one] >= LEAST_CHANCE and (one != EXPLANATION or one == lead)]
    p = [chances[fault] for fault in likely]
    minutes = [model.faults[fault].fix_minutes for fault in likely]
    return tuple(
        Repair(likely[place], p[place], minutes[place], translated(model.faults[likely[place]].action))
        for place in repair_order(p, minutes)[:MOST_REPAIRS]
    )
