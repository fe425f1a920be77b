"""How long channels take over a fleet: a prior of the typical wait for each package, by empirical Bayes.

The log wait of each job is known with an error; jobs of a package scatter about its mean, packages about one mean
(`pool_normal.py`). A job whose wait is hardly known weighs little, and one that is unlike all others stays possible:
a part of the prior is left as it was. The interval of a job allows for laws of waiting that no job of its fleet may
follow, so that the scatter comes out rather small; its upper end is what the prior takes.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from satdiag.entitlement.grid import Priors
from satdiag.entitlement.wait_prior import OPEN_SHARE, WaitPrior
from satdiag.fleet.pool_jobs import Waits
from satdiag.fleet.pool_normal import Floats, Grouped, grouped

FEWEST_JOBS = 10
"""Fewer jobs that tell of their waits are no fleet."""

FEWEST_OF_PACKAGE = 5
UNKNOWN = "\0"
"""No package is called that: what is said of a package that the fleet has not seen."""

LEAST_SD = 0.1
"""No fleet is held to be more alike than that: a tenth of the wait (judgement)."""


def waits_prior(waits: Waits) -> tuple[Grouped, dict[str, WaitPrior]] | None:
    """The fit and the priors by package, '' for any other; None with too few jobs."""
    if len(waits.log_s) < FEWEST_JOBS:
        return None
    found = grouped(waits.log_s, waits.se, waits.packages)
    number = len(waits.log_s)
    named = [group.name for group in found.groups if group.name and group.number >= FEWEST_OF_PACKAGE]
    believed = {"": found.of(UNKNOWN), **{name: found.of(name) for name in named}}
    return found, {name: WaitPrior(mean, max(sd, LEAST_SD), number) for name, (mean, sd) in believed.items()}


def log_density_before(waits: Waits) -> Floats:
    """log density of each log wait as it was measured, by the packaged prior: even between its two ends."""
    packaged = Priors()
    low, high = math.log(packaged.shortest_s), math.log(packaged.longest_s)
    inside = special.ndtr((high - waits.log_s) / waits.se) - special.ndtr((low - waits.log_s) / waits.se)
    return np.asarray(np.log(np.maximum(inside, 1e-300) / (high - low)))


def log_density(waits: Waits, priors: dict[str, WaitPrior]) -> Floats:
    """The same by pooled priors, the part that is left as it was included."""
    even = log_density_before(waits)
    chosen = [priors.get(package, priors[""]) for package in waits.packages]
    mean = np.array([one.mean_log_s for one in chosen])
    sd = np.hypot(np.array([one.sd_log for one in chosen]), waits.se)
    near = -0.5 * ((waits.log_s - mean) / sd) ** 2 - np.log(sd * math.sqrt(2.0 * math.pi))
    return np.asarray(np.logaddexp(math.log1p(-OPEN_SHARE) + near, math.log(OPEN_SHARE) + even))
