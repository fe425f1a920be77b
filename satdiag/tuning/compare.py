"""Two stretches of channel changes compared: did they become slower or faster, by how many seconds, how sure.

The seconds are a shift: the interval holds every shift that the rank test does not reject after taking it away
(Hodges and Lehmann, Ann. Math. Stat. 34 (1963) 598-611), so interval and test say the same; an end may lie at 0.
Delays marked in steps move a shift by up to half a step, however many they are: the interval is that much wider.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from satdiag.tuning.baseline import COMMON
from satdiag.tuning.delays import FINEST_S, Delays
from satdiag.tuning.kaplan_meier import kaplan_meier, quantile_s
from satdiag.tuning.rank_tests import difference, has_common_limit, p_faster, p_slower
from satdiag.tuning.slowness import SLOW_RATIO, SlownessPrior

Floats = NDArray[np.float64]
State = Literal["slower", "faster", "no difference seen", "cannot tell"]

LEVEL = 0.05
"""Either end of the interval, and either way of the test, one-sided."""

POWER = 0.8
"""The chance of seeing a noticeable difference that the numbers asked for give (common practice, no source)."""

FEWEST = 4
"""Sounds a side. Of 3 + 3 the clearest order gives z = 1.75 with continuity, which a single tie undoes; of 4 + 4
2.17."""

FINE_S = 0.01
"""How exactly the ends of the interval are found; hands mark in tenths."""


@dataclass(frozen=True)
class Comparison:
    """What became of the delays from `before` to `after`.

    `shift_s`: how much longer they take after, with its 90 % interval (an open end is None). `noticeable_s`: the
    difference that would matter. `needed`: about how many changes a side would tell, where they cannot yet; None
    also if marks in steps of `resolution_s` cannot exclude it, however many there are.
    """

    state: State
    test: Literal["mann-whitney", "log-rank"]
    p_value: float | None
    shift_s: float | None
    shift_s_90: tuple[float | None, float | None] | None
    n_before: int
    n_after: int
    noticeable_s: float
    needed: int | None
    resolution_s: float


def compare_delays(before: Delays, after: Delays, resolution_s: float = FINEST_S) -> Comparison:
    """Compares two samples of delays in seconds, right-censored, by ranks; `resolution_s`: their coarser step.

    Mann-Whitney where one common limit applies, else the log-rank test with Peto's weights. 'slower' and 'faster'
    at 5 % each; 'no difference seen' if a noticeable one is excluded (half the median before); else 'cannot tell'.
    """
    common = has_common_limit(before, after)
    noticeable_s = _noticeable_s(before)
    enough = min(int(before.came.sum()), int(after.came.sum())) >= FEWEST
    found = _widened(_shift(before, after, common), resolution_s / 2.0) if enough else None
    tells = resolution_s / 2.0 < noticeable_s
    state = "cannot tell" if found is None else _state(found, noticeable_s)
    return Comparison(
        state=state,
        test="mann-whitney" if common else "log-rank",
        p_value=None if found is None else min(1.0, 2.0 * min(found.p_slower, found.p_faster)),
        shift_s=None if found is None else found.shift_s,
        shift_s_90=None if found is None else (found.low_s, found.high_s),
        n_before=len(before),
        n_after=len(after),
        noticeable_s=noticeable_s,
        needed=_needed(before, after, found, noticeable_s) if state == "cannot tell" and tells else None,
        resolution_s=resolution_s,
    )


def _noticeable_s(before: Delays) -> float:
    median_s = quantile_s(kaplan_meier(before.duration_s, before.came), 0.5)
    return (SLOW_RATIO - 1.0) * (median_s or COMMON.median_s)


@dataclass(frozen=True)
class _Shift:
    """The shift with its ends, and the one-sided p-values of no shift."""

    shift_s: float | None
    low_s: float | None
    high_s: float | None
    p_slower: float
    p_faster: float


def _state(found: _Shift, noticeable_s: float) -> State:
    if found.p_slower < LEVEL:
        return "slower"
    if found.p_faster < LEVEL:
        return "faster"
    low, high = found.low_s, found.high_s
    if low is not None and high is not None and -noticeable_s < low and high < noticeable_s:
        return "no difference seen"
    return "cannot tell"


def _shift(before: Delays, after: Delays, common: bool) -> _Shift:
    continuity = 0.5 if common else 0.0

    def at(shift_s: float) -> tuple[float, float]:
        return difference(before, after, shift_s, common)

    reach_s = float(max(before.duration_s.max(), after.duration_s.max())) + 1.0
    none_left = _first(lambda x: at(x)[0] <= 0, -reach_s, reach_s)
    turned = _first(lambda x: at(x)[0] < 0, -reach_s, reach_s)
    return _Shift(
        shift_s=None if none_left is None or turned is None else (none_left + turned) / 2.0,
        low_s=_first(lambda x: p_slower(at(x), continuity) >= LEVEL, -reach_s, reach_s),
        high_s=_first(lambda x: p_faster(at(x), continuity) < LEVEL, -reach_s, reach_s),
        p_slower=p_slower(at(0.0), continuity),
        p_faster=p_faster(at(0.0), continuity),
    )


def _widened(found: _Shift, by_s: float) -> _Shift:
    """The interval wider by this at either end, but no further than 0 where the test excludes what lies beyond."""
    low_s = None if found.low_s is None else found.low_s - by_s
    high_s = None if found.high_s is None else found.high_s + by_s
    if low_s is not None and found.p_slower < LEVEL:
        low_s = max(low_s, 0.0)
    if high_s is not None and found.p_faster < LEVEL:
        high_s = min(high_s, 0.0)
    return replace(found, low_s=low_s, high_s=high_s)


def _first(holds: Callable[[float], bool], low_s: float, high_s: float) -> float | None:
    """Where a condition begins to hold that is False below and True above; None if it does not change between."""
    if holds(low_s) or not holds(high_s):
        return None
    while high_s - low_s > FINE_S / 4:
        middle_s = (low_s + high_s) / 2.0
        low_s, high_s = (low_s, middle_s) if holds(middle_s) else (middle_s, high_s)
    return round((low_s + high_s) / 2.0 / FINE_S) * FINE_S


def noether_per_side(p_longer: float, level: float = LEVEL, power: float = POWER) -> float:
    """Changes a side for a one-sided rank test, if a change after is longer than one before with this probability.

    Noether, J. Am. Stat. Assoc. 82 (1987) 645-647, equal sides.
    """
    return float((ndtri(1.0 - level) + ndtri(power)) ** 2 / (6.0 * (p_longer - 0.5) ** 2))


def _needed(before: Delays, after: Delays, found: _Shift | None, noticeable_s: float) -> int:
    """Changes a side that would tell a noticeable difference, from the spread of both samples together.

    Where too few are there the usual spread of `SlownessPrior` is taken.
    """
    shift_s = None if found is None else found.shift_s
    pooled = np.concatenate([_known(before), _known(after) - (shift_s or 0.0)])
    if shift_s is None:
        p_longer = float(ndtr(np.log(SLOW_RATIO) / (np.exp(SlownessPrior().log_spread) * np.sqrt(2.0))))
    else:
        p_longer = _p_longer(pooled, noticeable_s)
    least = max(FEWEST, min(len(before), len(after)) + 1)
    return max(least, math.ceil(noether_per_side(max(p_longer, 0.51))))


def _known(sample: Delays) -> Floats:
    """The delays, with those that did not come as longer than any."""
    return np.where(sample.came, sample.duration_s, np.inf)


def _p_longer(pooled: Floats, by_s: float) -> float:
    """P(X + by > Y) for two of the pooled delays, ties by half."""
    x, y = pooled[:, None] + by_s, pooled[None, :]
    wins = (x > y) + 0.5 * (x == y)
    n = len(pooled)
    return float((wins.sum() - np.trace(wins)) / (n * (n - 1.0)))
