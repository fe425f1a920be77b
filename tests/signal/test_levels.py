"""The clear level and what counts as shadowed, by hand and against numpy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.signal.levels import clear_level, is_shadowed, shadow_step, weighted_quantile


def test_the_clear_level_is_the_median_of_the_clear_time():
    level = np.array([12.0, 11.0, 12.5, 4.0, 2.0, 3.0, np.nan])
    assert clear_level(level, np.ones(7), "dB") == 12.0
    # Half of the time in shadow does not pull it down, nor does one odd high reading pull it up.
    level = np.concatenate([np.full(50, 44.0), np.full(49, 33.0), [50.0]])
    assert clear_level(level, np.ones(100), "dB-Hz") == 44.0


def test_time_counts_not_readings():
    level = np.array([10.0, 12.0])
    assert clear_level(level, np.array([9.0, 1.0]), "dB") == 10.0
    assert clear_level(level, np.array([1.0, 9.0]), "dB") == 12.0


def test_without_levels_there_is_none():
    assert clear_level(np.full(3, np.nan), np.ones(3), "dB") is None
    assert clear_level(np.empty(0), np.empty(0), "percent") is None
    assert clear_level(np.ones(2), np.zeros(2), "dB") is None


@pytest.mark.parametrize(
    ("unit", "step"),
    [("dB", 5.0), ("dB-Hz", 5.0), ("percent", 20.0), ("bars/5", 1.0), ("bars/10", 2.0), ("bars/3", 1.0)],
)
def test_the_step_below_clear(unit, step):
    assert shadow_step(unit) == step
    assert is_shadowed(np.array([20.0 - step, 20.0 - step - 0.5]), 20.0, unit).tolist() == [False, True]


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=40), st.floats(0.01, 0.99))
def test_equal_weights_are_numpys_inverted_cdf(values, quantile):
    numbers = np.array(values, dtype=float)
    wanted = np.quantile(numbers, quantile, method="inverted_cdf")
    assert weighted_quantile(numbers, np.ones(len(numbers)), quantile) == wanted
