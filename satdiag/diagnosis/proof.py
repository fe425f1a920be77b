"""Testing until the verdict is sure, in few minutes: for who has to prove a fault, not only to mend it.

The next test is the one whose answer closes most per minute of what is open. Open are the bits of entropy of each
fault's being there or not, and nothing once one answer is sure. Every answer's belief is worked out in full, families
and caps of the evidence included, since those decide what can become sure. The rule looks two tests ahead: the second
is the one that raises what is closed per minute most, after each answer anew, or none. How near it comes to the best
there can be is measured on small problems solved exactly (`tests/diagnosis/test_proof_value.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from satdiag.diagnosis.inference import NAMES, Posterior, leaders, posterior
from satdiag.diagnosis.model import Model, Test
from satdiag.diagnosis.plan import NEGLIGIBLE, Bench
from satdiag.diagnosis.space import Flags, Floats, Space
from satdiag.diagnosis.waiting import WAIT
from satdiag.diagnosis.weighing import NEPERS_PER_DB, exponents

SURE_AT = 0.95
"""As `estimate.SURE_AT`, which a test compares."""

MOST_ROUNDS = 6
PROOF_DRAWS = 300
RARE_ANSWER = 1e-3
"""After an answer rarer than that no second test is thought of."""

TINY = 1e-300
Further = tuple[float, Floats, Floats]
"""After one answer: its chance, what each second test would close (tests,), and the minutes of each (tests,)."""


@dataclass(frozen=True, eq=False)
class Standing:
    """Where the work stands: what can be tested, and all that the belief is made of.

    `log_prior` (hypotheses,); `terms`: what each item seen adds to it, as `weighing.log_terms` has it.
    """

    bench: Bench
    space: Space
    log_prior: Floats
    terms: Mapping[str, Floats]

    @property
    def model(self) -> Model:
        """What is believed of tests and faults."""
        return self.bench.model

    def belief(self) -> Posterior:
        """What is believed now."""
        return posterior(self.model, self.space, self.log_prior, self.terms)

    def told(self, test: Test, belief: Posterior, state: int) -> Standing:
        """Where it stands once a test has shown its answer number `state`."""
        bench = self.bench.after(test)
        if test.name == WAIT or test.item in self.terms:
            column = self.bench.option(test, belief).table[:, state]
            return Standing(bench, self.space, self.log_prior + np.log(column), self.terms)
        old, new = exponents(self.model, list(self.terms)), exponents(self.model, [*self.terms, test.item])
        table = self.model.log_likelihood(test.item, self.space, received=self.bench.received)
        terms = {name: term * (new[name] / old[name]) for name, term in self.terms.items()}
        return Standing(bench, self.space, self.log_prior, {**terms, test.item: new[test.item] * table[:, state]})


@dataclass(frozen=True, eq=False)
class Trial:
    """A test that can be done next: the chance of each answer (states,) and the belief after it (states, hypotheses).

    `rate`: bits closed per minute, on average; `p_sure`: the chance that the verdict is sure after it.
    """

    test: Test
    chance: Floats
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
    belief = standing.belief()
    kept = belief.likely(NEGLIGIBLE)
    space = standing.space.only(kept)
    looks = [_look(standing, belief, kept, test) for test in standing.bench.tests()]
    now = float(bits_open(*_chances(space, _rows(belief.p[None, kept])))[0])
    made = [_trial(standing.space, space, now, look, looks, belief.p[kept]) for look in looks]
    return sorted(made, key=lambda one: (-one.rate, one.test.name))


@dataclass(frozen=True, eq=False)
class _Look:
    """A test with its answers: minutes, P(answer | hypothesis), the belief after each and what that changed.

    `table` (hypotheses, states) and `ratio` (states, hypotheses) are of the hypotheses worth reckoning with.
    """

    test: Test
    minutes: float
    chance: Floats
    after: Floats
    table: Floats
    ratio: Floats


def _look(standing: Standing, belief: Posterior, kept: Flags, test: Test) -> _Look:
    table = standing.bench.option(test, belief).table
    after = np.array([standing.told(test, belief, state).belief().p for state in range(table.shape[1])])
    minutes = max(standing.bench.minutes(test), test.minutes)  # a short wait too costs the way and the look
    ratio = after[:, kept] / np.maximum(belief.p[kept], TINY)
    return _Look(test, minutes, belief.p @ table, after, table[kept], ratio)


def _trial(whole: Space, space: Space, now: float, look: _Look, looks: Sequence[_Look], p: Floats) -> Trial:
    after = _rows(look.ratio * p)
    left = bits_open(*_chances(space, after))
    others = [one for one in looks if one.test.item != look.test.item]
    further = [
        (float(look.chance[state]), *_falls(space, after[state], float(left[state]), others))
        for state in range(len(left))
        if others and left[state] > 0 and look.chance[state] >= RARE_ANSWER
    ]
    rate = closing_rate(now - float(look.chance @ left), look.minutes, further)
    sure = is_sure(whole, look.after)
    return Trial(look.test, look.chance, look.after, rate, float(look.chance @ sure))


def _falls(space: Space, p: Floats, now: float, looks: Sequence[_Look]) -> tuple[Floats, Floats]:
    """What each second test closes on average for beliefs p (hypotheses,), and its minutes."""
    after = _rows(np.vstack([look.ratio for look in looks]) * p)
    left = np.concatenate([p @ look.table for look in looks]) * bits_open(*_chances(space, after))
    starts = np.cumsum([0, *(len(look.chance) for look in looks[:-1])])
    return now - np.add.reduceat(left, starts), np.array([look.minutes for look in looks])


def _rows(mass: Floats) -> Floats:
    """Each row as probabilities."""
    p: Floats = mass / np.maximum(mass.sum(axis=1, keepdims=True), TINY)
    return p


def chance_of_proof(standing: Standing, tests: Sequence[Test], draws: int = PROOF_DRAWS) -> float:
    """How often it becomes sure while these tests are done one after the other, answers drawn from the belief.

    Waiting is left out: it cannot be foreseen what it adds. The draws are always the same ones: the same job gives
    the same words.
    """
    model, space, rng = standing.model, standing.space, np.random.default_rng(0)
    p = standing.belief().p
    true, items, families = rng.choice(len(p), draws, p=p), list(standing.terms), _families(standing)
    parts = {name: _capped_rows(model, raw, _weight(model, name, items)) for name, raw in families.items()}
    joint = np.tile(standing.log_prior + sum(parts.values()), (draws, 1))
    sure = np.zeros(draws, dtype=bool)
    for test in tests:
        if test.name == WAIT or test.item in items:
            continue
        items.append(test.item)
        table = model.log_likelihood(test.item, space, received=standing.bench.received)
        at = (rng.random((draws, 1)) > np.cumsum(np.exp(table[true]), axis=1)).sum(axis=1)
        family = model.items[test.item].family
        families[family] = families.get(family, 0.0) + table[:, np.minimum(at, table.shape[1] - 1)].T
        part = _capped_rows(model, families[family], _weight(model, family, items))
        joint += part - parts.get(family, 0.0)
        parts[family] = part
        sure |= is_sure(space, _rows(np.exp(joint - joint.max(axis=1, keepdims=True))))
    return float(sure.mean())


def _families(standing: Standing) -> dict[str, Floats]:
    """The log-likelihood of what was seen of each family, each item in full, shape (1, hypotheses)."""
    weight, found = exponents(standing.model, list(standing.terms)), dict[str, Floats]()
    for name, term in standing.terms.items():
        family = standing.model.items[name].family
        found[family] = found.get(family, np.zeros((1, len(term)))) + term / weight[name]
    return found


def _weight(model: Model, family: str, items: Sequence[str]) -> float:
    """How much each item of a family counts, if these were seen."""
    return next(count for name, count in exponents(model, items).items() if model.items[name].family == family)


def _capped_rows(model: Model, raw: Floats, weight: float) -> Floats:
    """As `weighing.combined` holds a family within its cap, for rows (rows, hypotheses)."""
    term = weight * raw
    held: Floats = np.maximum(term, term.max(axis=1, keepdims=True) - model.family_cap_db * NEPERS_PER_DB)
    return held
