"""How often a title's block is lost on the way, from the times to title: a posterior on a grid.

A title is repeated every P seconds. After a fixed time t0 (tuning, decoding) the first repetition comes at a random
phase, and each is received with probability 1 - e: T = t0 + U + P (G - 1), U uniform on (0, P), G geometric(1 - e).
Hence S(t) = e^m (1 - (1 - e) r) with t - t0 = (m + r) P, m whole. The steps of S tell P, their heights tell e. All
three are unknown; where the times do not tell loss from slow repetition the answer is None.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.tuning.attempts import Delays

Floats = NDArray[np.float64]

FEWEST_TITLES = 12
"""Fewer titles than this fit any mixture of loss and period (judgement, no source)."""

WIDEST_INTERVAL = 0.5
"""A 90 % interval wider than this says little more than the prior, whose own is 0.88 wide (judgement, no source)."""

TITLE_BLOCKS = 1
"""Blocks that carry one title; a few dozen letters fit into one block (judgement, no source)."""

HAND_S = 0.3
"""How far a mark set by a hand may lie from what was seen (judgement, no source)."""

# Prior: t0 uniform, P uniform in its logarithm, e uniform; the cells' midpoints (judgement, no source).
_T0_S = np.linspace(0.0, 10.0, 41)
_LOG_PERIOD = np.linspace(np.log(1.0), np.log(60.0), 48)
_LOSS = (np.arange(33) + 0.5) / 33 * 0.98
_SMALLEST = 1e-9


@dataclass(frozen=True, eq=False)
class LossPosterior:
    """The marginal posterior of the block loss over cells of equal width, shape (k,)."""

    loss: Floats
    weights: Floats

    def quantile(self, share: float) -> float:
        """The block loss below which `share` of the posterior lies."""
        half = (self.loss[1] - self.loss[0]) / 2.0
        edges = np.append(self.loss - half, self.loss[-1] + half)
        return float(np.interp(share, np.concatenate([[0.0], np.cumsum(self.weights)]), edges))

    @property
    def interval_90(self) -> tuple[float, float]:
        """The 5 % and the 95 % quantile."""
        return self.quantile(0.05), self.quantile(0.95)


def carousel_survival(after_s: Floats, period_s: Floats, loss: Floats) -> Floats:
    """P(a title takes longer than `after_s` from t0 on); shapes broadcast."""
    passes = np.maximum(after_s, 0.0) / period_s
    whole = np.floor(passes)
    return np.asarray(loss**whole * (1.0 - (1.0 - loss) * (passes - whole)))


def loss_posterior(titles: Delays, resolution_s: float) -> LossPosterior:
    """The posterior of the block loss from times to title (seconds, censored) timed in steps of `resolution_s`."""
    window_s = max(resolution_s, HAND_S)
    period_s, loss = np.exp(_LOG_PERIOD)[None, :, None], _LOSS[None, None, :]
    t0_s = _T0_S[:, None, None]
    total = np.zeros((len(_T0_S), len(_LOG_PERIOD), len(_LOSS)))
    rounded = np.round(titles.duration_s / FINE_S) * FINE_S
    pairs, counts = np.unique(np.stack([titles.came, rounded], axis=1), axis=0, return_counts=True)
    for (came, delay_s), count in zip(pairs, counts, strict=True):
        if came:
            before = carousel_survival(delay_s - window_s - t0_s, period_s, loss)
            p = before - carousel_survival(delay_s + window_s - t0_s, period_s, loss)
        else:
            p = carousel_survival(delay_s - t0_s, period_s, loss)
        total += count * np.log(np.maximum(p, _SMALLEST))
    weights = np.exp(total - total.max()).sum(axis=(0, 1))
    return LossPosterior(1.0 - (1.0 - _LOSS) ** (1.0 / TITLE_BLOCKS), weights / weights.sum())


FINE_S = 0.05
"""Delays closer together than this are taken together, to save time; far below `HAND_S`."""


def block_loss(titles: Delays, resolution_s: float) -> tuple[float, tuple[float, float]] | str:
    """The posterior median and 90 % interval of the block loss, or a sentence that says why there is none."""
    came = int(titles.came.sum())
    if came < FEWEST_TITLES:
        return f"only {came} titles came, {FEWEST_TITLES} are needed: block loss not computed"
    posterior = loss_posterior(titles, resolution_s)
    low, high = posterior.interval_90
    if high - low > WIDEST_INTERVAL:
        return "the times to title do not tell lost blocks from slow repetition: block loss not computed"
    return posterior.quantile(0.5), (low, high)
