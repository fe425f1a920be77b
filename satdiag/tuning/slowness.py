"""Are channel changes slow? The posterior of the median time to audio under a log-normal model with censoring.

log T ~ normal(log median, spread). Both parameters are unknown; their posterior is computed on a grid. Marks are
timed in steps (often whole seconds), which is no small thing beside a delay of two seconds: with both ends cut to
the step r, P(observed d) = [G(d + r) - 2 G(d) + G(d - r)] / r, where G is the integral of the distribution function.
For the log-normal G(x) = x Phi(z) - E[T] Phi(z - spread) with z = (log x - log median) / spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from satdiag.tuning.attempts import Delays

Floats = NDArray[np.float64]

BASELINE_S = (1.5, 2.0)
"""Time to audio after a channel change with a good signal (common practice, no source)."""

SLOW_MEDIAN_S = 3.0
"""'Slow' is a median above this: half as long again as the upper end of the baseline, which a person notices
(judgement, no source)."""


@dataclass(frozen=True)
class SlownessPrior:
    """The prior: log median normal around the middle of the baseline, log spread normal (judgement, no source).

    `log_median_sd` 0.6 puts about 5 % each below 0.65 s and above 4.6 s, and 18 % above `SLOW_MEDIAN_S`: jobs come
    to us because something may be wrong. A spread of 0.4 (0.13 to 1.2 at 99 %) is what most reaction and waiting
    times show.
    """

    log_median: float = float(np.log(BASELINE_S[0] * BASELINE_S[1]) / 2.0)
    log_median_sd: float = 0.6
    log_spread: float = float(np.log(0.4))
    log_spread_sd: float = 0.45


_LOG_MEDIANS = np.linspace(np.log(0.2), np.log(120.0), 321)
_LOG_SPREADS = np.linspace(np.log(0.08), np.log(2.0), 41)
_SMALLEST = 1e-9  # a floor of each probability: rounding below it, and no single absurd mark decides alone


@dataclass(frozen=True, eq=False)
class SlownessPosterior:
    """Posterior weights over (log median, log spread), shape (m, s), summing to 1."""

    log_medians: Floats
    log_spreads: Floats
    weights: Floats

    def p_above(self, median_s: float) -> float:
        """Posterior probability that the median delay is longer than `median_s`."""
        marginal = self.weights.sum(axis=1)
        edges = _edges(self.log_medians)
        below = np.concatenate([[0.0], np.cumsum(marginal)])
        return float(1.0 - np.interp(np.log(median_s), edges, below))

    def mean_log_median(self) -> float:
        """Posterior mean of the log median."""
        return float(self.weights.sum(axis=1) @ self.log_medians)


def _edges(points: Floats) -> Floats:
    half = (points[1] - points[0]) / 2.0
    return np.append(points - half, points[-1] + half)


def slowness_posterior(delays: Delays, resolution_s: float, prior: SlownessPrior | None = None) -> SlownessPosterior:
    """The posterior from delays in seconds whose marks are timed in steps of `resolution_s`."""
    prior = prior or SlownessPrior()
    log_median, log_spread = _LOG_MEDIANS[:, None], _LOG_SPREADS[None, :]
    total = _normal_log(log_median, prior.log_median, prior.log_median_sd)
    total = total + _normal_log(log_spread, prior.log_spread, prior.log_spread_sd)
    rounded = np.round(delays.duration_s / resolution_s) * resolution_s
    for came, count in _counted(rounded, delays.came):
        seen, delay_s = came
        p = (
            _p_seen(delay_s, log_median, log_spread, resolution_s)
            if seen
            else _p_later(delay_s, log_median, log_spread)
        )
        total = total + count * np.log(np.maximum(p, _SMALLEST))
    weights = np.exp(total - total.max())
    return SlownessPosterior(_LOG_MEDIANS, _LOG_SPREADS, weights / weights.sum())


def _normal_log(x: Floats, mean: float, sd: float) -> Floats:
    return -0.5 * ((x - mean) / sd) ** 2


def _counted(delay_s: Floats, came: NDArray[np.bool_]) -> list[tuple[tuple[bool, float], int]]:
    """Distinct (came, delay) pairs and how often each occurs: marks in whole seconds repeat a lot."""
    pairs, counts = np.unique(np.stack([came.astype(float), delay_s], axis=1), axis=0, return_counts=True)
    return [((bool(seen), float(delay)), int(count)) for (seen, delay), count in zip(pairs, counts, strict=True)]


def _p_later(delay_s: float, log_median: Floats, log_spread: Floats) -> Floats:
    """P(T > delay)."""
    if delay_s <= 0:
        return np.ones(np.broadcast_shapes(log_median.shape, log_spread.shape))
    return np.asarray(ndtr((log_median - np.log(delay_s)) / np.exp(log_spread)))


def _p_seen(delay_s: float, log_median: Floats, log_spread: Floats, resolution_s: float) -> Floats:
    """P(delay as observed) with both marks cut to the resolution."""
    before, at, after = (
        _integrated_cdf(max(x, 0.0), log_median, log_spread)
        for x in (delay_s - resolution_s, delay_s, delay_s + resolution_s)
    )
    return (after - 2.0 * at + before) / resolution_s


def _integrated_cdf(x_s: float, log_median: Floats, log_spread: Floats) -> Floats:
    if x_s <= 0:
        return np.zeros(np.broadcast_shapes(log_median.shape, log_spread.shape))
    spread = np.exp(log_spread)
    z = (np.log(x_s) - log_median) / spread
    return np.asarray(x_s * ndtr(z) - np.exp(log_median + spread**2 / 2.0) * ndtr(z - spread))
