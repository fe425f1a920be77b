"""A model moved by closed jobs: priors and evidence rows as counts, the packaged figures counting as some jobs too.

Dirichlet and beta counts (Gelman et al. 2013, ch. 3): a row of state probabilities worth `ROW_JOBS` vehicles, with
the states seen in closed jobs added; likewise how often each fault comes, by the reason why the person is there. What
was found may be wrong: each job counts with the chance that its finding is right, given how its evidence fits, and
never for more than `MOST_SHIFT` allows: rare states would else hang on a single job.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq
from scipy.special import logsumexp

from satdiag.diagnosis.inference import Posterior, Prior, scale_odds
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import Item, Model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import FaultSet, Flags, Floats, Space, space_of
from satdiag.diagnosis.weighing import combined, exponents, log_terms
from satdiag.vocabulary import FAULTS, REASONS

PRIOR_JOBS = 120.0
ROW_JOBS = 160.0
"""How many vehicles the packaged figures count for: few enough to be moved by a year's work of a shop, many enough
that one wrong finding moves little (chosen on made-up jobs; judgement)."""

HEALTHY_JOBS = 480.0
"""The same for the row of a sound vehicle: jobs of every fault that leaves an item alone teach it, so that one wrong
finding would else make a state that is all but impossible an ordinary one."""

MOST_SHIFT = 0.2
"""How far one lesson may move hypotheses against each other, in the logarithm of their odds, in the very job it was
taken from, which it moves most. Odds moved by exp(0.2) move no probability by more than tanh(0.2 / 4) = 0.05."""

RIGHT = 0.97
"""How often a finding that was written down is right (judgement, no source)."""

FIT_STEPS = 60
TOLERANCE = 1e-9


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
    weights = [weight_of(model, lesson) for lesson in ordered]
    items = {name: _moved_item(item, ordered, weights) for name, item in model.items.items()}
    moved = _with_priors(replace(model, items=items), ordered, weights)
    return Learned(moved, len(ordered), float(sum(weights)))


def weight_of(model: Model, lesson: Lesson) -> float:
    """As how many vehicles a lesson counts: the chance that it is right, or less where that would move too much."""
    most = chance_right(model, lesson)
    counts = _counts_at_stake(model, lesson)
    if _shift(counts, most) <= MOST_SHIFT:
        return most
    return float(brentq(lambda weight: _shift(counts, weight) - MOST_SHIFT, 0.0, most))


def _counts_at_stake(model: Model, lesson: Lesson) -> list[tuple[float, float]]:
    """The counts that a lesson is added to, each with how much it weighs: its states in their rows, its priors."""
    marginals = _marginals(space_of(), prior_of(model, lesson.reason))
    found = [(1.0, PRIOR_JOBS * marginals[name]) for name in lesson.faults or {"none"}]
    if not _teaches_rows(lesson):
        return found
    known = [name for name in lesson.evidence if name in model.items]
    counted = exponents(model, known)
    for name in known:
        item, fault = model.items[name], next(iter(lesson.faults), "")
        row, worth = (item.given[fault], ROW_JOBS) if fault in item.given else (item.healthy, HEALTHY_JOBS)
        found.append((counted[name], worth * float(row[item.states.index(lesson.evidence[name])])))
    return found


def _shift(counts: Sequence[tuple[float, float]], weight: float) -> float:
    """How far a lesson of a weight moves log-odds: the state that was seen against the row's other states.

    (a p + w) / (a + w) / p over a / (a + w) is 1 + w / (a p), for a row worth a.
    """
    return float(sum(counted * np.log1p(weight / count) for counted, count in counts))


def _teaches_rows(lesson: Lesson) -> bool:
    """True if what was seen belongs to one listed fault, or to none."""
    return len(lesson.faults) < 2 and "other" not in lesson.faults


def chance_right(model: Model, lesson: Lesson) -> float:
    """P(the finding is right | its evidence): a finding that the evidence flatly denies counts for little.

    RIGHT of all findings hold what was there; of the others nothing is known but the prior.
    """
    space = space_of()
    prior = prior_of(model, lesson.reason).log(space)
    terms = log_terms(model, space, [Seen(item, state) for item, state in lesson.evidence.items()])
    joint = prior + combined(model, terms)
    holds = _consistent(space, lesson.faults)
    given_right = float(logsumexp(joint[holds]) - logsumexp(prior[holds]))
    given_wrong = float(logsumexp(joint) - logsumexp(prior))
    odds = RIGHT / (1 - RIGHT) * np.exp(np.clip(given_right - given_wrong, -50, 50))
    return float(odds / (1 + odds))


def _consistent(space: Space, faults: FaultSet) -> Flags:
    """The hypotheses that hold just these faults, or, of more than a space holds, some of them and no other."""
    same = np.array([one == faults for one in space.hypotheses])
    return same if same.any() else np.array([bool(one) and one <= faults for one in space.hypotheses])


def prior_of(model: Model, reason: str) -> Prior:
    """The prior of a reason, the job sheet's other facts aside."""
    faults = {name: fault.prior[reason] for name, fault in model.faults.items()}
    return Prior(faults, model.other_prior[reason], model.none_factor[reason])


# --- what evidence looks like under a fault ----------------------------------------------------------------------


def _moved_item(item: Item, lessons: Sequence[Lesson], weights: Sequence[float]) -> Item:
    """The item's rows with the states of lessons that hold exactly one fault, or none, added."""
    counts: dict[str, dict[str, float]] = {}
    for lesson, weight in zip(lessons, weights, strict=True):
        state = lesson.evidence.get(item.name)
        if state is None or not _teaches_rows(lesson):
            continue
        fault = next(iter(lesson.faults), "")
        row = fault if fault in item.given else ""
        at = counts.setdefault(row, {})
        at[state] = at.get(state, 0.0) + weight
    given = {fault: _row(item, row, counts.get(fault)) for fault, row in item.given.items()}
    return replace(item, healthy=_row(item, item.healthy, counts.get(""), HEALTHY_JOBS), given=given)


def _row(item: Item, row: Floats, counts: Mapping[str, float] | None, worth: float = ROW_JOBS) -> Floats:
    if not counts:
        return row
    seen = np.array([counts.get(state, 0.0) for state in item.states], dtype=float)
    moved: Floats = (worth * row + seen) / (worth + seen.sum())
    return moved


# --- how often each fault comes ----------------------------------------------------------------------------------


def _with_priors(model: Model, lessons: Sequence[Lesson], weights: Sequence[float]) -> Model:
    faults = {name: dict(fault.prior) for name, fault in model.faults.items()}
    other, factor = dict(model.other_prior), dict(model.none_factor)
    for reason in REASONS:
        chosen = [(one, w) for one, w in zip(lessons, weights, strict=True) if one.reason == reason]
        if chosen:
            moved = _moved_prior(prior_of(model, reason), chosen)
            other[reason], factor[reason] = moved.other, moved.none_factor
            for name, p in moved.faults.items():
                faults[name][reason] = p
    fresh = {name: replace(fault, prior=faults[name]) for name, fault in model.faults.items()}
    return replace(model, faults=fresh, other_prior=other, none_factor=factor)


def _moved_prior(prior: Prior, chosen: Sequence[tuple[Lesson, float]]) -> Prior:
    """The prior whose marginals are the packaged ones with the lessons' counts added."""
    space = space_of()
    now = _marginals(space, prior)
    count = sum(weight for _, weight in chosen)
    seen = {name: sum(w for one, w in chosen if name in one.faults) for name in (*FAULTS, "other")}
    seen["none"] = sum(w for one, w in chosen if not one.faults)
    wanted = {name: (PRIOR_JOBS * p + seen[name]) / (PRIOR_JOBS + count) for name, p in now.items()}
    return _fitted(space, prior, wanted)


def _marginals(space: Space, prior: Prior) -> dict[str, float]:
    whole = Posterior(space, np.exp(prior.log(space)), 0.0)
    return {**whole.faults(), "none": whole.probability_of("none"), "other": whole.probability_of("other")}


def _fitted(space: Space, prior: Prior, wanted: Mapping[str, float]) -> Prior:
    """The prior with the wanted marginals, by turns: each figure's odds times what its marginal's odds lack."""
    for _ in range(FIT_STEPS):
        now = _marginals(space, prior)
        lacking = {name: _odds(wanted[name]) / _odds(now[name]) for name in wanted}
        if max(abs(np.log(part)) for part in lacking.values()) < TOLERANCE:
            break
        faults = {name: scale_odds(p, lacking[name]) for name, p in prior.faults.items()}
        other = scale_odds(prior.other, lacking["other"])
        prior = Prior(faults, other, prior.none_factor * lacking["none"])
    return prior


def _odds(p: float) -> float:
    return p / (1 - p)


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
    """The chance of a state of an item given a fault ('none': nothing wrong), before learning and now."""

    item: str
    state: str
    fault: str
    before: float
    now: float


def moved_priors(before: Model, now: Model) -> list[MovedPrior]:
    """Every prior that learning moved, the furthest first."""
    space = space_of()
    found = []
    for reason in REASONS:
        old, new = (_marginals(space, prior_of(model, reason)) for model in (before, now))
        found += [MovedPrior(reason, name, old[name], new[name]) for name in old if old[name] != new[name]]
    return sorted(found, key=lambda one: -abs(one.now - one.before))


def moved_rows(before: Model, now: Model) -> list[MovedRow]:
    """Every chance of evidence that learning moved, the furthest first."""
    found = []
    for name, item in before.items.items():
        rows = [("none", item.healthy, now.items[name].healthy)]
        rows += [(fault, row, now.items[name].given[fault]) for fault, row in item.given.items()]
        for fault, old, new in rows:
            pairs = zip(item.states, old.tolist(), new.tolist(), strict=True)
            found += [MovedRow(name, state, fault, a, b) for state, a, b in pairs if a != b]
    return sorted(found, key=lambda one: -abs(one.now - one.before))
