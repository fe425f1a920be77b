"""Are channel changes slow? The posterior of the median time to audio under a log-normal model with censoring.

log T ~ normal(log median, spread). Both parameters are unknown; their posterior is computed on a coarse grid and
again, finely, where the coarse one has its weight. Marks are timed in steps (often whole seconds), which is no small
thing beside a delay of two seconds: with both ends cut to the step r,
P(observed d) = [G(d + r) - 2 G(d) + G(d - r)] / r, where G is the integral of the distribution function.
For the log-normal G(x) = x Phi(z) - E[T] Phi(z - spread) with z = (log x - log median) / spread.

A fixed time before the log-normal part (T = t0 + ...) was tried, t0 / median integrated over 0 to 0.6: simulated with
t0 of 0.8 s and 6, 12 or 30 delays it told slow from quick no better (mean log score 0.225, 0.177 and 0.053 nats, and
without t0 0.218, 0.165 and 0.051), so there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from satdiag.tuning.delays import Delays

Floats = NDArray[np.float64]

BASELINE_S = (1.5, 2.0)
"""Time to audio after a channel change with a good signal (common practice, no source)."""

SLOW_MEDIAN_S = 3.0
"""'Slow' is a median above this: half as long again as the upper end of the baseline, which a person notices
(judgement, no source)."""

SLOW_RATIO = SLOW_MEDIAN_S / BASELINE_S[1]
"""Slow beside a vehicle's own earlier changes: half as long again."""


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


_LOG_MEDIAN_RANGE = (np.log(0.2), np.log(120.0))
_LOG_SPREAD_RANGE = (np.log(0.08), np.log(2.0))
_COARSE = (81, 21)
_FINE = (97, 25)
_LEFT_OUT = 18.0
"""Cells whose logarithm lies this far below the highest are left out of the fine grid: together below 1e-5."""
_SMALLEST = 1e-9  # a floor of each probability: rounding below it, and no single absurd mark decides alone


@dataclass(frozen=True, eq=False)
class SlownessPosterior:
    """Posterior weights over (log median, log spread), shape (m, s), summing to 1."""

    log_medians: Floats
    log_spreads: Floats
    weights: Floats

    def p_above(self, median_s: float) -> float:
        """Posterior probability that the median delay is longer than `median_s`."""
        return float(self.p_log_above(np.log([median_s]))[0])

    def p_log_above(self, log_median: Floats) -> Floats:
        """Posterior probability that the log median is above the values given, any shape."""
        edges = _edges(self.log_medians)
        below = np.concatenate([[0.0], np.cumsum(self.weights.sum(axis=1))])
        return np.asarray(1.0 - np.interp(log_median, edges, below, left=0.0, right=1.0)).clip(0.0, 1.0)

    def mean_log_median(self) -> float:
        """Posterior mean of the log median."""
        return float(self.weights.sum(axis=1) @ self.log_medians)


def _edges(points: Floats) -> Floats:
    half = (points[1] - points[0]) / 2.0
    return np.append(points - half, points[-1] + half)


def slowness_posterior(delays: Delays, resolution_s: float, prior: SlownessPrior | None = None) -> SlownessPosterior:
    """The posterior from delays in seconds whose marks are timed in steps of `resolution_s`."""
    prior = prior or SlownessPrior()
    medians = np.linspace(*_LOG_MEDIAN_RANGE, _COARSE[0])
    spreads = np.linspace(*_LOG_SPREAD_RANGE, _COARSE[1])
    coarse = _log_posterior(medians, spreads, delays, resolution_s, prior)
    kept = coarse > coarse.max() - _LEFT_OUT
    medians = _zoomed(medians, kept.any(axis=1), _FINE[0])
    spreads = _zoomed(spreads, kept.any(axis=0), _FINE[1])
    fine = _log_posterior(medians, spreads, delays, resolution_s, prior)
    weights = np.exp(fine - fine.max())
    return SlownessPosterior(medians, spreads, weights / weights.sum())


def p_slower(now: Delays, base: SlownessPosterior, resolution_s: float) -> float:
    """Posterior probability that the median is `SLOW_RATIO` times the one before (`base`) and above common practice.

    The prior of the median now lies around the one before. Common practice stays a floor: a change of less than
    `BASELINE_S[1]` is not slow for anybody, however quick it was before.
    """
    centred = SlownessPrior(log_median=base.mean_log_median())
    limits = np.maximum(base.log_medians + np.log(SLOW_RATIO), np.log(BASELINE_S[1]))
    chances = slowness_posterior(now, resolution_s, centred).p_log_above(limits)
    return float(base.weights.sum(axis=1) @ chances)


def _zoomed(points: Floats, kept: NDArray[np.bool_], count: int) -> Floats:
    """Points spread finely over those kept and one more step on either side."""
    at = np.flatnonzero(kept)
    return np.linspace(points[max(at[0] - 1, 0)], points[min(at[-1] + 1, len(points) - 1)], count)


def _log_posterior(
    log_medians: Floats, log_spreads: Floats, delays: Delays, resolution_s: float, prior: SlownessPrior
) -> Floats:
    log_median, log_spread = log_medians[:, None], log_spreads[None, :]
    total = _normal_log(log_median, prior.log_median, prior.log_median_sd)
    total = total + _normal_log(log_spread, prior.log_spread, prior.log_spread_sd)
    steps = np.round(delays.duration_s / resolution_s).astype(np.int64)
    known: dict[int, Floats] = {}

    def integral(step: int) -> Floats:
        if step not in known:
            known[step] = _integrated_cdf(step * resolution_s, log_median, log_spread)
        return known[step]

    for step, count in _counted(steps[delays.came]):
        p = _p_seen(integral(step - 1), integral(step), integral(step + 1), resolution_s)
        total = total + count * np.log(np.maximum(p, _SMALLEST))
    for step, count in _counted(steps[~delays.came]):
        total = total + count * np.log(np.maximum(_p_later(step * resolution_s, log_median, log_spread), _SMALLEST))
    return np.asarray(total)


def _normal_log(x: Floats, mean: float, sd: float) -> Floats:
    return -0.5 * ((x - mean) / sd) ** 2


def _counted(steps: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Distinct delays, in steps, and how often each occurs: marks in whole seconds repeat a lot."""
    distinct, counts = np.unique(steps, return_counts=True)
    return list(zip(distinct.tolist(), counts.tolist(), strict=True))


def _p_later(delay_s: float, log_median: Floats, log_spread: Floats) -> Floats:
    """P(T > delay)."""
    if delay_s <= 0:
        return np.ones(np.broadcast_shapes(log_median.shape, log_spread.shape))
    return np.asarray(ndtr((log_median - np.log(delay_s)) / np.exp(log_spread)))


def _p_seen(before: Floats, at: Floats, after: Floats, resolution_s: float) -> Floats:
    """P(delay as observed) with both marks cut to the resolution, from G one step before, at, and after the delay."""
    return (after - 2.0 * at + before) / resolution_s


def _integrated_cdf(x_s: float, log_median: Floats, log_spread: Floats) -> Floats:
    if x_s <= 0:
        return np.zeros(np.broadcast_shapes(log_median.shape, log_spread.shape))
    spread = np.exp(log_spread)
    z = (np.log(x_s) - log_median) / spread
    return np.asarray(x_s * ndtr(z) - np.exp(log_median + spread**2 / 2.0) * ndtr(z - spread))
