"""What the levels of a path say while it is received: its clear level, and which time was shadowed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from satdiag.vocabulary import bars_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# ITU-R P.681 (section on fade durations, as read in an open implementation) counts a fade from 5 dB; its two-state
# tables for 1.5-3 GHz put the mean direct path of the good state at 0 to -3.4 dB and of most bad states below -6.8.
SHADOW_DB = 5.0
# judgement, no source: percent and bars are an order only, so a step is a fifth of the scale.
SHADOW_SHARE_OF_SCALE = 0.2

_START_QUANTILE = 0.9
_MOST_ROUNDS = 50


def shadow_step(unit: str) -> float:
    """How far below the clear level a path still counts as clear, in the level's own unit."""
    bars = bars_of(unit)
    if bars is not None:
        return max(1.0, SHADOW_SHARE_OF_SCALE * bars)
    return SHADOW_SHARE_OF_SCALE * 100.0 if unit == "percent" else SHADOW_DB


def clear_level(level: Floats, weight: Floats, unit: str) -> float | None:
    """The usual level when nothing is in the way: the weighted median of the levels that are not shadowed.

    Starts from the upper tenth and repeats until the set of clear levels stands. `level` and `weight` have shape
    (n,); levels that were not read are NaN. None without any level. A path that never was clear gives the level of
    the best it had, not that of an open sky.
    """
    kept = ~np.isnan(level) & (weight > 0)
    level, weight = level[kept], weight[kept]
    if not len(level):
        return None
    order = np.argsort(level)
    level, reached = level[order], np.cumsum(weight[order])
    reference = _quantile(level, reached, 0, _START_QUANTILE)
    for _ in range(_MOST_ROUNDS):
        # the clear levels are the upper end of the sorted ones
        first = int(np.searchsorted(level, reference - shadow_step(unit)))
        found = _quantile(level, reached, first, 0.5)
        if found == reference:
            break
        reference = found
    return reference


def is_shadowed(level: Floats, reference: float, unit: str) -> Flags:
    """Which levels lie more than a step below the clear level."""
    return np.asarray(level < reference - shadow_step(unit))


def weighted_quantile(values: Floats, weight: Floats, quantile: float) -> float:
    """The smallest value that has at least this share of the weight at or below it."""
    order = np.argsort(values)
    return _quantile(values[order], np.cumsum(weight[order]), 0, quantile)


def _quantile(values: Floats, reached: Floats, first: int, quantile: float) -> float:
    """The quantile of sorted values from number `first` on; `reached` (n,) is the weight of all up to each."""
    below = float(reached[first - 1]) if first else 0.0
    wanted = below + quantile * (reached[-1] - below) * (1.0 - 1e-12)
    at = int(np.searchsorted(reached, wanted))
    return float(values[min(max(at, first), len(values) - 1)])
