"""Kaplan-Meier against published values and against lifelines."""

import warnings

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_leukemia, load_lung, load_waltons
from lifelines.utils import median_survival_times, qth_survival_time
from scipy.stats import binom

from satdiag.tuning.kaplan_meier import (
    FEWEST_FOR_INTERVAL,
    kaplan_meier,
    median_interval_s,
    quantile_s,
)
from tests.references import kaplan_meier as reference


def lifelines_fit(duration, came):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # numpy and pandas deprecations inside lifelines 0.30.3
        return KaplanMeierFitter(alpha=0.1).fit(duration, came)


def assert_agrees(duration, came):
    """Curve, interval, median, 90th percentile and the median's interval, all as lifelines has them."""
    ours, theirs = kaplan_meier(duration, came), lifelines_fit(duration, came)
    assert ours.survival == pytest.approx(theirs.survival_function_.loc[ours.time_s].to_numpy()[:, 0], abs=1e-12)
    inside = ours.survival > 0
    low, high = theirs.confidence_interval_.loc[ours.time_s[inside]].to_numpy().T
    assert ours.low[inside] == pytest.approx(low, abs=1e-9)
    assert ours.high[inside] == pytest.approx(high, abs=1e-9)
    for share in (0.5, 0.9):
        expected = qth_survival_time(1 - share, theirs.survival_function_)
        found = quantile_s(ours, share)
        assert (np.inf if found is None else found) == pytest.approx(expected)
    limits = median_survival_times(theirs.confidence_interval_).to_numpy()[0]
    if np.isfinite(limits[0]):
        low_s, high_s = median_interval_s(ours)
        assert (low_s, np.inf if high_s is None else high_s) == pytest.approx(tuple(limits))


def test_published_estimates_of_a_textbook_data_set():
    curve = kaplan_meier(reference.REMISSION_WEEKS, reference.RELAPSED)
    found = dict(zip(curve.time_s, curve.survival, strict=True))
    assert found == {week: pytest.approx(share, abs=5e-4) for week, share in reference.SURVIVAL.items()}
    assert quantile_s(curve, 0.5) == reference.MEDIAN_WEEKS


def test_lifelines_agrees_on_the_textbook_data_set():
    shipped = load_leukemia().query("Rx == 0")
    assert sorted(shipped["t"]) == sorted(reference.REMISSION_WEEKS)
    assert_agrees(shipped["t"].to_numpy(), shipped["status"].to_numpy())


@pytest.mark.parametrize(("load", "duration", "came"), [(load_waltons, "T", "E"), (load_lung, "time", "status")])
def test_lifelines_agrees_on_data_sets_that_it_ships(load, duration, came):
    data = load()
    assert_agrees(data[duration].to_numpy(float), data[came].to_numpy())


@pytest.mark.parametrize("seed", range(20))
def test_lifelines_agrees_on_simulated_delays(seed):
    """Simulated in whole seconds, hence full of ties; a given seed gives the same delays each time."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(8, 120))
    delay = np.ceil(rng.lognormal(1.0, 0.6, n))
    wait = np.ceil(rng.exponential(rng.uniform(3, 30), n))
    assert_agrees(np.minimum(delay, wait), delay <= wait)


def test_without_censoring_the_curve_is_the_share_that_is_left():
    curve = kaplan_meier([1, 2, 2, 4], [True] * 4)
    assert curve.time_s.tolist() == [1, 2, 4]
    assert curve.survival == pytest.approx([0.75, 0.25, 0.0])
    assert quantile_s(curve, 0.5) == 2


def test_a_curve_that_touches_one_half_has_its_median_there():
    """4/5 * 3/4 * 2/3 ... in binary fractions is not exactly one half."""
    for n in range(2, 40, 2):
        curve = kaplan_meier(np.arange(1, n + 1), np.ones(n))
        assert quantile_s(curve, 0.5) == n / 2


def test_a_delay_that_came_counts_before_a_wait_that_ended_at_the_same_time():
    curve = kaplan_meier([2, 2, 3], [True, False, True])
    assert curve.survival == pytest.approx([2 / 3, 0])


def test_no_median_where_less_than_half_came():
    curve = kaplan_meier([1, 5, 5, 5, 5], [True, False, False, False, False])
    assert quantile_s(curve, 0.5) is None
    assert quantile_s(curve, 0.2) == 1


def test_nothing_came():
    curve = kaplan_meier([5, 6], [False, False])
    assert curve.events == 0
    assert quantile_s(curve, 0.5) is None
    assert median_interval_s(curve) is None
    assert kaplan_meier([], []).events == 0


def test_one_delay_alone_gives_a_median_and_no_interval():
    curve = kaplan_meier([4], [True])
    assert quantile_s(curve, 0.5) == 4
    assert median_interval_s(curve) is None


def test_fewest_delays_for_an_interval():
    """(smallest, largest) misses the median only if all n fall on one side of it; binomial from scipy."""
    miss = {n: 2 * binom.pmf(0, n, 0.5) for n in (FEWEST_FOR_INTERVAL - 1, FEWEST_FOR_INTERVAL)}
    assert miss[FEWEST_FOR_INTERVAL - 1] > 0.1 > miss[FEWEST_FOR_INTERVAL]


def test_interval_of_the_median_is_open_above_where_the_upper_curve_stays_above_one_half():
    low, high = median_interval_s(kaplan_meier([1, 2, 3, 4, 5, 9, 9, 9, 9], [True] * 5 + [False] * 4))
    assert low == 2
    assert high is None


def test_interval_of_the_median_covers_what_it_says():
    """Simulated from our own model: 1,000 samples of 20 delays, a third of them censored; standard error 0.0095."""
    rng = np.random.default_rng(11)
    delay = rng.lognormal(0.6, 0.5, (1000, 20))
    wait = rng.exponential(3.7, (1000, 20))
    assert 0.2 < (delay > wait).mean() < 0.45
    covered = 0
    for d, w in zip(delay, wait, strict=True):
        interval = median_interval_s(kaplan_meier(np.minimum(d, w), d <= w))
        low, high = interval if interval else (0.0, None)
        covered += low <= np.exp(0.6) and (high is None or high >= np.exp(0.6))
    assert 0.87 < covered / 1000 < 0.96
