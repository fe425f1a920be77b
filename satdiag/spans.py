"""Sets of time spans: arrays of shape (n, 2), sorted, disjoint, in seconds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Spans = NDArray[np.float64]

NOTHING: Spans = np.empty((0, 2))


def spans(pairs: Sequence[tuple[float, float]]) -> Spans:
    """Any pairs (start, end) as a set of spans; empty and reversed ones fall away, overlapping ones merge."""
    given = np.array(pairs, dtype=float).reshape(-1, 2)
    return union(given[given[:, 1] > given[:, 0]])


def _where_covered(parts: Sequence[Spans], need: int) -> Spans:
    edges = np.concatenate([np.concatenate([part[:, 0], part[:, 1]]) for part in parts])
    steps = np.concatenate([np.repeat([1, -1], len(part)) for part in parts])
    order = np.lexsort((-steps, edges))
    covered = np.cumsum(steps[order]) >= need
    before = np.concatenate([[False], covered[:-1]])
    times = edges[order]
    found = np.stack([times[covered & ~before], times[~covered & before]], axis=1)
    return found[found[:, 1] > found[:, 0]]


def union(*parts: Spans) -> Spans:
    """What is in any of the sets."""
    kept = [part for part in parts if len(part)]
    return _where_covered(kept, 1) if kept else NOTHING


def intersect(*parts: Spans) -> Spans:
    """What is in all of the sets."""
    if any(not len(part) for part in parts):
        return NOTHING
    return _where_covered(parts, len(parts))


def subtract(whole: Spans, taken: Spans) -> Spans:
    """What is in `whole` and not in `taken`."""
    if not len(whole) or not len(taken):
        return whole
    low, high = float(whole[0, 0]), float(whole[-1, 1])
    edges = np.concatenate([[low], np.clip(taken, low, high).ravel(), [high]]).reshape(-1, 2)
    free = edges[edges[:, 1] > edges[:, 0]]
    return intersect(whole, free)


def length_s(part: Spans) -> float:
    """The total length in seconds."""
    return float((part[:, 1] - part[:, 0]).sum())


def within(part: Spans, low: float, high: float) -> Spans:
    """The set cut to [low, high]."""
    return intersect(part, np.array([[low, high]])) if high > low else NOTHING
