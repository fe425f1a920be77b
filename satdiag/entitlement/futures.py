"""Futures drawn from the posterior: which of the channels that have not come still come, and when."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from satdiag.entitlement.families import Array
from satdiag.entitlement.fill_in import FillIn, nodes_of
from satdiag.entitlement.grid import Draws
from satdiag.findings import Quantiles

Counts = npt.NDArray[np.intp]
LEVELS = (0.5, 0.05, 0.95)
NEVER_CHECKED_S = -1e9
"""Stands for -inf where exposures are interpolated."""

WAIT_NODES = 12
"""Distinct unseen exposures whose waits are computed; between them they are interpolated."""


@dataclass(frozen=True)
class Weakening:
    """What weakens the likelihood of the checks: the chance that a silent category is outside, and the dispersion."""

    outside: float = 0.0
    dispersion: float = 1.0


@dataclass(frozen=True)
class Futures:
    """Simulated futures given that the account is alive.

    `chance`: P(comes) of each unseen channel, averaged over the draws; `arrival_s`: one row a draw, in increasing
    order the exposures at which channels come, inf for never. `p_all`, `p_none`: P(all come), P(none comes), one for
    each draw. `reached`: how many channels came by each arrival, where one stands for many; None: one each.
    """

    chance: Array
    arrival_s: Array
    p_all: Array
    p_none: Array
    reached: Counts | None = None

    @property
    def coming(self) -> Counts:
        """How many channels come, one for each draw."""
        if self.reached is None:
            return np.asarray(np.isfinite(self.arrival_s).sum(axis=1))
        return self.reached[:, -1]

    def at_rank(self, draw: Counts, rank: Counts) -> Array:
        """When the `rank`-th of the channels that come (from 1 on) comes in each of these draws."""
        if self.reached is None:
            return self.arrival_s[draw, rank - 1]
        before = self.reached[draw] < rank[:, None]
        return np.asarray(self.arrival_s[draw, before.sum(axis=1)])

    def some(self, draws: int) -> tuple[Array, Counts]:
        """Arrivals of about so many of the draws, evenly spread, and how many channels each stands for."""
        step = max(len(self.arrival_s) // draws, 1)
        arrival_s = self.arrival_s[::step]
        if self.reached is None:
            return arrival_s, np.ones(arrival_s.shape, dtype=np.intp)
        return arrival_s, np.diff(self.reached[::step], axis=1, prepend=0)


def simulate(fill: FillIn, blocks: tuple[Draws, ...], weak: Weakening, rng: np.random.Generator) -> Futures:
    """Futures of all channels that have not come, one for each draw of the blocks."""
    parts = [_simulate_block(fill, block, weak, rng) for block in blocks]
    chance = np.concatenate([p.chance for p in parts]).mean(axis=0)
    arrival_s = np.concatenate([p.arrival_s for p in parts])
    arrival_s.sort(axis=1)
    p_all, p_none = (np.concatenate([getattr(p, name) for p in parts]) for name in ("p_all", "p_none"))
    return Futures(chance, arrival_s, p_all, p_none)


@dataclass(frozen=True)
class _Part:
    """Of one block, one row a draw and one column a channel: P(comes | draw), when it comes; and of the whole."""

    chance: Array
    arrival_s: Array
    p_all: Array
    p_none: Array


def own_exposure(block: Draws, exposure_s: Array) -> Array:
    """Exposures on the clock of the block, which may have begun before the log or later; -inf becomes 0."""
    return np.maximum(exposure_s + block.before_s, 0.0)


def late_of(block: Draws, exposure_s: Array) -> Array:
    """pi S(L) for each draw (rows) and exposure (columns)."""
    own_s = own_exposure(block, exposure_s)
    return block.come[:, None] * block.family.survival(own_s, block.log_scale[:, None], block.shape[:, None])


def chance_of(block: Draws, exposure_s: Array) -> Array:
    """P(comes | not by its exposure, its category not outside) for each draw (rows) and exposure (columns)."""
    come = block.come[:, None]
    if block.together:
        return np.repeat(come, len(exposure_s), axis=1)
    late = late_of(block, exposure_s)
    return np.asarray(late / (1.0 - come + late))


def outside_of(fill: FillIn, distinct_s: Array, column: np.ndarray, block: Draws, weak: Weakening) -> Array:
    """P(outside | draw) of each silent category: shape (draws, categories)."""
    groups = fill.groups
    outside = np.zeros((len(block.come), groups))
    if block.together or not groups or weak.outside <= 0.0:
        return outside
    silent = np.log(1.0 - block.come[:, None] + late_of(block, distinct_s)) / weak.dispersion
    for group in range(groups):
        count = np.bincount(column[fill.unseen_group == group], minlength=len(distinct_s))
        outside[:, group] = weak.outside / (weak.outside + (1.0 - weak.outside) * np.exp(silent @ count))
    return outside


def _simulate_block(fill: FillIn, block: Draws, weak: Weakening, rng: np.random.Generator) -> _Part:
    unseen_s = fill.unseen_s
    distinct, column = np.unique(unseen_s, return_inverse=True)
    inside_chance = chance_of(block, distinct)[:, column]
    outside = outside_of(fill, distinct, column, block, weak)
    is_out = rng.random(outside.shape) < outside
    comes = rng.random(inside_chance.shape) < inside_chance
    chance = inside_chance
    if fill.groups:
        group = fill.unseen_group % (fill.groups + 1)  # -1, in no silent category, is the last one
        comes &= ~np.column_stack([is_out, np.zeros(len(is_out), dtype=bool)])[:, group]
        chance = inside_chance * (1.0 - np.column_stack([outside, np.zeros(len(outside))])[:, group])
    p_all, p_none = _whole(fill, inside_chance, outside)
    arrival_s = np.full(chance.shape, np.inf)
    if block.together:
        last_look_s = np.full(len(block.come), own_exposure(block, unseen_s.max(initial=0.0)))
        common_s = last_look_s + residual_of(block, slice(None), last_look_s, rng) - block.before_s
        return _Part(chance, np.where(comes, common_s[:, None], np.inf), p_all, p_none)
    draw, channel = np.nonzero(comes)
    since_s = own_exposure(block, unseen_s)[channel]
    arrival_s[draw, channel] = since_s + residual_of(block, draw, since_s, rng) - block.before_s
    return _Part(chance, arrival_s, p_all, p_none)


def _whole(fill: FillIn, inside_chance: Array, outside: Array) -> tuple[Array, Array]:
    """P(all channels come) and P(none comes), one for each draw; a category is outside as a whole."""
    single = fill.unseen_group < 0 if len(fill.unseen_group) else np.ones(inside_chance.shape[1], dtype=bool)
    p_all = np.prod(inside_chance[:, single], axis=1)
    p_none = np.prod(1.0 - inside_chance[:, single], axis=1)
    for group in range(fill.groups):
        own = inside_chance[:, fill.unseen_group == group]
        out = outside[:, group]
        p_all = p_all * (1.0 - out) * np.prod(own, axis=1)
        p_none = p_none * (out + (1.0 - out) * np.prod(1.0 - own, axis=1))
    return p_all, p_none


def residual_of(block: Draws, draw: np.ndarray | slice, since_s: Array, rng: np.random.Generator) -> Array:
    """A residual wait [s] for each of these draws, given that it has not come by `since_s`."""
    tail = 1.0 - rng.random(len(since_s))  # in (0, 1]
    return block.family.residual(tail, since_s, block.log_scale[draw], block.shape[draw])


def waits(fill: FillIn, blocks: tuple[Draws, ...], rng: np.random.Generator) -> tuple[Quantiles, ...]:
    """Remaining wait of each unseen channel from now, given that it comes: weighted quantiles at a few exposures."""
    if not len(fill.unseen_s):
        return ()
    unseen_s = np.maximum(fill.unseen_s, NEVER_CHECKED_S)
    nodes = nodes_of(unseen_s, WAIT_NODES)
    chance = np.concatenate([chance_of(block, nodes) for block in blocks])
    arrival_s = np.concatenate([_residuals_at(block, nodes, fill, rng) for block in blocks])
    table = np.array(
        [
            _weighted_quantiles(np.maximum(arrival_s[:, k] - fill.now_s, 0.0), chance[:, k], LEVELS)
            for k in range(len(nodes))
        ]
    )
    columns = [np.interp(unseen_s, nodes, table[:, level]) for level in range(len(LEVELS))]
    return tuple(Quantiles(float(m), float(low), float(high)) for m, low, high in zip(*columns, strict=True))


def _residuals_at(block: Draws, nodes: Array, fill: FillIn, rng: np.random.Generator) -> Array:
    """Arrival exposure for every draw (rows) at every node (columns), given not by the node."""
    own_s = own_exposure(block, np.full_like(nodes, fill.unseen_s.max()) if block.together else nodes)
    tail = 1.0 - rng.random((len(block.come), len(nodes)))
    residual = block.family.residual(tail, own_s, block.log_scale[:, None], block.shape[:, None])
    return np.asarray(own_s + residual - block.before_s)


def _weighted_quantiles(values: Array, weights: Array, levels: tuple[float, ...]) -> Array:
    order = np.argsort(values)
    cumulative = np.cumsum(weights[order])
    at = np.searchsorted(cumulative, np.asarray(levels) * cumulative[-1])
    return np.asarray(values[order][np.minimum(at, len(values) - 1)])
