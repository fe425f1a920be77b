"""What changes are held against: common practice, or this vehicle's own changes at earlier visits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import bdtr

from satdiag.tuning.delays import Delays
from satdiag.tuning.kaplan_meier import kaplan_meier, quantile_s
from satdiag.tuning.slowness import (
    BASELINE_S,
    SLOW_MEDIAN_S,
    SLOW_RATIO,
    SlownessPosterior,
    p_slower,
    slowness_posterior,
)

BASELINE_SHARE = 0.9
"""The line lies where nine in ten changes of the baseline are done."""

SURE_LINE = 0.95
"""How sure the line lies above the true 90 % quantile of an own baseline."""

WELL_BELOW = 0.1
"""Earlier changes serve as a baseline only where they were themselves this unlikely to be slow (judgement)."""


@dataclass(frozen=True, eq=False)
class Baseline:
    """What changes to audio are held against.

    `median_s`: the usual time (of common practice the upper end); `slow_s`: a median above it is slow; `line_s`: at
    most one change in ten takes longer while all is well; `posterior`: of the earlier median, None for common
    practice.
    """

    from_: Literal["common practice", "earlier visit"]
    median_s: float
    slow_s: float
    line_s: float
    posterior: SlownessPosterior | None = None


COMMON = Baseline("common practice", BASELINE_S[1], SLOW_MEDIAN_S, SLOW_MEDIAN_S)
"""1.5-2 s to audio (common practice, no source). With the middle of that and the usual spread of `SlownessPrior` the
90 % quantile is 1.73 exp(0.4 z) = 2.9 s, so the line of a slow median serves as the line of one change too."""


def upper_quantile_rank(n: int, share: float = BASELINE_SHARE, sure: float = SURE_LINE) -> int | None:
    """The rank (1 to n) of the smallest order statistic that lies at or above the quantile with probability `sure`.

    X(k) >= q unless k or more of n lie below q, so P = P(binomial(n, share) <= k - 1). None: n is too small for it
    (for 90 % and 0.95 below 29). David and Nagaraja, Order Statistics, 3rd ed. (2003), section 7.1.
    """
    reached = np.flatnonzero(bdtr(np.arange(n, dtype=float), n, share) >= sure)
    return int(reached[0]) + 1 if len(reached) else None


def baseline_of(earlier: Delays, resolution_s: float) -> Baseline:
    """The baseline from the delays to audio of earlier visits, or common practice where they do not serve.

    They do not serve if they are too few for a line, too many of them ended without audio, or if they were
    themselves not clearly quick enough for common practice.
    """
    rank = upper_quantile_rank(len(earlier))
    if rank is None:
        return COMMON
    line_s = float(np.sort(np.where(earlier.came, earlier.duration_s, np.inf))[rank - 1])
    median_s = quantile_s(kaplan_meier(earlier.duration_s, earlier.came), 0.5)
    if median_s is None or not np.isfinite(line_s):
        return COMMON
    posterior = slowness_posterior(earlier, resolution_s)
    if posterior.p_above(SLOW_MEDIAN_S) > WELL_BELOW:
        return COMMON
    slow_s = max(median_s * SLOW_RATIO, BASELINE_S[1])
    return Baseline("earlier visit", median_s, slow_s, max(line_s, slow_s), posterior)


def p_slow(audio: Delays, baseline: Baseline, resolution_s: float) -> float | None:
    """Posterior probability that the median time to audio is slow; None if no audio came: slow, or never?"""
    if not audio.came.any():
        return None
    if baseline.posterior is None:
        return slowness_posterior(audio, resolution_s).p_above(baseline.slow_s)
    return p_slower(audio, baseline.posterior, resolution_s)
