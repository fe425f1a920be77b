"""Learning from a fleet: what is believed after it, and whether that foretells jobs that it did not learn from.

Nothing is learned from a verdict: the diagnosis learns from what people found, the waits from when channels came.
Each part is judged by itself on jobs held out in turn, and is kept where the score rises by more than its own
standard error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from satdiag.diagnosis.counts import FaultCounts, moved_model
from satdiag.diagnosis.model import Model, load_model
from satdiag.diagnosis.pooled import DeadShare, Pool, id_digest
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.fleet.pool_dead import DeadOdds, dead_odds_of, dead_share, log_likelihood
from satdiag.fleet.pool_faults import counts_of, log_scores
from satdiag.fleet.pool_jobs import Closed, Waits, closed_jobs, fold_of, rows_that_teach, waits_of
from satdiag.fleet.pool_normal import Floats, Grouped
from satdiag.fleet.pool_waits import log_density, log_density_before, waits_prior

FOLDS = 5
FEWEST_SCORED = 10
"""Fewer held-out jobs show no rise."""


@dataclass(frozen=True)
class Score:
    """Mean log score of held-out jobs before and after, in nats, and the rise with its standard error."""

    jobs: int
    before: float
    after: float
    rise: float
    rise_se: float

    @property
    def rises(self) -> bool:
        """True if enough jobs show a rise beyond its standard error."""
        return self.jobs >= FEWEST_SCORED and self.rise > self.rise_se


@dataclass(frozen=True)
class Taught:
    """What a data set teaches; a part that it cannot teach is None, and so is its score."""

    closed: int
    known: frozenset[str]
    faults: FaultCounts | None
    fault_score: Score | None
    wait_jobs: int
    left_out: Mapping[str, int]
    fit: Grouped | None
    waits: Mapping[str, WaitPrior]
    wait_score: Score | None
    dead: DeadShare | None = None
    dead_score: Score | None = None

    def pool(self, anyway: bool = False) -> Pool | None:
        """What is to be kept: the parts whose score rises, or all of them; None where that is nothing."""
        faults = self.faults if anyway or (self.fault_score and self.fault_score.rises) else None
        waits = self.waits if anyway or (self.wait_score and self.wait_score.rises) else {}
        dead = self.dead if anyway or (self.dead_score and self.dead_score.rises) else None
        if faults is None and not waits and dead is None:
            return None
        scores = {
            "faults": self.fault_score if faults else None,
            "waits": self.wait_score if waits else None,
            "dead": self.dead_score if dead else None,
        }
        said = {
            name: {key: _rounded(one) for key, one in vars(score).items()} for name, score in scores.items() if score
        }
        return Pool(faults, waits, self.known if faults else frozenset(), said, dead)


def _rounded(value: float) -> float:
    return round(value, 4) if isinstance(value, float) else value


def learn(directory: Path) -> Taught:
    """What the data set of a fleet teaches. Raises SatdiagError."""
    model = load_model()
    rows = rows_that_teach(directory)
    closed, waits = closed_jobs(rows, directory, model), waits_of(rows)
    fitted = waits_prior(waits)
    faults = counts_of(model, [job.lesson for job in closed])
    odds = dead_odds_of(rows)
    dead = dead_share(odds)
    return Taught(
        closed=len(closed),
        known=frozenset(id_digest(job.lesson.job) for job in closed),
        faults=faults,
        fault_score=None if faults is None else fault_score(model, closed),
        wait_jobs=len(waits.log_s),
        left_out=waits.left_out,
        fit=None if fitted is None else fitted[0],
        waits={} if fitted is None else fitted[1],
        wait_score=None if fitted is None else wait_score(waits),
        dead=dead,
        dead_score=None if dead is None else dead_score(odds),
    )


def fault_score(model: Model, closed: list[Closed], folds: int = FOLDS) -> Score:
    """log P(what was found), of each job by a model that learned from the other folds only."""
    before = log_scores(model, closed)
    after = before.copy()
    fold = np.array([fold_of(job.lesson.job, folds) for job in closed])
    for k in range(folds):
        held = np.flatnonzero(fold == k)
        counts = counts_of(model, [job.lesson for job, own in zip(closed, fold, strict=True) if own != k])
        if len(held) and counts is not None:
            after[held] = log_scores(moved_model(model, counts), [closed[at] for at in held])
    return score_of(before, after)


def wait_score(waits: Waits, folds: int = FOLDS) -> Score:
    """log density of the measured log wait, of each job by a prior of the other folds only."""
    before = log_density_before(waits)
    after = before.copy()
    fold = np.array([fold_of(job, folds) for job in waits.jobs])
    for k in range(folds):
        held = fold == k
        found = waits_prior(waits.only((~held).tolist()))
        if held.any() and found is not None:
            after[held] = log_density(waits.only(held.tolist()), found[1])
    return score_of(before, after)


def dead_score(odds: DeadOdds, folds: int = FOLDS) -> Score:
    """log likelihood of each job's checks, beside that of a living account, by the share of the other folds only."""
    before = log_likelihood(odds.log_odds, Priors().account_dead)
    after = before.copy()
    fold = np.array([fold_of(job, folds) for job in odds.jobs])
    for k in range(folds):
        held = fold == k
        others = DeadOdds(tuple(j for j, own in zip(odds.jobs, held, strict=True) if not own), odds.log_odds[~held])
        found = dead_share(others)
        if held.any() and found is not None:
            after[held] = log_likelihood(odds.log_odds[held], found.share)
    return score_of(before, after)


def score_of(before: Floats, after: Floats) -> Score:
    """The score of jobs before and after, paired."""
    rise = after - before
    se = float(rise.std(ddof=1) / np.sqrt(len(rise))) if len(rise) > 1 else 0.0
    return Score(len(rise), float(before.mean()), float(after.mean()), float(rise.mean()), se)


def moved(counts: FaultCounts) -> dict[str, Any]:
    """What the counts move in the packaged model, the furthest first."""
    from satdiag.diagnosis.learning import moved_priors, moved_rows, moved_shares

    model = load_model()
    now = moved_model(model, counts)
    return {
        "priors": [vars(one) for one in moved_priors(model, now)],
        "kinds": [vars(one) for one in moved_shares(model, now)],
        "rows": [vars(one) for one in moved_rows(model, now)],
    }
