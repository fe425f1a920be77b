"""Futures of very many channels: by groups looked at alike, so that the work does not grow with their number.

Where `futures` draws each channel by itself, here the channels last refused at about the same exposure are one group
(by silent category too). How many of it come is binomial. Of those the first and the last arrival are drawn exactly:
of k uniform numbers the largest is U^(1/k) and the smallest 1 - (1 - U)^(1/k) (David and Nagaraja, Order Statistics,
3rd ed. 2003, section 2.1). All between are spread evenly over what is left, a few points standing for many.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from satdiag.entitlement.families import Array
from satdiag.entitlement.fill_in import FillIn, Index, nodes_of
from satdiag.entitlement.futures import (
    NEVER_CHECKED_S,
    Counts,
    Futures,
    Weakening,
    chance_of,
    outside_of,
    own_exposure,
    residual_of,
)
from satdiag.entitlement.grid import Draws

MANY = 4000
"""Unseen channels above which they are taken by groups."""

NODES = 48
FEWEST_NODES = 4
POINTS = 1024
"""Arrivals that stand for all of a draw, those at both ends of each group left aside."""


@dataclass(frozen=True)
class _Groups:
    """Unseen channels by groups: `node` and `category` (the last for none that is silent) and `count` of each.

    `nodes_s`: the distinct exposures; `node_of`: that of each channel.
    """

    nodes_s: Array
    node_of: Index
    node: Index
    category: Index
    count: Index


@dataclass(frozen=True)
class _Part:
    """Of one block, one row a draw: arrivals and what each stands for, P(comes) of each group, and of the whole."""

    arrival_s: Array
    weight: Counts
    chance: Array
    p_all: Array
    p_none: Array


def simulate_many(fill: FillIn, blocks: tuple[Draws, ...], weak: Weakening, rng: np.random.Generator) -> Futures:
    """As `futures.simulate`, with memory for draws times groups alone."""
    groups = _groups_of(fill)
    parts = [_simulate_block(fill, groups, block, weak, rng) for block in blocks]
    arrival_s = np.concatenate([part.arrival_s for part in parts])
    weight = np.concatenate([part.weight for part in parts])
    arrival_s[weight == 0] = np.inf
    order = np.argsort(arrival_s, axis=1)
    reached = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    mean = np.concatenate([part.chance for part in parts]).mean(axis=0)
    return Futures(
        _of_each(fill, groups, mean),
        np.take_along_axis(arrival_s, order, axis=1),
        np.concatenate([part.p_all for part in parts]),
        np.concatenate([part.p_none for part in parts]),
        reached,
    )


def _groups_of(fill: FillIn) -> _Groups:
    unseen_s = np.maximum(fill.unseen_s, NEVER_CHECKED_S)
    nodes_s = nodes_of(unseen_s, max(NODES // (fill.groups + 1), FEWEST_NODES))
    middle_s = (nodes_s[1:] + nodes_s[:-1]) / 2
    node_of = np.searchsorted(middle_s, unseen_s)
    category = fill.unseen_group % (fill.groups + 1) if len(fill.unseen_group) else np.zeros_like(node_of)
    pair, count = np.unique(category * len(nodes_s) + node_of, return_counts=True)
    return _Groups(nodes_s, node_of, pair % len(nodes_s), pair // len(nodes_s), count)


def _of_each(fill: FillIn, groups: _Groups, of_group: Array) -> Array:
    """A figure of each group as one of each unseen channel, between two nodes of its category in proportion."""
    unseen_s = np.maximum(fill.unseen_s, NEVER_CHECKED_S)
    category = fill.unseen_group % (fill.groups + 1) if len(fill.unseen_group) else np.zeros_like(groups.node_of)
    found = np.empty(len(unseen_s))
    for one in np.unique(groups.category):
        here, own = category == one, groups.category == one
        found[here] = np.interp(unseen_s[here], groups.nodes_s[groups.node[own]], of_group[own])
    return found


def _simulate_block(fill: FillIn, groups: _Groups, block: Draws, weak: Weakening, rng: np.random.Generator) -> _Part:
    inside = chance_of(block, groups.nodes_s)[:, groups.node]
    out = np.pad(outside_of(fill, groups.nodes_s, groups.node_of, block, weak), ((0, 0), (0, 1)))
    is_out = (rng.random(out.shape) < out)[:, groups.category]
    coming = np.where(is_out, 0, rng.binomial(groups.count, inside))
    chance = inside * (1.0 - out[:, groups.category])
    whole = _whole(groups, inside, out)
    if block.together:
        return _Part(*_at_once(fill, block, coming, rng), chance, *whole)
    return _Part(*_one_by_one(groups, block, coming, rng), chance, *whole)


def _whole(groups: _Groups, inside: Array, out: Array) -> tuple[Array, Array]:
    """P(all channels come) and P(none comes), one for each draw; a silent category is outside as a whole."""
    p_all, p_none = np.ones(len(inside)), np.ones(len(inside))
    for category in np.unique(groups.category):
        own = groups.category == category
        p_all *= (1.0 - out[:, category]) * np.prod(inside[:, own] ** groups.count[own], axis=1)
        nothing = np.prod((1.0 - inside[:, own]) ** groups.count[own], axis=1)
        p_none *= out[:, category] + (1.0 - out[:, category]) * nothing
    return p_all, p_none


def _width(groups: int) -> int:
    """Points between the ends of each group."""
    return max(POINTS // groups, 1)


def _at_once(fill: FillIn, block: Draws, coming: Counts, rng: np.random.Generator) -> tuple[Array, Counts]:
    """All that come, in one message."""
    last_look_s = np.full(len(coming), own_exposure(block, fill.unseen_s.max(initial=0.0)))
    common_s = last_look_s + residual_of(block, slice(None), last_look_s, rng) - block.before_s
    shape = len(coming), coming.shape[1] * (_width(coming.shape[1]) + 2)
    weight = np.zeros(shape, dtype=np.intp)
    weight[:, 0] = coming.sum(axis=1)
    return np.repeat(common_s[:, None], shape[1], axis=1), weight


def _one_by_one(groups: _Groups, block: Draws, coming: Counts, rng: np.random.Generator) -> tuple[Array, Counts]:
    """For each group its first arrival, those between and its last: tails of the residual wait, made exposures."""
    draws, width = len(coming), _width(coming.shape[1])
    number = np.maximum(coming, 1)
    first = (1.0 - rng.random(coming.shape)) ** (1.0 / number)
    last = first * -np.expm1(np.log1p(-rng.random(coming.shape)) / np.maximum(number - 1, 1))
    between = np.maximum(coming - 2, 0)
    weight = np.diff(_shared_out(between, width, rng), axis=2)
    place = (np.arange(width) + rng.random((*coming.shape, width))) / width
    tails = last[:, :, None] + (first - last)[:, :, None] * place
    ends = np.stack([first, last], axis=2)
    tail = np.maximum(np.concatenate([ends, tails], axis=2), np.finfo(float).tiny)
    held = np.stack([np.minimum(coming, 1), (coming > 1).astype(np.intp)], axis=2)
    since_s = own_exposure(block, groups.nodes_s[groups.node])[None, :, None]
    scale, shape = block.log_scale[:, None, None], block.shape[:, None, None]
    arrival_s = since_s + block.family.residual(tail, since_s, scale, shape) - block.before_s
    return arrival_s.reshape(draws, -1), np.concatenate([held, weight], axis=2).reshape(draws, -1)


def _shared_out(number: Counts, parts: int, rng: np.random.Generator) -> Counts:
    """Whole numbers shared out evenly over parts, from a random place on; running sums (draws, groups, parts + 1)."""
    steps = number[:, :, None] * (np.arange(parts + 1) / parts) + rng.random(number.shape)[:, :, None]
    return np.floor(steps).astype(np.intp)
