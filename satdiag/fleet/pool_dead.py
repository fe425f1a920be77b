"""How often the account as a whole gives nothing, over a fleet: the share of dead accounts by empirical Bayes.

Of each job the checks alone say by what odds r its account is rather dead than alive. With the share d of dead
accounts the job has the likelihood d r + 1 - d (beside that of a living account). d is the most likely share under a
Beta prior about the packaged one, worth `PRIOR_JOBS` jobs: where checks hardly tell, it stays where it was.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize

from satdiag.diagnosis.pooled import DeadShare
from satdiag.entitlement.grid import Priors
from satdiag.fleet.pool_normal import Floats

PRIOR_JOBS = 20.0
FEWEST_JOBS = 10
"""Fewer jobs that tell are no fleet."""

TELLING_BITS = 2.0
"""From odds of four to one on, the checks of a job tell."""

LEAST, MOST = 0.001, 0.9
"""No fleet is so sound, or so dead, that a single account could not be otherwise (judgement)."""


@dataclass(frozen=True, eq=False)
class DeadOdds:
    """By what log odds (natural) the checks of each job speak for a dead account, the prior taken out."""

    jobs: tuple[str, ...]
    log_odds: Floats

    @property
    def telling(self) -> int:
        """How many of them tell."""
        return int(np.sum(np.abs(self.log_odds) >= TELLING_BITS * math.log(2.0)))


def dead_odds_of(rows: Sequence[Mapping[str, Any]]) -> DeadOdds:
    """Those of the rows of `jobs` that say so, and were not judged with a prior of other jobs."""
    kept = [row for row in rows if row["dead_account_bits"] is not None and not row["wait_prior_jobs"]]
    bits = np.array([row["dead_account_bits"] for row in kept], dtype=float)
    return DeadOdds(tuple(str(row["job"]) for row in kept), bits * math.log(2.0))


def dead_share(odds: DeadOdds) -> DeadShare | None:
    """The share that makes a fleet's checks likeliest; None with too few jobs that tell."""
    if odds.telling < FEWEST_JOBS:
        return None
    packaged = Priors().account_dead

    def against(share: float) -> float:
        prior = packaged * math.log(share) + (1.0 - packaged) * math.log1p(-share)
        return -float(log_likelihood(odds.log_odds, share).sum()) - PRIOR_JOBS * prior

    found = optimize.minimize_scalar(against, bounds=(LEAST, MOST), method="bounded", options={"xatol": 1e-6})
    return DeadShare(float(found.x), len(odds.jobs))


def log_likelihood(log_odds: Floats, share: float) -> Floats:
    """log (d r + 1 - d) of each job."""
    return np.asarray(np.logaddexp(math.log(share) + log_odds, math.log1p(-share)))
