"""Testing until the verdict is sure, in few minutes: for who has to prove a fault, not only to mend it.

The next test is the one whose answer closes most per minute of what is open. Open are the bits of entropy of each
fault's being there or not, and nothing once one answer is sure. Every answer's belief is worked out in full, families
and caps of the evidence included, since those decide what can become sure. The rule looks two tests ahead: the second
is the one that raises what is closed per minute most, after each answer anew, or none. How near it comes to the best
there can be is measured on small problems solved exactly (`tests/diagnosis/test_proof_value.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from satdiag.diagnosis.inference import NAMES, leaders
from satdiag.diagnosis.model import Test
from satdiag.diagnosis.space import Flags, Floats, Space
from satdiag.diagnosis.standing import NEGLIGIBLE, TINY, Ground, Standing

SURE_AT = 0.95
"""As `estimate.SURE_AT`, which a test compares."""

MOST_ROUNDS = 6
RARE_ANSWER = 1e-3
"""After an answer rarer than that no second test is thought of."""

MOST_IN_SECOND = 300
"""So many hypotheses are reckoned with when a second test is thought of."""

Further = tuple[float, Floats, Floats]
"""After one answer: its chance, what each second test would close (tests,), and the minutes of each (tests,)."""


@dataclass(frozen=True, eq=False)
class Trial:
    """A test that can be done next: the chance of each answer (states,) and the belief after it (states, hypotheses).

    The belief is over the hypotheses of `space` alone, which are those that matter. `rate`: bits closed per minute,
    on average; `p_sure`: the chance that the verdict is sure after it.
    """

    test: Test
    chance: Floats
    space: Space
    after: Floats
    rate: float
    p_sure: float


def bits_open(chances: Floats, lead: Floats) -> Floats:
    """What is open in each row: the entropies of whether each fault is there, in bits; nothing where it is sure.

    `chances` (rows, faults) that each fault is there; `lead` (rows,) the probability of the one that leads.
    """
    q = np.clip(chances, 1e-12, 1 - 1e-12)
    bits: Floats = -(q * np.log2(q) + (1 - q) * np.log2(1 - q)).sum(axis=1)
    return np.where(lead >= SURE_AT, 0.0, bits)


def closing_rate(closed: float, minutes: float, further: Sequence[Further]) -> float:
    """Bits closed per minute by a test and, after each of its answers, the second one that raises this rate most.

    `closed`: what the first one closes on average. The largest ratio of two sums, by Dinkelbach's iteration (1967).
    """
    rate = closed / minutes
    for _ in range(MOST_ROUNDS):
        bits, spent = closed, minutes
        for chance, falls, costs in further:
            best = int(np.argmax(falls - rate * costs))
            if falls[best] > rate * costs[best]:
                bits, spent = bits + chance * float(falls[best]), spent + chance * float(costs[best])
        if bits <= rate * spent * (1 + 1e-9):
            break
        rate = bits / spent
    return rate


def _chances(space: Space, p: Floats) -> tuple[Floats, Floats]:
    """Of each row of p (rows, hypotheses): the chance of each of NAMES, and that of the one that leads.

    The latter is 0 where something outside the list leads: such a verdict is never sure.
    """
    _, fault = leaders(space, p)
    chances: Floats = p @ np.array([space.mask_of(name) for name in NAMES], dtype=float).T
    lead = np.where(fault == NAMES.index("other"), 0.0, chances[np.arange(len(p)), fault])
    return chances, lead


def is_sure(space: Space, p: Floats) -> Flags:
    """Whether each row of p (rows, hypotheses) makes one answer sure."""
    sure: Flags = _chances(space, p)[1] >= SURE_AT
    return sure


def trials(standing: Standing) -> list[Trial]:
    """Every test that can be done, the one that closes most per minute first."""
    ground = Ground(standing)
    looks = [_look(ground, test) for test in standing.bench.tests()]
    now = float(bits_open(*_chances(ground.space, ground.p[None]))[0])
    made = [_trial(ground, now, look, looks) for look in looks]
    return sorted(made, key=lambda one: (-one.rate, one.test.name))


@dataclass(frozen=True, eq=False)
class _Look:
    """A test with its answers: minutes, P(answer | hypothesis), the belief after each and what that changed.

    `table` (kept, states); `after`, `ratio` (states, kept). `is_last`: it looks whether the last channels have come.
    """

    test: Test
    minutes: float
    chance: Floats
    after: Floats
    table: Floats
    ratio: Floats
    is_last: bool


def _look(ground: Ground, test: Test) -> _Look:
    bench = ground.standing.bench
    table = bench.option(test, ground.belief).table[ground.at]
    after = ground.after(test)
    minutes = max(bench.minutes(test), test.minutes)  # a short wait too costs the way and the look
    is_last = bench.for_last(test) is not None
    return _Look(test, minutes, ground.p @ table, after, table, after / np.maximum(ground.p, TINY), is_last)


def _trial(ground: Ground, now: float, look: _Look, looks: Sequence[_Look]) -> Trial:
    left = bits_open(*_chances(ground.space, look.after))
    others = [one for one in looks if one.test.item != look.test.item and not (look.is_last and one.is_last)]
    open_ = [k for k in range(len(left)) if others and left[k] > 0 and look.chance[k] >= RARE_ANSWER]
    further: list[Further] = []
    if open_:
        falls, costs = _falls(ground.space, look.after[open_], left[open_], others)
        further = [(float(look.chance[k]), fall, costs) for k, fall in zip(open_, falls, strict=True)]
    rate = closing_rate(now - float(look.chance @ left), look.minutes, further)
    sure = is_sure(ground.space, look.after)
    return Trial(look.test, look.chance, ground.space, look.after, rate, float(look.chance @ sure))


def _falls(space: Space, p: Floats, now: Floats, looks: Sequence[_Look]) -> tuple[Floats, Floats]:
    """What each second test closes on average for each of the beliefs p (rows, kept), and its minutes."""
    ratio, table = np.vstack([look.ratio for look in looks]), np.hstack([look.table for look in looks])
    kept = _foremost(space, p)
    after = (p[:, None, kept] * ratio[None][:, :, kept]).reshape(-1, int(kept.sum()))
    share = p[:, kept].sum(axis=1)  # what is left out keeps its own
    after *= np.repeat(share, len(ratio))[:, None] / np.maximum(after.sum(axis=1, keepdims=True), TINY)
    left = (p @ table) * bits_open(*_chances(space.only(kept), after)).reshape(len(p), -1)
    starts = np.cumsum([0, *(len(look.chance) for look in looks[:-1])])
    closed = now[:, None] - np.add.reduceat(left, starts, axis=1)
    return closed, np.array([look.minutes for look in looks])


def _foremost(space: Space, p: Floats) -> Flags:
    """The hypotheses that are among the likeliest after some answer (rows of p), 'none' and 'other' too."""
    top = p.max(axis=0)
    kept: Flags = top >= max(float(np.sort(top)[-min(MOST_IN_SECOND, len(top))]), NEGLIGIBLE)
    kept[space.none] = kept[space.outside] = True
    return kept
