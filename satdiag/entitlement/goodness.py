"""Does the averaged model follow the arrivals at all? Held against the non-parametric step curve."""

from __future__ import annotations

import numpy as np

from satdiag.entitlement.families import Array
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.posterior import Posterior
from satdiag.entitlement.turnbull import step_curve

# Kolmogorov's 5 % bound; with a fitted curve it is exceeded less often than that (Stephens, JASA 69, 1974).
KOLMOGOROV_5_PERCENT = 1.358
FEWEST_ARRIVALS = 8
SHORTEST_PAUSE_S = 20.0  # between two rounds of looking
TICK_S = 1e-6


def _by_rounds(fill: FillIn) -> tuple[Array, Array, Array]:
    """Interval ends, and looks that were refused, widened to the rounds of looking that they belong to.

    Who looks through a list takes minutes, and the first seconds of a round rest on a few channels: a step curve that
    told them apart would swing by chance.
    """
    refused_s = fill.unseen_s[fill.unseen_s > 0]
    looks_s = np.unique(np.concatenate([np.maximum(fill.seen_lower_s, 0.0), fill.seen_upper_s, refused_s]))
    steps_s = np.diff(looks_s)
    pause_s = max(SHORTEST_PAUSE_S, 3.0 * float(np.median(steps_s))) if len(steps_s) else SHORTEST_PAUSE_S
    ends = np.flatnonzero(steps_s > pause_s)
    start_s = looks_s[np.concatenate([[0], ends + 1])]
    end_s = looks_s[np.concatenate([ends, [len(looks_s) - 1]])]
    early = start_s[np.searchsorted(start_s, np.maximum(fill.seen_lower_s, 0.0), side="right") - 1]
    late = end_s[np.searchsorted(end_s, fill.seen_upper_s)]
    unseen_s = start_s[np.searchsorted(start_s, refused_s, side="right") - 1]
    lower_s = np.concatenate([np.minimum(early, late - TICK_S), unseen_s])
    return lower_s, np.concatenate([late, np.full(len(unseen_s), np.inf)]), unseen_s


def largest_gap(fill: FillIn, posterior: Posterior) -> tuple[float, float] | None:
    """Largest difference between model and step curve (share of channels), and the size that is still chance.

    Compared only where the step curve is determined: between its innermost intervals, and while half of the unseen
    channels were still looked at (beyond, a single late look moves all the rest). The bound is widened by the
    dispersion of groups. None with fewer than `FEWEST_ARRIVALS` arrivals or nothing determined.
    """
    if fill.arrivals < FEWEST_ARRIVALS:
        return None
    lower_s, upper_s, unseen_s = _by_rounds(fill)
    curve = step_curve(lower_s, upper_s, np.ones(len(lower_s)))
    horizon_s = float(np.median(unseen_s)) if len(unseen_s) else np.inf
    known = np.isfinite(curve.upper_s) & (curve.upper_s <= horizon_s)
    if not known.any():
        return None
    reached = np.cumsum(curve.mass)[known]
    from_s = curve.upper_s[known]
    until_s = np.append(curve.lower_s, from_s[-1])[1 : len(from_s) + 1]
    come = posterior.mean_come()
    model_low = come - posterior.come_survival(from_s)
    model_high = come - posterior.come_survival(np.maximum(until_s, from_s))
    gap = float(np.maximum(model_low - reached, reached - model_high).max())
    return max(gap, 0.0), KOLMOGOROV_5_PERCENT * float(np.sqrt(posterior.dispersion / len(lower_s)))
