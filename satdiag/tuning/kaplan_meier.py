"""The Kaplan-Meier estimate of a right-censored delay, with pointwise intervals.

Kaplan and Meier, J. Am. Stat. Assoc. 53 (1958) 457-481; variance after Greenwood (1926); intervals on the log(-log)
scale, Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 2nd ed. (2002), section 1.4.1; the
interval of a quantile from them after Brookmeyer and Crowley, Biometrics 38 (1982) 29-41.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]

FEWEST_FOR_INTERVAL = 5
"""With n delays and none censored the widest distribution-free interval of the median, (smallest, largest), covers
1 - 2/2^n: 0.875 for four, 0.9375 for five (order statistics: the number below the median is binomial(n, 1/2))."""

_ROUNDING = 1e-12


@dataclass(frozen=True, eq=False)
class SurvivalCurve:
    """P(T > t) just after each distinct time at which a mark came, with the interval; all of shape (k,), seconds.

    Where the curve is 0 the variance is not defined; the interval keeps its last value there.
    """

    time_s: Floats
    survival: Floats
    low: Floats
    high: Floats
    events: int


def kaplan_meier(duration_s: ArrayLike, came: ArrayLike, level: float = 0.9) -> SurvivalCurve:
    """The survival curve of delays of shape (n,); `came` is False where the wait ended without the mark.

    At equal times the marks that came count before the waits that ended.
    """
    durations, events = np.asarray(duration_s, dtype=float), np.asarray(came, dtype=bool)
    time_s, deaths = np.unique(durations[events], return_counts=True)
    at_risk = len(durations) - np.searchsorted(np.sort(durations), time_s, side="left")
    survival: Floats = np.cumprod(1.0 - deaths / at_risk, dtype=np.float64)
    low, high = _log_log_interval(survival, deaths, at_risk, level)
    return SurvivalCurve(time_s, survival, low, high, int(events.sum()))


def _log_log_interval(
    survival: Floats, deaths: NDArray[np.int64], at_risk: NDArray[np.int64], level: float
) -> tuple[Floats, Floats]:
    inside = at_risk > deaths  # False at most at the last time, where the curve falls to 0
    greenwood = np.cumsum(np.divide(deaths, at_risk * (at_risk - deaths), out=np.zeros(len(deaths)), where=inside))
    log_survival = np.log(np.where(inside, survival, 0.5))
    spread = ndtri(0.5 + level / 2.0) * np.sqrt(greenwood) / log_survival
    low, high = np.exp(log_survival * np.exp(-spread)), np.exp(log_survival * np.exp(spread))
    if len(inside) and not inside[-1]:
        low[-1], high[-1] = (low[-2], high[-2]) if len(inside) > 1 else (1.0, 1.0)
    return low, high


def quantile_s(curve: SurvivalCurve, share: float) -> float | None:
    """The first time by which `share` of the marks have come; None if the curve does not reach it."""
    return _first_at_or_below(curve.time_s, curve.survival, 1.0 - share)


def median_interval_s(curve: SurvivalCurve) -> tuple[float, float | None] | None:
    """The interval of the median at the curve's level; an upper end of None is open. None: too few marks came."""
    return quantile_interval_s(curve, 0.5)


def quantile_interval_s(curve: SurvivalCurve, share: float) -> tuple[float, float | None] | None:
    """The interval of a quantile at the curve's level; an upper end of None is open. None: too few marks came."""
    if curve.events < FEWEST_FOR_INTERVAL:
        return None
    low = _first_at_or_below(curve.time_s, curve.low, 1.0 - share)
    high = _first_at_or_below(curve.time_s, curve.high, 1.0 - share)
    return None if low is None else (low, high)


def _first_at_or_below(time_s: Floats, values: Floats, threshold: float) -> float | None:
    reached = np.flatnonzero(values <= threshold + _ROUNDING)
    return float(time_s[reached[0]]) if len(reached) else None
