"""The band of a fill-in: how many channels are authorised by each exposure, given what was seen and what may come."""

from __future__ import annotations

import numpy as np

from satdiag.entitlement.families import Array
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.futures import LEVELS, Counts, Futures

DRAWS = 400
POINTS = 61
CELLS = POINTS + 1
"""Stretches between the points, with all before the first and all beyond the last."""

MANY = 4000
"""Arrivals above which those between the same points are placed together."""


def band_of(
    fill: FillIn, futures: Futures, account_dead: float, rng: np.random.Generator
) -> tuple[Array, list[Array]]:
    """Exposures, and median, 5 % and 95 % quantile of the channels authorised by each of them."""
    later_s, stands_for = futures.some(DRAWS)
    draws = len(later_s)
    exposure_s = np.linspace(0.0, _end_s(fill, later_s, stands_for), POINTS)
    counts: Array = _placed(fill, exposure_s, draws, rng) + _in_cells(later_s, stands_for, exposure_s)
    held: Array = np.searchsorted(np.sort(fill.held_s), exposure_s, side="right").astype(np.float64)
    held = held + float(fill.held_before)
    authorised: Array = held + np.cumsum(counts[:, :POINTS], axis=1)
    return exposure_s, list(quantiles_with_floor(authorised, account_dead, held))


def _end_s(fill: FillIn, later_s: Array, stands_for: Counts) -> float:
    """Where the band ends: when most of what comes has come, but not far beyond now."""
    comes = np.isfinite(later_s)
    finite, weight = later_s[comes], stands_for[comes]
    reach_s = 0.0
    if len(finite):
        many = bool((weight != 1).any())
        reach_s = _weighted_quantile(finite, weight, 0.9) if many else float(np.quantile(finite, 0.9))
    last_s = float(fill.seen_upper_s.max(initial=0.0))
    return max(min(reach_s, 3.0 * fill.now_s + 600.0), 1.1 * fill.now_s, last_s, 60.0)


def _weighted_quantile(values: Array, weight: Counts, level: float) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(reached, level * reached[-1])])


def _in_cells(arrival_s: Array, stands_for: Counts, exposure_s: Array) -> Array:
    """How many arrive in each cell: shape (draws, CELLS)."""
    draws = len(arrival_s)
    at = np.repeat(np.arange(draws), arrival_s.shape[1]) * CELLS + np.searchsorted(exposure_s, arrival_s.ravel())
    counts: Array = np.bincount(at, stands_for.ravel(), minlength=draws * CELLS).astype(np.float64)
    return counts.reshape(draws, CELLS)


def _placed(fill: FillIn, exposure_s: Array, draws: int, rng: np.random.Generator) -> Array:
    """How many of the arrivals that were seen fall into each cell, each anywhere within its interval."""
    first_s = np.maximum(fill.seen_lower_s, 0.0)
    if fill.arrivals > MANY:
        return _placed_together(first_s, fill.seen_upper_s, exposure_s, draws, rng)
    place = rng.random((draws, fill.arrivals))
    arrival_s = first_s + place * (fill.seen_upper_s - first_s)
    return _in_cells(arrival_s, np.ones(arrival_s.shape, dtype=np.intp), exposure_s)


def _placed_together(first_s: Array, last_s: Array, exposure_s: Array, draws: int, rng: np.random.Generator) -> Array:
    """The same for very many: intervals that reach from one cell to the same other one are multinomial together.

    Their chances are those of the mean interval. The mean of the counts is exact; they scatter a little more, since
    intervals within a group are not equal. An interval without width is where it is: nothing was listened within it.
    """
    left = np.searchsorted(exposure_s, first_s, side="right")
    right = np.searchsorted(exposure_s, last_s)
    pair, group, count = np.unique(left * CELLS + right, return_inverse=True, return_counts=True)
    edges = np.concatenate([[-np.inf], exposure_s, [np.inf]])
    width_s = last_s - first_s
    is_wide = width_s > 0.0
    chance = np.empty((len(pair), CELLS))
    for cell in range(CELLS):
        inside = np.minimum(last_s, edges[cell + 1]) - np.maximum(first_s, edges[cell])
        share = np.where(is_wide, np.maximum(inside, 0.0) / np.where(is_wide, width_s, 1.0), right == cell)
        chance[:, cell] = np.bincount(group, share, len(pair))
    counts = np.zeros((draws, CELLS))
    for number, chances in zip(count.tolist(), chance, strict=True):
        counts += rng.multinomial(number, chances / chances.sum(), draws)
    return counts


def quantiles_with_floor(values: Array, p_floor: float, floor: Array | float) -> Array:
    """Quantiles at LEVELS of draws (first axis) mixed with an atom of `p_floor` at a value that none undercuts."""
    levels = [(level - p_floor) / (1.0 - p_floor) if level > p_floor else 0.0 for level in LEVELS]
    quantiles = np.quantile(values, levels, axis=0)
    at_floor = [level <= p_floor for level in LEVELS]
    for k, is_floor in enumerate(at_floor):
        if is_floor and p_floor > 0.0:
            quantiles[k] = floor
    return np.asarray(quantiles)
