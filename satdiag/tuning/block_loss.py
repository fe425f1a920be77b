"""How often a title's block is lost on the way, from the times to title: a posterior on a grid.

A title is repeated every P seconds. After a fixed time t0 (tuning, decoding) the first repetition comes at a random
phase, and each is received with probability 1 - e: T = t0 + U + P (G - 1), U uniform on (0, P), G geometric(1 - e).
Hence S(t) = e^m (1 - (1 - e) r) with t - t0 = (m + r) P, m whole. The steps of S tell P, their heights tell e. All
three are unknown; where the times do not tell loss from slow repetition the answer is None. Of two groups of changes
(reception good and bad) t0 and P are the same and e is not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.language import tell, tell_many
from satdiag.tuning.delays import Delays

Floats = NDArray[np.float64]

FEWEST_TITLES = 12
"""Fewer titles than this fit any mixture of loss and period (judgement, no source)."""

WIDEST_INTERVAL = 0.5
"""A 90 % interval wider than this says little more than the prior, whose own is 0.88 wide (judgement, no source)."""

TITLE_BLOCKS = 1
"""Blocks that carry one title; a few dozen letters fit into one block (judgement, no source)."""

HAND_S = 0.3
"""How far a mark set by a hand may lie from what was seen (judgement, no source)."""

FINE_S = 0.1
"""Delays closer together than this are taken together, to save time; far below `HAND_S`."""

# Prior: t0 uniform, P uniform in its logarithm, e uniform; the cells' midpoints (judgement, no source).
_T0_STEPS = np.arange(0, 101, 2)  # in FINE_S: 0 to 10 s
_PERIOD_S = np.exp(np.linspace(np.log(1.0), np.log(60.0), 48))
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


@dataclass(frozen=True, eq=False)
class TwoLosses:
    """The block loss of two groups of changes, and the probability that the first loses more than the second."""

    first: LossPosterior
    second: LossPosterior
    p_first_more: float


def carousel_survival(after_s: Floats, period_s: Floats, loss: Floats) -> NDArray[np.float32]:
    """P(a title takes longer than `after_s` from t0 on), shapes (k,), (p,) and (e,) giving (k, p, e).

    In short floats: exact enough here, and half the work.
    """
    passes = np.maximum(after_s, 0.0)[:, None] / period_s
    whole = np.floor(passes)
    powers = (loss ** np.arange(int(whole.max()) + 1)[:, None]).astype(np.float32)
    part = (passes - whole).astype(np.float32)[:, :, None]
    return np.asarray(powers[whole.astype(np.int64)] * (1.0 - (1.0 - loss).astype(np.float32) * part))


def loss_posterior(likelihoods: Sequence[Floats]) -> LossPosterior:
    """The posterior of one block loss that all the groups share."""
    total = np.sum(likelihoods, axis=0)
    return _marginal(np.exp(total - total.max()).sum(axis=0))


def two_losses(one: Floats, two: Floats) -> TwoLosses:
    """The block losses of two groups that have t0 and the period in common, from their likelihoods."""
    best_one, best_two = one.max(axis=1, keepdims=True), two.max(axis=1, keepdims=True)
    weight = np.exp(best_one + best_two - (best_one + best_two).max())
    joint = np.einsum("ci,cj->ij", weight * np.exp(one - best_one), np.exp(two - best_two))
    joint /= joint.sum()
    more = float(np.tril(joint, -1).sum() + np.trace(joint) / 2.0)
    return TwoLosses(_marginal(joint.sum(axis=1)), _marginal(joint.sum(axis=0)), more)


def _marginal(weights: Floats) -> LossPosterior:
    return LossPosterior(1.0 - (1.0 - _LOSS) ** (1.0 / TITLE_BLOCKS), weights / weights.sum())


def loss_likelihoods(groups: Sequence[Delays], resolution_s: float) -> list[Floats]:
    """The log-likelihood of each group of times to title (seconds, censored, timed in steps of `resolution_s`).

    Over (t0 and P, e), shape (51 * 48, 33).
    It depends on a delay less t0 alone, so each difference is worked out once and counted by t0.
    """
    window = round(max(resolution_s, HAND_S) / FINE_S)
    steps = [np.round(group.duration_s / FINE_S).astype(np.int64) for group in groups]
    totals = [np.zeros((len(_T0_STEPS), len(_PERIOD_S) * len(_LOSS))) for _ in groups]
    for came in (True, False):
        kept = [step[group.came == came] for step, group in zip(steps, groups, strict=True)]
        after = np.unique(np.concatenate(kept)[:, None] - _T0_STEPS)
        if not len(after):
            continue
        p = _survival(after - window) - _survival(after + window) if came else _survival(after)
        table = np.log(np.maximum(p, _SMALLEST)).reshape(len(after), -1)
        # einsum and not @: so small a product is slower with the threads that @ starts on a busy machine
        sums = [np.einsum("ta,ac->tc", _counts(step, after), table) for step in kept]
        totals = [total + part for total, part in zip(totals, sums, strict=True)]
    return [total.reshape(len(_T0_STEPS) * len(_PERIOD_S), len(_LOSS)) for total in totals]


def _survival(steps: NDArray[np.int64]) -> NDArray[np.float32]:
    """S at whole steps of `FINE_S` after t0, shape (steps, 48, 33)."""
    return carousel_survival(np.asarray(steps * FINE_S, dtype=float), _PERIOD_S, _LOSS)


def _counts(steps: NDArray[np.int64], after: NDArray[np.int64]) -> NDArray[np.float32]:
    """How often each of the differences `after` occurs for each t0, shape (51, differences)."""
    counts = np.zeros((len(_T0_STEPS), len(after)), dtype=np.float32)
    rows = np.broadcast_to(np.arange(len(_T0_STEPS))[:, None], (len(_T0_STEPS), len(steps)))
    np.add.at(counts, (rows, np.searchsorted(after, steps[None, :] - _T0_STEPS[:, None])), 1.0)
    return counts


def block_loss(titles: Delays, resolution_s: float) -> tuple[float, tuple[float, float]] | str:
    """The posterior median and 90 % interval of the block loss, or a sentence that says why there is none."""
    if why := why_no_loss(int(titles.came.sum())):
        return why
    return loss_figures(loss_posterior(loss_likelihoods([titles], resolution_s)))


def why_no_loss(came: int) -> str:
    """Why so many titles give no block loss; empty if they may."""
    if came >= FEWEST_TITLES:
        return ""
    if not came:
        return tell("no title came, {needed} are needed: block loss not computed", needed=FEWEST_TITLES)
    return tell_many(
        "only {n} title came, {needed} are needed: block loss not computed",
        "only {n} titles came, {needed} are needed: block loss not computed",
        came,
        needed=FEWEST_TITLES,
    )


def loss_figures(posterior: LossPosterior) -> tuple[float, tuple[float, float]] | str:
    """Median and 90 % interval of a posterior, or a sentence if it is too wide to be of use."""
    low, high = posterior.interval_90
    if high - low > WIDEST_INTERVAL:
        return tell("the times to title do not tell lost blocks from slow repetition: block loss not computed")
    return posterior.quantile(0.5), (low, high)
