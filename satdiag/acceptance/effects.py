"""How large a difference between two samples is: effect, 90 % interval, p-value. Pure functions on numbers.

Sources: Wilson's interval for a share (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212); the difference of two
shares by their Wilson limits (R. G. Newcombe, Statist. Med. 17 (1998) 873-890, method 10); the same square-and-add
rule for any two estimates with limits (Zou and Donner, Statist. Med. 27 (2008) 1693-1702); the ratio of two Poisson
rates given their sum (exact, Clopper and Pearson, Biometrika 26 (1934) 404-413); the chance that a reading after is
the higher one with limits from the Hanley-McNeil variance (R. G. Newcombe, Statist. Med. 25 (2006) 559-573, method
5); Holm, Scand. J. Stat. 6 (1979) 65-70.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import bdtr, betaincinv, ndtr, ndtri

LEVEL = 0.90
Limits = tuple[float, float]


@dataclass(frozen=True)
class Effect:
    """An effect of `after` against `before` with its 90 % interval and two-sided p-value for 'no effect'."""

    value: float
    low: float
    high: float
    p_value: float


def z_of(level: float = LEVEL) -> float:
    """The normal quantile of a two-sided interval."""
    return float(ndtri(0.5 + level / 2.0))


def wilson(count: float, of: float, level: float = LEVEL) -> Limits:
    """Wilson's limits of a share, without correction for continuity; `of` > 0."""
    z, share = z_of(level), count / of
    middle, spread = share + z * z / (2.0 * of), z * math.sqrt(share * (1.0 - share) / of + z * z / (4.0 * of * of))
    whole = 1.0 + z * z / of
    return max((middle - spread) / whole, 0.0), min((middle + spread) / whole, 1.0)


def share_difference(before: tuple[int, int], after: tuple[int, int], level: float = LEVEL) -> Effect:
    """Share after less share before, of (count, of) each: Newcombe's method 10."""
    (x, m), (y, n) = before, after
    return square_and_add(x / m, wilson(x, m, level), y / n, wilson(y, n, level), level)


def square_and_add(
    before: float, before_limits: Limits, after: float, after_limits: Limits, level: float = LEVEL
) -> Effect:
    """The difference of two independent estimates from the limits of each."""
    difference = after - before
    low = difference - math.hypot(after - after_limits[0], before_limits[1] - before)
    high = difference + math.hypot(after_limits[1] - after, before - before_limits[0])
    return Effect(difference, low, high, _p_from_limits(difference, low, high, level))


def _p_from_limits(value: float, low: float, high: float, level: float) -> float:
    """The two-sided p-value of 0, the distance to the limit on its side being z standard errors."""
    reach = value - low if value > 0 else high - value
    if value == 0.0:
        return 1.0
    return float(2.0 * ndtr(-abs(value) / reach * z_of(level))) if reach > 0 else 0.0


def rate_ratio(before: tuple[int, float], after: tuple[int, float], level: float = LEVEL) -> Effect:
    """Rate after over rate before, of (events, time) each, given the sum of events; infinite where none was before.

    The p-value is twice the smaller tail of the binomial law. Without any event: (0, infinity) and 1.
    """
    (x, s), (y, t) = before, after
    if x + y == 0:
        return Effect(math.nan, 0.0, math.inf, 1.0)
    rest = (1.0 - level) / 2.0
    low = 0.0 if y == 0 else float(betaincinv(y, x + 1, rest))
    high = 1.0 if x == 0 else float(betaincinv(y + 1, x, 1.0 - rest))
    share = t / (s + t)
    tails = (float(bdtr(y, x + y, share)), 1.0 - (float(bdtr(y - 1, x + y, share)) if y else 0.0))
    value = y / t / (x / s) if x else math.inf
    return Effect(value, _odds(low) * s / t, _odds(high) * s / t, min(1.0, 2.0 * min(tails)))


def _odds(share: float) -> float:
    return math.inf if share >= 1.0 else share / (1.0 - share)


def garwood(events: int, time: float, level: float = LEVEL) -> Limits:
    """Exact limits of a Poisson rate (F. Garwood, Biometrika 28 (1936) 437-442)."""
    from scipy.special import gammaincinv

    rest = (1.0 - level) / 2.0
    low = 0.0 if events == 0 else float(gammaincinv(events, rest))
    return low / time, float(gammaincinv(events + 1, 1.0 - rest)) / time


def p_higher(before: Sequence[float], after: Sequence[float]) -> float:
    """The chance that a reading after is higher than one before, ties by half."""
    ranked, values = np.sort(np.asarray(before, dtype=float)), np.asarray(after, dtype=float)
    below = np.searchsorted(ranked, values, side="left") + np.searchsorted(ranked, values, side="right")
    return float(below.mean() / 2.0 / len(ranked))


def rank_effect(theta: float, m: float, n: float, level: float = LEVEL) -> Effect:
    """Limits of `p_higher` for m and n independent readings (at least 1 each, not only whole); 0.5 is no effect."""
    z = z_of(level)

    def variance(at: float) -> float:
        mean = (m + n) / 2.0
        return at * (1.0 - at) / (m * n) * (2.0 * mean - 1.0 - (3.0 * mean - 3.0) / ((2.0 - at) * (1.0 + at)))

    low = _first(lambda at: theta - at <= z * math.sqrt(variance(at)), 0.0, theta)
    high = 1.0 - _first(lambda at: (1.0 - at) - theta <= z * math.sqrt(variance(1.0 - at)), 0.0, 1.0 - theta)
    distance = abs(theta - 0.5) / math.sqrt(variance(0.5))
    return Effect(theta, low, high, float(2.0 * ndtr(-distance)))


def _first(holds: Callable[[float], bool], low: float, high: float) -> float:
    """Where a condition begins to hold between `low` and `high`, at which it holds."""
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def holm(p_values: Sequence[float]) -> list[float]:
    """Holm's adjusted p-values, in the order given."""
    adjusted, least = [0.0] * len(p_values), 0.0
    for rank, number in enumerate(sorted(range(len(p_values)), key=lambda number: p_values[number])):
        least = max(least, min(1.0, (len(p_values) - rank) * p_values[number]))
        adjusted[number] = least
    return adjusted
