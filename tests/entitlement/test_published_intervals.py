"""Packaged interval-censored data without a share that never comes: fits and step curves of other programs.

Where the references come from is said in tests/references/published_fits.py. Each library is run here too, so a
number that a later release mends shows.
"""

import numpy as np
import pytest
from lifelines import ExponentialFitter, LogNormalFitter, WeibullFitter, exceptions
from lifelines.fitters.npmle import npmle

from satdiag.entitlement.turnbull import step_curve
from tests.entitlement.fitting import best, intervals, rows_of
from tests.references import entitlement_values as values
from tests.references import published_fits as reference

FITTERS = {"exponential": ExponentialFitter, "weibull": WeibullFitter, "log-normal": LogNormalFitter}
SHIFT = 1e-7  # lifelines takes intervals as closed: moving the left end makes them half-open


@pytest.mark.parametrize(
    ("data", "name"), [(data, name) for data, fits in reference.WITHOUT_A_CURE.items() for name in fits]
)
def test_fits_without_a_cure(data, name):
    lower, upper = intervals(data)
    expected = reference.WITHOUT_A_CURE[data][name]
    theirs = FITTERS[name]().fit_interval_censoring(lower, upper)
    assert theirs.log_likelihood_ == pytest.approx(expected[-1], abs=2e-5)
    ours = best(name, rows_of(lower, upper), 0.9 * expected[0], cure=False)
    assert ours[-1] == pytest.approx(expected[-1], abs=2e-5)
    assert ours[-1] >= theirs.log_likelihood_ - 2e-5
    assert ours[1] == pytest.approx(expected[0], rel=2e-3)
    assert ours[2] is None or ours[2] == pytest.approx(expected[1], rel=2e-3)


def test_an_exponential_that_lifelines_does_not_find():
    """It clips S(L) - S(R) at 1e-25, where the slope is zero, and stays at its first guess. (lifelines 0.30.3)"""
    lower, upper = intervals("mice ge")
    scale, _, top = reference.MICE_GE_EXPONENTIAL
    with pytest.warns(exceptions.ApproximationWarning):
        stuck = ExponentialFitter().fit_interval_censoring(lower, upper)
    assert stuck.lambda_ == pytest.approx(1.0, abs=1e-6)
    assert stuck.log_likelihood_ < -700.0
    ours = best("exponential", rows_of(lower, upper), 300.0, cure=False)
    assert ours[1] == pytest.approx(scale, rel=1e-4)
    assert ours[-1] == pytest.approx(top, abs=2e-6)


@pytest.mark.parametrize(("ends", "counts", "from_r", "log_l"), reference.GROUPED)
def test_grouped_rows_that_were_checked_with_r(ends, counts, from_r, log_l):
    shape, scale, close = from_r
    found = best("weibull", rows_of(*ends, counts), 5000.0, 0.1, cure=False)
    assert (found[2], found[1]) == pytest.approx((shape, scale), rel=close)
    assert found[-1] == pytest.approx(log_l, abs=1e-4)


# --- step curves -------------------------------------------------------------------------------------------------


def curve_of(data):
    lower, upper = (np.asarray(ends, dtype=float) for ends in intervals(data))
    return step_curve(lower, upper, np.ones(len(lower)))


@pytest.mark.parametrize("data", reference.STEP_CURVES)
def test_step_curves(data):
    log_l, masses = reference.STEP_CURVES[data]
    found = curve_of(data)
    assert found.log_likelihood == pytest.approx(log_l, abs=2e-6)
    cells = zip(found.lower_s, found.upper_s, found.mass, strict=True)
    assert {(low, high): m for low, high, m in cells if m > 1e-4} == pytest.approx(masses, abs=6e-5)


@pytest.mark.parametrize("data", reference.STEP_LOG_LIKELIHOODS)
def test_step_curve_log_likelihoods(data):
    assert curve_of(data).log_likelihood == pytest.approx(reference.STEP_LOG_LIKELIHOODS[data], abs=2e-6)


def by_lifelines(lower, upper):
    """Masses, their intervals, and the log-likelihood of lifelines' step curve for closed intervals."""
    mass, cells = npmle(lower, upper, tol=1e-9)
    cells = np.array([tuple(cell) for cell in cells])
    inside = (cells[:, 0] >= lower[:, None]) & (cells[:, 1] <= upper[:, None])
    return np.asarray(mass), cells, float(np.log(inside @ np.asarray(mass)).sum())


@pytest.mark.parametrize("data", reference.CLOSED_LOG_LIKELIHOODS)
def test_closed_intervals_give_another_curve(data):
    """Which end belongs to an interval decides the answer; moving lifelines' left ends gives ours."""
    lower, upper = intervals(data)
    _, cells, closed = by_lifelines(lower, upper)
    assert closed == pytest.approx(reference.CLOSED_LOG_LIKELIHOODS[data], abs=2e-2)
    ours = curve_of(data)
    assert closed > ours.log_likelihood + 3.0
    moved = np.where((lower == upper) | (lower == 0), lower, lower + SHIFT)
    mass, cells_moved, same = by_lifelines(moved, upper)
    assert same == pytest.approx(ours.log_likelihood, abs=2e-2)
    if data == "cosmesis radiotherapy":
        points = {low for (low, high) in cells.tolist() if low == high}
        assert set(reference.COSMESIS_CLOSED_POINTS) <= points
        theirs = dict(zip(cells_moved[:, 1].tolist(), mass.tolist(), strict=True))
        for (_, high), expected in values.COSMESIS_MASSES.items():
            assert theirs.get(float(high), 0.0) == pytest.approx(expected, abs=2e-3)
