"""The step curve against printed masses, three libraries, and lifelines itself."""

import numpy as np
import pytest
from lifelines.datasets import load_diabetes, load_mice
from lifelines.fitters.npmle import npmle
from scipy.optimize import isotonic_regression

from satdiag.entitlement.turnbull import rising, step_curve
from tests.entitlement.made import canonical_fill
from tests.references import entitlement_values as reference

SHIFT = 1e-7  # lifelines takes intervals as closed: moving the left end makes them half-open


def curve_of(rows):
    table = np.array(rows, dtype=float)
    return step_curve(table[:, 0], table[:, 1], np.ones(len(table)))


def masses(curve, least=1e-7):
    cells = zip(curve.lower_s, curve.upper_s, curve.mass, strict=True)
    return {(low, high): mass for low, high, mass in cells if mass > least}


def test_cosmesis():
    found = curve_of(reference.COSMESIS_RADIOTHERAPY)
    assert masses(found) == pytest.approx(reference.COSMESIS_MASSES, abs=2e-6)
    assert found.log_likelihood == pytest.approx(reference.COSMESIS_LOG_LIKELIHOOD, abs=1e-6)


def test_intervals_are_half_open():
    found = curve_of(reference.CLOSED_AND_HALF_OPEN)
    assert masses(found) == pytest.approx(reference.HALF_OPEN_MASSES, abs=1e-6)
    assert found.log_likelihood == pytest.approx(reference.HALF_OPEN_LOG_LIKELIHOOD, abs=1e-6)


def test_canonical_set_is_the_share_of_channels():
    fill = canonical_fill()
    lower = np.concatenate([fill.seen_lower_s, fill.unseen_s])
    upper = np.concatenate([fill.seen_upper_s, np.full(len(fill.unseen_s), np.inf)])
    found = step_curve(lower, upper, np.ones(20))
    assert found.mass == pytest.approx(np.array([5, 4, 3, 2, 1, 1, 4]) / 20)
    assert found.log_likelihood == pytest.approx(reference.SATURATED_LOG_LIKELIHOOD, abs=1e-6)


@pytest.mark.parametrize(("load", "columns"), [(load_mice, ("l", "u")), (load_diabetes, ("left", "right"))])
def test_lifelines_finds_the_same_likelihood(load, columns):
    frame = load()
    left, right = (frame[column].to_numpy(dtype=float) for column in columns)
    ours = step_curve(left, right, np.ones(len(left)))
    open_left = np.where(left == right, left, np.where(left > 0, left + SHIFT, 0.0))
    mass, cells = npmle(open_left, right, tol=1e-9)
    cells = np.array([tuple(cell) for cell in cells])
    inside = (cells[:, 0] >= open_left[:, None]) & (cells[:, 1] <= right[:, None])
    theirs = float(np.log(inside @ np.asarray(mass)).sum())
    assert ours.log_likelihood == pytest.approx(theirs, abs=2e-2)
    assert ours.log_likelihood >= theirs - 1e-6


def test_on_a_common_grid_lifelines_closed_intervals_would_mislead():
    # All channels checked at the same times: closed intervals let neighbouring cells share their common end.
    lower = np.array([0.0, 0.0, 60.0, 60.0, 120.0])
    upper = np.array([60.0, 60.0, 120.0, 120.0, 180.0])
    ours = step_curve(lower, upper, np.ones(5))
    assert masses(ours) == pytest.approx({(0.0, 60.0): 0.4, (60.0, 120.0): 0.4, (120.0, 180.0): 0.2})
    closed, cells = npmle(lower, upper)
    assert [tuple(cell) for cell in cells] == [(60.0, 60.0), (120.0, 120.0)]
    assert closed == pytest.approx([2 / 3, 1 / 3], abs=1e-3)


def test_the_derivative_condition_holds():
    rng = np.random.default_rng(3)
    lower = rng.uniform(0, 100, 80)
    upper = np.where(rng.random(80) < 0.3, np.inf, lower + rng.uniform(1, 60, 80))
    found = step_curve(lower, upper, np.ones(80))
    inside = (found.lower_s >= lower[:, None]) & (found.upper_s <= upper[:, None])
    derivative = (inside / (inside @ found.mass)[:, None]).sum(axis=0) / 80
    assert derivative.max() <= 1.0 + 1e-9  # Gentleman and Geyer, Biometrika 81 (1994)
    assert found.mass.sum() == pytest.approx(1.0)


def test_bad_rows_are_refused():
    with pytest.raises(ValueError, match="lower <= upper"):
        step_curve(np.array([2.0]), np.array([1.0]), np.ones(1))
    with pytest.raises(ValueError, match="at least one row"):
        step_curve(np.zeros(0), np.zeros(0), np.zeros(0))


def test_values_that_never_fall_are_those_of_scipy():
    random = np.random.default_rng(4)
    for count in [1, 2, 3, 5, 17, 60] * 40:
        value, weight = random.normal(size=count), random.uniform(1e-12, 3.0, count)
        value = np.round(value + random.choice([0.0, 0.1]) * np.arange(count), int(random.integers(0, 9)))
        wanted = isotonic_regression(value, weights=weight).x
        assert rising(value, weight) == pytest.approx(wanted, rel=1e-12, abs=1e-15)
