"""Does the averaged model follow the arrivals at all? Held against the non-parametric step curve."""

from __future__ import annotations

import numpy as np

from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.posterior import Posterior
from satdiag.entitlement.turnbull import step_curve

# Kolmogorov's 5 % bound; with a fitted curve it is exceeded less often than that (Stephens, JASA 69, 1974).
KOLMOGOROV_5_PERCENT = 1.358
FEWEST_ARRIVALS = 8


def largest_gap(fill: FillIn, posterior: Posterior) -> tuple[float, float] | None:
    """Largest difference between model and step curve (share of channels), and the size that is still chance.

    Compared only where the step curve is determined: between its innermost intervals, and while half of the unseen
    channels were still looked at (beyond, a single late look moves all the rest). The bound is widened by the
    dispersion of groups. None with fewer than `FEWEST_ARRIVALS` arrivals or nothing determined.
    """
    if fill.arrivals < FEWEST_ARRIVALS:
        return None
    unseen_s = fill.unseen_s[fill.unseen_s > 0]
    lower_s = np.concatenate([fill.seen_lower_s, unseen_s])
    upper_s = np.concatenate([fill.seen_upper_s, np.full(len(unseen_s), np.inf)])
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
