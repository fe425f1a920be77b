"""Exact marginals over all sets of faults at once, for causes that act independently: the alarm for more than two.

Quickscore (Heckerman 1989), carried over from yes/no findings to findings of several states: with F(s | set) =
F_0(s) * prod of F_i(s) / F_0(s) over the faults of the set, the probability of what was seen is a sum of signed
products over faults, so that the sum over all 2^n sets factorises. Hand-written rows, where one fault masks another,
have no place in it; it is compared with the same model over pairs, and only the difference speaks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np

from satdiag.diagnosis.inference import Prior
from satdiag.diagnosis.model import Item, Model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import Floats, Space
from satdiag.vocabulary import FAULTS

MOST_TERMS = 2**14
"""Alternating signs lose digits, and time doubles with every unhealthy finding (measured: 1e-7 at ten of them)."""

RAISED_TIMES = 2.0


def levels_of(item: Item, one: Seen, floor: float) -> list[tuple[float, Floats]]:
    """What was seen as a sum of (coefficient, factor of each fault): sum over states of likelihood x (F(s) - F(s-1)).

    The floor for a wrong reading is mixed into every row beforehand. Shapes: factors (faults,).
    """
    count = len(item.states)
    if one.soft is None:
        likelihood = (np.array(item.states) == one.state).astype(float)
    else:
        likelihood = np.array([one.soft.get(state, 0.0) for state in item.states])
    base = np.cumsum((1 - floor) * item.healthy + floor / count)
    shrink = np.ones((len(FAULTS), count))
    for fault, row in item.given.items():
        shrink[FAULTS.index(fault)] = np.minimum(np.cumsum((1 - floor) * row + floor / count) / base, 1.0)
    steps = likelihood - np.append(likelihood[1:], 0.0)
    return [(float(steps[s] * base[s]), shrink[:, s]) for s in range(count) if abs(steps[s]) > 0.0]


def all_sets(parts: Sequence[Sequence[tuple[float, Floats]]], prior: Prior) -> tuple[float, Floats]:
    """P(seen) and P(seen, fault) for every fault, over all sets of the listed faults ('other' apart).

    `parts`: one list of (coefficient, factors) for each item, as from `levels_of`.
    """
    p, second = np.array([prior.faults[fault] for fault in FAULTS]), prior.second_factor
    coefficients = np.array([np.prod([c for c, _ in chosen]) for chosen in product(*parts)])
    ones = np.ones(len(FAULTS))  # of nothing seen the product is one
    factors = np.array([np.prod([ones, *(f for _, f in chosen)], axis=0) for chosen in product(*parts)])
    with_it, without = second * p * factors, 1 - p  # every fault, and the first taken back below
    each = with_it + without
    whole = coefficients @ each.prod(axis=1)
    joint = np.array(
        [coefficients @ (with_it[:, i] * np.delete(each, i, axis=1).prod(axis=1)) for i in range(len(FAULTS))]
    )
    empty = float(coefficients.sum() * without.prod()) * (prior.none_factor - 1.0 / second)
    return float(whole) / second + empty, joint / second


def marginals(model: Model, prior: Prior, seen: Sequence[Seen]) -> Mapping[str, float] | None:
    """P(fault | seen) over all sets of faults, or None where the sum would be too long to be exact."""
    known = [one for one in seen if one.item in model.items]
    parts = [levels_of(model.items[one.item], one, model.error_floor / one.repeats) for one in known]
    if np.prod([float(len(part)) for part in parts]) > MOST_TERMS:
        return None
    whole, joint = all_sets(parts, prior)
    return dict(zip(FAULTS, (joint / whole).tolist(), strict=True))


def truncated(model: Model, space: Space, prior: Prior, seen: Sequence[Seen]) -> Mapping[str, float]:
    """The same model over the sets of a space only ('other' left out), for comparison with `marginals`.

    As there, a fault of several kinds shows by the mean of them: whether the space tells its kinds apart is all one.
    """
    inside = slice(0, space.other)
    held = space.holds[inside].astype(float)
    p = np.array([prior.faults[fault] for fault in FAULTS])
    weight = np.exp(np.where(space.holds[inside], np.log(p), np.log1p(-p)).sum(axis=1) + space.log_share[inside])
    weight[space.none] *= prior.none_factor
    weight *= prior.second_factor ** np.maximum(held.sum(axis=1) - 1, 0)
    for one in seen:
        if one.item not in model.items:
            continue
        levels = levels_of(model.items[one.item], one, model.error_floor / one.repeats)
        weight = weight * sum(c * np.exp(held @ np.log(factors)) for c, factors in levels)
    return dict(zip(FAULTS, ((weight @ held) / weight.sum()).tolist(), strict=True))


def left_out(model: Model, space: Space, prior: Prior, seen: Sequence[Seen]) -> float | None:
    """The largest change of a suspected fault's probability from the sets of a space to all sets.

    Suspected: made more than twice as likely by what was seen. The others keep about their prior in all sets, and
    less of it in small ones, which says nothing of the vehicle. None if not computable.
    """
    exact = marginals(model, prior, seen)
    if exact is None:
        return None
    within = truncated(model, space, prior, seen)
    suspected = [fault for fault in FAULTS if exact[fault] > RAISED_TIMES * prior.faults[fault]]
    return max((abs(exact[fault] - within[fault]) for fault in suspected), default=0.0)
