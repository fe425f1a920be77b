"""Closed jobs of a fleet as counts, and how much the packaged priors count for beside them (empirical Bayes).

For one reason the faults found are Dirichlet-multinomial about the packaged shares: n jobs, shares p_c, strength A,
log P = log G(A) - log G(A + n) + sum of log G(A p_c + n_c) - log G(A p_c) (G the gamma function; Minka 2000,
Estimating a Dirichlet distribution). The A that makes all reasons' counts likeliest together is small where the fleet
differs from the packaged figures, and large where it is like them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy import optimize, special

from satdiag.diagnosis.counts import FaultCounts, marginals, prior_of
from satdiag.diagnosis.counts import counts_of as counted
from satdiag.diagnosis.learning import PRIOR_JOBS, consistent, reading_of, weights_of
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.pooled import NAMES
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.weighing import combined, log_terms
from satdiag.fleet.pool_jobs import Closed
from satdiag.fleet.pool_normal import Floats
from satdiag.vocabulary import REASONS

LEAST_STRENGTH, MOST_STRENGTH = 20.0, 2000.0
FEWEST_FOR_STRENGTH = 30
"""With fewer closed jobs the strength of single lessons stands: so few tell nothing of how unlike the fleet is."""

Table = Sequence[tuple[Floats, Floats]]
"""For each reason the packaged shares and the counts, in the order of NAMES."""


def log_marginal(strength: float, table: Table) -> float:
    """log P(which job had which fault | strength), the order of the jobs given."""
    total = 0.0
    for shares, counts in table:
        number = counts.sum()
        prior = strength * shares
        total += special.gammaln(strength) - special.gammaln(strength + number)
        total += float(np.sum(special.gammaln(prior + counts) - special.gammaln(prior)))
    return float(total)


def strength_of(model: Model, lessons: Sequence[Lesson]) -> float:
    """In vehicles, what the packaged priors count for; jobs of several faults at once do not help to choose it."""
    single = [lesson for lesson in lessons if len(lesson.faults) < 2]
    if len(single) < FEWEST_FOR_STRENGTH:
        return PRIOR_JOBS
    table = [(_shares(model, reason), _counts_of(single, reason)) for reason in REASONS]
    return likeliest_strength([one for one in table if one[1].sum()])


def likeliest_strength(table: Table) -> float:
    """The strength that makes the counts likeliest, within bounds."""
    bounds = float(np.log(LEAST_STRENGTH)), float(np.log(MOST_STRENGTH))
    found = optimize.minimize_scalar(
        lambda log_strength: -log_marginal(float(np.exp(log_strength)), table), bounds=bounds, method="bounded"
    )
    tried = [float(np.exp(found.x)), LEAST_STRENGTH, MOST_STRENGTH]
    return max(tried, key=lambda strength: log_marginal(strength, table))


def _shares(model: Model, reason: str) -> Floats:
    comes = marginals(space_of(), prior_of(model, reason))
    shares = np.array([comes[name] for name in NAMES])
    return np.asarray(shares / shares.sum())


def _counts_of(lessons: Sequence[Lesson], reason: str) -> Floats:
    found = [next(iter(lesson.faults), "none") for lesson in lessons if lesson.reason == reason]
    return np.array([found.count(name) for name in NAMES], dtype=float)


def counts_of(model: Model, lessons: Sequence[Lesson]) -> FaultCounts | None:
    """All closed jobs as counts, each with its weight beside the others; None without any."""
    if not lessons:
        return None
    read = [reading_of(model, lesson) for lesson in lessons]
    weights = weights_of(model, lessons, read)
    return counted(model, lessons, weights, [one.kinds for one in read], strength_of(model, lessons))


def log_scores(model: Model, jobs: Sequence[Closed]) -> Floats:
    """log P(just what was found | what had been seen) of each job, by a model.

    The prior is that of the job's reason; what the job sheet says of the parts is not in the data set.
    """
    space = model.space()
    scores = []
    priors: Mapping[str, Floats] = {reason: prior_of(model, reason).log(space) for reason in REASONS}
    for job in jobs:
        joint = priors[job.lesson.reason] + combined(model, log_terms(model, space, job.seen))
        holds = consistent(space, job.lesson.faults)
        scores.append(float(special.logsumexp(joint[holds]) - special.logsumexp(joint)))
    return np.array(scores)
