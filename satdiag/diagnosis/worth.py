"""What knowing a test's answer is worth: expected minutes of work saved (EVSI), one test ahead and two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from satdiag.diagnosis.inference import Posterior
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.space import Flags, Floats, Space
from satdiag.diagnosis.weighing import exponents
from satdiag.vocabulary import FAULTS

COME_BACK_MINUTES = 150.0
"""What a fault that was left in costs: the customer comes back, his time and way included (judgement, no source)."""

PUZZLE_MINUTES = 240.0
"""What a fault outside the list costs if nobody expects it (judgement, no source)."""


@cache
def losses(model: Model, space: Space) -> Floats:
    """Minutes lost by acting on a set of faults when another is true, shape (actions, hypotheses).

    Actions: leave it, mend each single fault, hand it on as something else. Mending what is not broken wastes that
    work; what is broken and not mended brings the vehicle back. The work that has to be done anyway is no loss.
    """
    fix = np.array([model.faults[fault].fix_minutes for fault in FAULTS])
    count = len(FAULTS)
    mends = np.vstack([np.zeros((1, count), bool), np.eye(count, dtype=bool), np.zeros((1, count), bool)])
    wasted = (mends[:, None, :] & ~space.holds[None]) @ fix
    left = (space.holds[None] & ~mends[:, None, :]).any(axis=2) * COME_BACK_MINUTES
    table: Floats = wasted + left
    table[:-1, space.outside] += PUZZLE_MINUTES
    table[-1, : space.other] += PUZZLE_MINUTES
    return table


def saving(table: Floats, joint: Floats) -> float:
    """Expected value of sample information: the loss of acting now less that of acting on the test's answer.

    `table` (actions, hypotheses) are losses, `joint` (hypotheses, states) is P(hypothesis, state). Raiffa 1968.
    """
    return float((table @ joint.sum(axis=1)).min() - (table @ joint).min(axis=0).sum())


def entropy_bits(p: Floats) -> float:
    """Shannon entropy."""
    kept = p[p > 0]
    return float(-(kept * np.log2(kept)).sum())


def answers(model: Model, space: Space, item: str, seen: Sequence[str], received: bool = False) -> Floats:
    """P(state | hypothesis) of a test's answer, as far as it adds to the items seen, shape (hypotheses, states).

    Tempered as the posterior is where its family was seen already.
    """
    weight = exponents(model, [*seen, item] if item not in seen else list(seen))[item]
    return _tempered(model, space, item, round(weight, 9), received)


@cache
def _tempered(model: Model, space: Space, item: str, weight: float, received: bool) -> Floats:
    table = np.exp(weight * model.log_likelihood(item, space, received=received))
    normalised: Floats = table / table.sum(axis=1, keepdims=True)
    return normalised


@dataclass(frozen=True, eq=False)
class Option:
    """A test that can be done: its cost in minutes (risk included) and P(answer | hypothesis) as far as it adds.

    `states` and `say` name the answers, where the test's item does not.
    """

    name: str
    minutes: float
    table: Floats
    states: tuple[str, ...] = ()
    say: tuple[str, ...] = ()

    def kept(self, hypotheses: Flags) -> Option:
        """The option for some of the hypotheses."""
        return Option(self.name, self.minutes, self.table[hypotheses], self.states, self.say)


@dataclass(frozen=True)
class Worth:
    """What a test saves and costs, in minutes, and what it tells.

    `net`: what is saved less what is spent, if afterwards the best of at most one more test is done where that pays.
    """

    name: str
    saves: float
    minutes: float
    net: float
    bits: float


@dataclass(frozen=True, eq=False)
class Shelf:
    """Several options side by side: their tables in one, where each begins, and what each costs."""

    table: Floats
    starts: NDArray[np.int64]
    minutes: Floats


def shelf(options: Sequence[Option]) -> Shelf | None:
    """The options as one table; None for none."""
    if not options:
        return None
    widths = [one.table.shape[1] for one in options]
    starts = np.concatenate([[0], np.cumsum(widths)[:-1]]).astype(np.int64)
    return Shelf(np.hstack([one.table for one in options]), starts, np.array([one.minutes for one in options]))


def worths(loss: Floats, p: Floats, options: Sequence[Option], later: Mapping[str, Sequence[Option]]) -> list[Worth]:
    """Every option's worth for beliefs p (hypotheses,), best first, two tests ahead.

    Two tests can pay where neither does alone. `later[name]` are the options that remain after a test.
    """
    now = float((loss @ p).min())
    uncertain = entropy_bits(p)
    found = []
    for option in options:
        joint = p[:, None] * option.table
        chance = joint.sum(axis=0)
        possible = [state for state in range(len(chance)) if chance[state] > 0]
        remaining = shelf(later[option.name])
        after = sum(chance[s] * entropy_bits(joint[:, s] / chance[s]) for s in possible)
        ends = sum(_best_end(loss, joint[:, s], remaining) for s in possible)
        saves, bits = max(saving(loss, joint), 0.0), max(uncertain - float(after), 0.0)
        found.append(Worth(option.name, saves, option.minutes, now - ends - option.minutes, bits))
    return sorted(found, key=lambda worth: (-worth.net, worth.name))


def _best_end(loss: Floats, joint: Floats, remaining: Shelf | None) -> float:
    """Minutes lost from here on, times the chance to be here: act now, or do the best one more test and then act."""
    weighed = loss * joint
    act = float(weighed.sum(axis=1).min())
    if remaining is None:
        return act
    after = np.add.reduceat((weighed @ remaining.table).min(axis=0), remaining.starts)
    return min(act, float((after + joint.sum() * remaining.minutes).min()))


def perfect_saving(loss: Floats, belief: Posterior) -> float:
    """What knowing the truth would save, in minutes: an upper bound for every test (EVPI)."""
    return float((loss @ belief.p).min() - (loss.min(axis=0) @ belief.p))
