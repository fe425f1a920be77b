"""Non-parametric maximum likelihood for half-open intervals (L, R]: the step curve behind the model's.

Turnbull, The empirical distribution function with arbitrarily grouped, censored and truncated data, JRSS B 38
(1976); computed by alternating an EM step with the iterative convex minorant of Groeneboom and Wellner (1992).
All channels share their check times, so whether the left end belongs to the interval decides the answer: here it
does not, because a channel refused at L was not yet authorised at L.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]


@dataclass(frozen=True)
class StepCurve:
    """Masses on the innermost intervals (lower, upper], in order of time; `upper_s` may end with inf.

    Where the mass lies inside its interval is not determined. A row with equal ends is an exact time and gives a
    point. `log_likelihood` is the saturated one, against which a parametric fit can be held.
    """

    lower_s: Array
    upper_s: Array
    mass: Array
    log_likelihood: float


def innermost_intervals(lower_s: Array, upper_s: Array) -> tuple[Array, Array, Index, Index]:
    """Innermost intervals and, for every row, the first and last of them that it covers.

    At equal values an exact row's left end sorts before a right end, and a right end before an open left end.
    """
    n = len(lower_s)
    exact = lower_s == upper_s
    value = np.concatenate([lower_s, upper_s])
    rank = np.concatenate([np.where(exact, -1, 1), np.zeros(n, dtype=int)])
    order = np.lexsort((rank, value))
    is_left = order < n
    start = np.flatnonzero(is_left[:-1] & ~is_left[1:])
    position = np.empty(2 * n, dtype=int)
    position[order] = np.arange(2 * n)
    first = np.searchsorted(start, position[:n])
    last = np.searchsorted(start + 1, position[n:], side="right") - 1
    return value[order][start], value[order][start + 1], first, last


def step_curve(
    lower_s: Array, upper_s: Array, count: Array, tolerance: float = 1e-10, most_steps: int = 20_000
) -> StepCurve:
    """Maximum-likelihood masses of rows (lower, upper] seen `count` times each.

    Stops when the largest directional derivative bounds the missing log-likelihood by `tolerance` times the number
    of rows. Raises ValueError for no rows or a row whose upper end lies below its lower end.
    """
    if len(lower_s) == 0 or bool(np.any(upper_s < lower_s)):
        raise ValueError("step_curve needs at least one row, each with lower <= upper")
    left, right, first, last = innermost_intervals(lower_s, upper_s)
    cells = len(left)
    mass = np.full(cells, 1.0 / cells)
    total = float(count.sum())
    for step in range(most_steps):
        share = count / _covered(mass, first, last)
        gain = np.bincount(first, share, cells + 1) - np.bincount(last + 1, share, cells + 1)
        derivative = np.cumsum(gain)[:cells] / total
        if step and derivative.max() < 1.0 + tolerance:
            break
        mass = _convex_minorant_step(mass * derivative, first, last, count)
    log_likelihood = float(count @ np.log(_covered(mass, first, last)))
    return StepCurve(left, right, mass, log_likelihood)


def _covered(mass: Array, first: Index, last: Index) -> Array:
    cumulative = np.concatenate([[0.0], np.cumsum(mass)])
    return np.asarray(cumulative[last + 1] - cumulative[first])


def _convex_minorant_step(mass: Array, first: Index, last: Index, count: Array) -> Array:
    """One Newton step on the distribution function, made monotone by weighted isotonic regression."""
    cells = len(mass)
    if cells == 1:
        return mass
    covered = np.maximum(_covered(mass, first, last), 1e-300)
    before = count @ np.log(covered)
    slope, curvature = count / covered, count / covered**2
    gradient = np.bincount(last + 1, slope, cells + 1) - np.bincount(first, slope, cells + 1)
    hessian = np.bincount(last + 1, curvature, cells + 1) + np.bincount(first, curvature, cells + 1)
    now = np.cumsum(mass)[:-1]
    weight = np.maximum(hessian[1:cells], 1e-12)
    target = rising(now + gradient[1:cells] / weight, weight)
    target = np.clip(target, 0.0, 1.0)
    for halving in range(12):
        trial = np.concatenate([[0.0], now + 0.5**halving * (target - now), [1.0]])
        covered = trial[last + 1] - trial[first]
        if bool((covered > 0).all()) and count @ np.log(covered) >= before:
            return np.maximum(np.diff(trial), 0.0)
    return mass


def rising(value: Array, weight: Array) -> Array:
    """The nearest values (n,) that never fall, by weighted squares: pool adjacent violators, in the order of Busing
    2022, Journal of Statistical Software 102, 1. It is what `scipy.optimize.isotonic_regression` gives, which
    takes an eighth of a second to import, and there are few cells.
    """
    means: list[float] = []
    weights: list[float] = []
    ends: list[int] = []
    left, weighed = value.tolist(), weight.tolist()
    at = 0
    while at < len(left):
        mean, worth = left[at], weighed[at]
        at += 1
        if means and means[-1] >= mean:
            before = weights.pop()
            total = before * means.pop() + worth * mean
            ends.pop()
            worth += before
            mean = total / worth
            while at < len(left) and mean >= left[at]:
                total += weighed[at] * left[at]
                worth += weighed[at]
                mean = total / worth
                at += 1
            while means and means[-1] >= mean:
                before = weights.pop()
                total += before * means.pop()
                ends.pop()
                worth += before
                mean = total / worth
        means.append(mean)
        weights.append(worth)
        ends.append(at)
    return np.repeat(means, np.diff([0, *ends]))
