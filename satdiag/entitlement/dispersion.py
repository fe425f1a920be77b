"""Do channels come in groups? Over-dispersion of the arrival counts, by which the likelihood is weakened."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from satdiag.entitlement.families import Array
from satdiag.entitlement.fill_in import FillIn

LEAST_EXPECTED = 2.0  # expected channels in a cell
FEW_CELLS = 8  # with fewer, a shape would bend round any clump: the fit without a shape is held against the counts
PRIOR_CELLS = 0.5  # weight of 'no groups', so that a single spare cell cannot shout
MOST_STRETCHES = 120
_TINY = 1e-300


@dataclass(frozen=True)
class Fit:
    """A fitted pi S(t), as a function of exposure [s], and how many parameters were fitted."""

    come_survival: Callable[[Array], Array]
    parameters: float


def dispersion_of(fill: FillIn, flexible: Fit, plain: Fit) -> float:
    """Pearson's X^2 per degree of freedom of the arrival counts, at least 1 (McCullagh and Nelder, 1989, 4.5.2).

    When one message authorises several channels the counts scatter more than independent channels would, and every
    likelihood is worth less by this factor. `plain` (without a shape) is used when there are few stretches to count
    in, `flexible` otherwise. With too few stretches to tell, 1.
    """
    if fill.arrivals == 0:
        return 1.0
    fit = flexible
    observed, expected = _cells(fill, fit.come_survival)
    if len(expected) < FEW_CELLS:
        fit = plain
        observed, expected = _cells(fill, fit.come_survival)
    freedom = max(len(expected) - 1.0 - fit.parameters, 0.0)
    if freedom == 0.0:
        return 1.0
    chi_squared = float(np.sum((observed - expected) ** 2 / np.maximum(expected, _TINY)))
    return max(1.0, (chi_squared + PRIOR_CELLS) / (freedom + PRIOR_CELLS))


def _cells(fill: FillIn, come_survival: Callable[[Array], Array]) -> tuple[Array, Array]:
    """Observed and expected channels in pooled stretches of exposure, those that have not come in the last cell.

    An arrival counts in the stretch that holds the middle of its interval; a channel is expected in a stretch only
    if it was still being looked at then.
    """
    ends = _stretch_ends(fill)
    last_look_s = np.sort(np.concatenate([np.full(fill.arrivals, ends[-1]), fill.unseen_s]))
    watched = len(last_look_s) - np.searchsorted(last_look_s, ends[1:] * (1 - 1e-12))
    expected = watched * -np.diff(come_survival(ends))
    middle = (fill.seen_lower_s + fill.seen_upper_s) / 2
    observed = np.histogram(middle, ends)[0].astype(float)
    observed, expected = _pool(observed, expected)
    observed = np.append(observed, len(fill.unseen_s))
    expected = np.append(expected, max(len(last_look_s) - expected.sum(), 0.0))
    if expected[-1] < LEAST_EXPECTED:
        observed, expected = _merge_last(observed), _merge_last(expected)
    return observed, expected


def _stretch_ends(fill: FillIn) -> Array:
    """Stretches as long as the checks were apart: cut by step, not at the arrivals, which would favour clumps."""
    horizon_s = max(float(fill.seen_upper_s.max()), float(fill.unseen_s.max(initial=0.0)))
    width_s = fill.seen_upper_s - fill.seen_lower_s
    step_s = float(np.median(width_s))
    ends = [0.0]
    while ends[-1] < horizon_s:
        here = (fill.seen_lower_s <= ends[-1]) & (fill.seen_upper_s > ends[-1])
        if here.any():
            step_s = float(np.median(width_s[here]))
        ends.append(ends[-1] + max(step_s, horizon_s / MOST_STRETCHES))
    ends[-1] = horizon_s
    return np.array(ends)


def _pool(observed: Array, expected: Array) -> tuple[Array, Array]:
    """Join neighbouring stretches until each expects enough channels; a remainder joins the last one."""
    pooled: list[Array] = []
    run = np.zeros(2)
    for cell in np.column_stack([observed, expected]):
        run = run + cell
        if run[1] >= LEAST_EXPECTED:
            pooled.append(run)
            run = np.zeros(2)
    if pooled:
        pooled[-1] = pooled[-1] + run
    else:
        pooled.append(run)
    table = np.array(pooled)
    return table[:, 0], table[:, 1]


def _merge_last(counts: Array) -> Array:
    return np.append(counts[:-2], counts[-2] + counts[-1])
