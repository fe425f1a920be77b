"""Two censored samples compared by ranks: Mann-Whitney where one common limit applies, else Peto's log-rank test.

Mann and Whitney, Ann. Math. Stat. 18 (1947) 50-60, normal approximation with correction for ties and continuity;
log-rank test weighted by the modified survival estimate of Peto and Peto, J. R. Stat. Soc. A 135 (1972) 185-207.
Each z is positive where the second sample is the slower one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from satdiag.tuning.delays import Delays

Floats = NDArray[np.float64]


def mann_whitney(before: Floats, after: Floats) -> tuple[float, float]:
    """U of `after` less its mean under no difference, and its standard deviation; shapes (n,) and (m,)."""
    ranked = np.sort(before)
    below = np.searchsorted(ranked, after, side="left")
    u = float((below + np.searchsorted(ranked, after, side="right")).sum()) / 2.0
    n, m = len(before), len(after)
    _, ties = np.unique(np.concatenate([before, after]), return_counts=True)
    total = n + m
    tied = float((ties**3 - ties).sum()) / (total * (total - 1.0))
    variance = max(n * m / 12.0 * (total + 1.0 - tied), 0.0)
    return u - n * m / 2.0, float(np.sqrt(variance))


def peto_log_rank(before: Delays, after: Delays) -> tuple[float, float]:
    """Expected less observed marks of `after`, weighted, and its standard deviation."""
    time_s = np.unique(np.concatenate([before.duration_s[before.came], after.duration_s[after.came]]))
    at_risk_before, came_before = _table(before, time_s)
    at_risk_after, came_after = _table(after, time_s)
    at_risk, came = at_risk_before + at_risk_after, came_before + came_after
    weight = np.cumprod(1.0 - came / (at_risk + 1.0))
    share = at_risk_after / at_risk
    spare = np.where(at_risk > 1, (at_risk - came) / np.maximum(at_risk - 1.0, 1.0), 0.0)
    variance = weight**2 * came * share * (1.0 - share) * spare
    return float(weight @ (came * share - came_after)), float(np.sqrt(variance.sum()))


def _table(sample: Delays, time_s: Floats) -> tuple[Floats, Floats]:
    """How many were still waiting just before each time, and how many marks came then."""
    ranked = np.sort(sample.duration_s)
    at_risk = len(ranked) - np.searchsorted(ranked, time_s, side="left")
    marks = np.sort(sample.duration_s[sample.came])
    came = np.searchsorted(marks, time_s, side="right") - np.searchsorted(marks, time_s, side="left")
    return at_risk.astype(float), came.astype(float)


def limit_s(sample: Delays) -> float:
    """The shortest wait that ended without the mark: up to there all is known. Infinite if none did."""
    return float(sample.duration_s[~sample.came].min(initial=np.inf))


def has_common_limit(before: Delays, after: Delays) -> bool:
    """True if every mark came before every end of a wait, so that all waits that ended tie as the longest."""
    limit = min(limit_s(before), limit_s(after))
    return all(bool((sample.duration_s[sample.came] <= limit).all()) for sample in (before, after))


def difference(before: Delays, after: Delays, shift_s: float, common_limit: bool) -> tuple[float, float]:
    """The difference in rank if `after` had been `shift_s` quicker, and its standard deviation.

    With a common limit the delays of both are cut at the longest time up to which all of them would be known.
    """
    if not common_limit:
        return peto_log_rank(before, Delays(after.duration_s - shift_s, after.came, after.given_up))
    limit = min(limit_s(before), limit_s(after) - shift_s)
    return mann_whitney(np.minimum(before.duration_s, limit), np.minimum(after.duration_s - shift_s, limit))


def p_slower(found: tuple[float, float], continuity: float) -> float:
    """One-sided p-value for 'the second is slower' from a difference and its standard deviation."""
    value, sd = found
    return float(ndtr(-(value - continuity) / sd)) if sd > 0 else 1.0


def p_faster(found: tuple[float, float], continuity: float) -> float:
    """One-sided p-value for 'the second is faster'."""
    return p_slower((-found[0], found[1]), continuity)
