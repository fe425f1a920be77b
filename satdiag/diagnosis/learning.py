"""A model moved by closed jobs, each with the weight that it deserves beside the packaged figures (`counts.py`).

What was found may be wrong: each job counts with the chance that its finding is right, given how its evidence fits,
and never for more than `MOST_SHIFT` allows: rare states would else hang on a single job.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from satdiag.diagnosis.counts import (
    HEALTHY,
    HEALTHY_JOBS,
    KIND_JOBS,
    ROW_JOBS,
    Shares,
    added_by,
    counts_of,
    marginals,
    moved_model,
    prior_of,
    row_of,
    rows_of,
)
from satdiag.diagnosis.inference import logsumexp
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import FaultSet, Flags, Floats, Kind, Space, space_of
from satdiag.diagnosis.weighing import combined, exponents, log_terms
from satdiag.vocabulary import REASONS

PRIOR_JOBS = 120.0
"""How many vehicles the packaged priors count for (chosen on made-up jobs; judgement)."""

MOST_SHIFT = 0.2
"""How far one lesson may move hypotheses against each other, in the logarithm of their odds, in the very job it was
taken from, which it moves most. Odds moved by exp(0.2) move no probability by more than tanh(0.2 / 4) = 0.05."""

Key = tuple[str, ...]
RIGHT = 0.97
"""How often a finding that was written down is right (judgement, no source)."""

ROUNDS, CLOSE = 60, 1e-4
"""Weights of lessons are raised for so many rounds at most, until none rises by more than that."""

LEAST_PART = 1e-4
"""A kind that is less likely, given what was seen, is taken not to have been there."""


@dataclass(frozen=True, eq=False)
class Learned:
    """A model moved by lessons, and how many lessons it holds (by count and by weight). None: the packaged model."""

    model: Model | None = None
    jobs: int = 0
    weight: float = 0.0


PACKAGED = Learned()


def learned_model(model: Model, lessons: Sequence[Lesson]) -> Learned:
    """The packaged model moved by closed jobs; the same lessons give the same model in any order."""
    if not lessons:
        return Learned(model, 0, 0.0)
    ordered = sorted(lessons, key=lambda lesson: (lesson.hash, lesson.job))
    read = [reading_of(model, lesson) for lesson in ordered]
    weights = weights_of(model, ordered, read)
    counts = counts_of(model, ordered, weights, [one.kinds for one in read], PRIOR_JOBS)
    return Learned(moved_model(model, counts), len(ordered), float(sum(weights)))


# --- what a lesson is worth --------------------------------------------------------------------------------------


class Reading(NamedTuple):
    """A finding beside its evidence: the chance that it is right, and how likely each kind of what was found is.

    `kinds` holds only faults that come in several, and of each the kinds that may have been there; they add up to 1.
    """

    right: float
    kinds: Shares


def reading_of(model: Model, lesson: Lesson) -> Reading:
    """P(the finding is right | its evidence), and P(kind | the finding is right, its evidence).

    RIGHT of all findings hold what was there; of the others nothing is known but the prior: so a finding that the
    evidence flatly denies counts for little.
    """
    space = model.space()
    prior = prior_of(model, lesson.reason).log(space)
    joint = prior + combined(model, log_terms(model, space, [Seen(*one) for one in lesson.evidence.items()]))
    holds = consistent(space, lesson.faults)
    given_right = logsumexp(joint[holds]) - logsumexp(prior[holds])
    given_wrong = logsumexp(joint) - logsumexp(prior)
    odds = RIGHT / (1 - RIGHT) * math.exp(min(max(given_right - given_wrong, -50.0), 50.0))
    return Reading(odds / (1 + odds), _kinds(space, holds, joint, lesson.faults))


def _kinds(space: Space, holds: Flags, joint: Floats, faults: FaultSet) -> Shares:
    p = np.exp(joint[holds] - logsumexp(joint[holds]))
    found: dict[str, dict[str, float]] = {}
    for (fault, kind), mask in space.of_kind.items():
        if fault in faults and (part := float(p[mask[holds]].sum())) >= LEAST_PART:
            found.setdefault(fault, {})[kind] = part
    whole = {fault: sum(own.values()) for fault, own in found.items()}
    return {fault: {kind: part / whole[fault] for kind, part in own.items()} for fault, own in found.items()}


def consistent(space: Space, faults: FaultSet) -> Flags:
    """The hypotheses that hold just these faults, or, of more than a space holds, some of them and no other."""
    same = np.array([one == faults for one in space.hypotheses])
    return same if same.any() else np.array([bool(one) and one <= faults for one in space.hypotheses])


def chance_right(model: Model, lesson: Lesson) -> float:
    """P(the finding is right | its evidence)."""
    return reading_of(model, lesson).right


def weight_of(model: Model, lesson: Lesson) -> float:
    """As how many vehicles a lesson counts that stands alone."""
    return weights_of(model, [lesson], [reading_of(model, lesson)])[0]


def weights_of(model: Model, lessons: Sequence[Lesson], read: Sequence[Reading]) -> list[float]:
    """As how many vehicles each lesson counts: the chance that it is right, or less where that would move too much.

    How far one job moves hangs on what the others have added to the same counts: of a fault that many jobs had, no
    single one moves much. Were each held down as if it stood alone, rare faults would stay rarer than they come,
    however many jobs had them. Weights rise from those of lessons that stand alone until none rises any more.
    """
    most = [one.right for one in read]
    stakes = [stakes_of(model, lesson, one.kinds) for lesson, one in zip(lessons, read, strict=True)]
    weights = [capped(high, own) for high, own in zip(most, stakes, strict=True)]
    for _ in range(ROUNDS):
        added: dict[Key, float] = {}
        for weight, own in zip(weights, stakes, strict=True):
            for one in own:
                added[one.key] = added.get(one.key, 0.0) + weight * one.part
        raised = [
            high if weight >= high else capped(high, own, _beside(added, weight, own))
            for weight, high, own in zip(weights, most, stakes, strict=True)
        ]
        grown = max(new - old for new, old in zip(raised, weights, strict=True))
        weights = raised
        if grown < CLOSE:
            break
    return weights


def _beside(added: Mapping[Key, float], weight: float, own: Sequence[Stake]) -> dict[Key, float]:
    """What all other lessons have added to the counts of one."""
    return {one.key: added[one.key] - weight * one.part for one in own}


class Stake(NamedTuple):
    """A count that a lesson is added to: its key, how much it weighs in the odds, and what the packaged figures count
    for there, in vehicles.

    The key names reason and fault, fault and kind, or item, row and state. `part`: how much of the lesson is added;
    `of`: the kind of a fault that alone is moved by it, None where others are too.
    """

    key: Key
    counted: float
    worth: float
    part: float = 1.0
    of: Kind | None = None


def stakes_of(model: Model, lesson: Lesson, kinds: Shares) -> list[Stake]:
    """The counts that a lesson is added to: its priors, the shares of its kinds, its states in their rows."""
    comes, shares = marginals(space_of(), prior_of(model, lesson.reason)), model.shares
    found = [
        Stake((lesson.reason, name), 1.0, PRIOR_JOBS * comes[name]) for name in sorted(lesson.faults) or [HEALTHY]
    ]
    for fault, own in kinds.items():
        found += [
            Stake((fault, kind), 1.0, KIND_JOBS * shares[fault][kind], part, (fault, kind))
            for kind, part in own.items()
        ]
    counted = exponents(model, [name for name in lesson.evidence if name in model.items])
    for one in added_by(model, lesson, kinds):
        item = model.items[one.item]
        fault, _, kind = one.row.partition("/")
        worth = HEALTHY_JOBS if one.row == HEALTHY else ROW_JOBS * (shares[fault][kind] if kind else 1.0)
        p = float(row_of(item, one.row)[item.states.index(one.state)])
        of = (fault, kind) if kind else None
        found.append(Stake((one.item, one.row, one.state), counted[one.item], worth * p, one.part, of))
    return found


def capped(most: float, stakes: Sequence[Stake], beside: Mapping[Key, float] | None = None) -> float:
    """The weight up to `most` at which a lesson moves no more than `MOST_SHIFT` allows.

    `beside`: what other lessons have added to the same counts, by key.
    """
    now = [one._replace(worth=one.worth + (beside or {}).get(one.key, 0.0)) for one in stakes]
    if shift_of(now, most) <= MOST_SHIFT:
        return most
    from scipy.optimize import brentq  # dear to import, and seldom needed

    return float(brentq(lambda weight: shift_of(now, weight) - MOST_SHIFT, 0.0, most))


def shift_of(stakes: Sequence[Stake], weight: float) -> float:
    """How far a lesson of a weight moves log-odds: the state that was seen against the row's other states.

    (a p + w) / (a + w) / p over a / (a + w) is 1 + w / (a p), for a row worth a. A fault is in one kind at a time: of
    its kinds the one that is moved furthest counts.
    """
    each: dict[Kind | None, float] = {}
    for one in stakes:
        each[one.of] = each.get(one.of, 0.0) + one.counted * math.log1p(weight * one.part / one.worth)
    furthest: dict[str, float] = {}
    for of, moved in each.items():
        name = "" if of is None else of[0]
        furthest[name] = max(furthest.get(name, 0.0), moved)
    return sum(furthest.values())


# --- what was moved ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MovedPrior:
    """How often a fault (or 'none', 'other') comes for a reason, before learning and now."""

    reason: str
    fault: str
    before: float
    now: float


@dataclass(frozen=True)
class MovedRow:
    """The chance of a state of an item given a fault ('none': nothing wrong; or 'fault/kind'), before learning and
    now."""

    item: str
    state: str
    fault: str
    before: float
    now: float


@dataclass(frozen=True)
class MovedShare:
    """The share of a kind of a fault, before learning and now."""

    fault: str
    kind: str
    before: float
    now: float


def moved_priors(before: Model, now: Model) -> list[MovedPrior]:
    """Every prior that learning moved, the furthest first."""
    space = space_of()
    found = []
    for reason in REASONS:
        old, new = (marginals(space, prior_of(model, reason)) for model in (before, now))
        found += [MovedPrior(reason, name, old[name], new[name]) for name in old if old[name] != new[name]]
    return sorted(found, key=lambda one: -abs(one.now - one.before))


def moved_rows(before: Model, now: Model) -> list[MovedRow]:
    """Every chance of evidence that learning moved, the furthest first."""
    found = []
    for name, item in before.items.items():
        moved = rows_of(now.items[name])
        for row, old in rows_of(item).items():
            pairs = zip(item.states, old.tolist(), moved[row].tolist(), strict=True)
            found += [MovedRow(name, state, row, a, b) for state, a, b in pairs if a != b]
    return sorted(found, key=lambda one: -abs(one.now - one.before))


def moved_shares(before: Model, now: Model) -> list[MovedShare]:
    """Every share of a kind that learning moved, the furthest first."""
    after = now.shares
    found = [
        MovedShare(fault, kind, old, after[fault][kind])
        for fault, own in before.shares.items()
        for kind, old in own.items()
        if old != after[fault][kind]
    ]
    return sorted(found, key=lambda one: -abs(one.now - one.before))
