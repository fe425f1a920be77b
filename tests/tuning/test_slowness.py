"""The posterior of the median time to audio: against closed forms, lifelines, and simulation."""

import warnings

import numpy as np
import pytest
from lifelines import LogNormalFitter
from scipy import integrate, stats

from satdiag.tuning.delays import Delays
from satdiag.tuning.slowness import (
    BASELINE_S,
    SLOW_MEDIAN_S,
    SLOW_RATIO,
    SlownessPrior,
    _integrated_cdf,
    _p_later,
    _p_seen,
    p_slower,
    slowness_posterior,
)


def delays(duration, came=None):
    duration = np.asarray(duration, dtype=float)
    came = np.ones(len(duration), dtype=bool) if came is None else np.asarray(came, dtype=bool)
    return Delays(duration, came, 0)


def seen(delay_s, log_median, log_spread, step_s):
    """P(delay as observed) from three values of the integrated distribution function."""
    at = [_integrated_cdf(x, np.array(log_median), np.array(log_spread)) for x in delay_s + step_s * np.arange(-1, 2)]
    return float(_p_seen(*at, step_s))


def test_known_spread_gives_the_conjugate_normal_posterior():
    """Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.5: precisions add."""
    spread, prior = 0.4, SlownessPrior(log_spread_sd=1e-6)
    seen = np.array([1.3, 1.9, 2.6, 1.6, 2.2])
    precision = 1 / prior.log_median_sd**2 + len(seen) / spread**2
    mean = (prior.log_median / prior.log_median_sd**2 + np.log(seen).sum() / spread**2) / precision
    posterior = slowness_posterior(delays(seen), 0.02, prior)
    assert posterior.mean_log_median() == pytest.approx(mean, abs=0.005)
    expected = stats.norm.sf(np.log(2.0), mean, precision**-0.5)
    assert posterior.p_above(2.0) == pytest.approx(expected, abs=0.01)


def test_many_censored_delays_put_the_posterior_on_the_maximum_likelihood_fit_of_lifelines():
    rng = np.random.default_rng(3)
    delay = rng.lognormal(np.log(2.4), 0.5, 800)
    wait = rng.uniform(1, 6, 800)
    seen, came = np.round(np.minimum(delay, wait), 1), delay <= wait
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = LogNormalFitter().fit(seen, came)
    posterior = slowness_posterior(delays(seen, came), 0.1)
    assert posterior.mean_log_median() == pytest.approx(fit.mu_, abs=0.01)


@pytest.mark.parametrize("delay_s", [0.0, 1.0, 2.0, 5.0])
def test_probability_of_a_delay_between_truncated_marks(delay_s):
    """Against numerical integration of the density over the triangle that two cut-off fractions make."""
    log_median, log_spread, step_s = np.log(2.0), np.log(0.5), 1.0
    density = stats.lognorm(np.exp(log_spread), scale=np.exp(log_median)).pdf
    low, high = max(delay_s - step_s, 0.0), delay_s + step_s
    expected, _ = integrate.quad(lambda t: density(t) * (1 - abs(t - delay_s) / step_s), low, high, points=[delay_s])
    assert seen(delay_s, log_median, log_spread, step_s) == pytest.approx(expected, abs=1e-7)


def test_probabilities_of_all_truncated_delays_add_to_one():
    assert sum(seen(k, 0.7, -0.7, 1.0) for k in range(200)) == pytest.approx(1.0, abs=1e-9)


def test_probability_of_a_later_mark():
    found = float(_p_later(3.0, np.array(np.log(2.0)), np.array(np.log(0.5))))
    assert found == pytest.approx(stats.lognorm(0.5, scale=2.0).sf(3.0))
    assert _p_later(0.0, np.zeros((2, 1)), np.zeros((1, 3))).tolist() == np.ones((2, 3)).tolist()


def test_prior_alone_is_what_it_says():
    prior = SlownessPrior()
    expected = stats.norm.sf(np.log(SLOW_MEDIAN_S), prior.log_median, prior.log_median_sd)
    assert slowness_posterior(delays([]), 1.0).p_above(SLOW_MEDIAN_S) == pytest.approx(expected, abs=0.01)
    assert 0.1 < expected < 0.3


def test_quick_changes_are_not_slow_and_slow_ones_are():
    assert slowness_posterior(delays([2, 1, 2, 2, 1, 2, 2, 1]), 1.0).p_above(SLOW_MEDIAN_S) < 0.02
    assert slowness_posterior(delays([5, 6, 4, 7, 5, 6]), 1.0).p_above(SLOW_MEDIAN_S) > 0.98


def test_given_up_attempts_make_it_slow():
    quick = [1, 2, 2]
    with_waits = delays([*quick, 20, 20, 20, 20], [True] * 3 + [False] * 4)
    assert slowness_posterior(delays(quick), 1.0).p_above(SLOW_MEDIAN_S) < 0.1
    assert slowness_posterior(with_waits, 1.0).p_above(SLOW_MEDIAN_S) > 0.8


def test_short_waits_that_ended_tell_little():
    before = slowness_posterior(delays([]), 1.0).p_above(SLOW_MEDIAN_S)
    after = slowness_posterior(delays([1, 1], [False, False]), 1.0).p_above(SLOW_MEDIAN_S)
    assert before <= after < before + 0.1


def test_probability_of_slow_is_calibrated_when_the_truth_comes_from_the_prior():
    """Simulated from our own model, so it proves the computation only: 400 jobs of 6 delays in whole seconds."""
    rng = np.random.default_rng(5)
    prior = SlownessPrior()
    said, slow = [], []
    for _ in range(400):
        log_median = rng.normal(prior.log_median, prior.log_median_sd)
        spread = np.exp(rng.normal(prior.log_spread, prior.log_spread_sd))
        start = rng.random(6)
        seen = np.floor(start + np.exp(rng.normal(log_median, spread, 6)))
        said.append(slowness_posterior(delays(seen), 1.0).p_above(SLOW_MEDIAN_S))
        slow.append(log_median > np.log(SLOW_MEDIAN_S))
    said, slow = np.array(said), np.array(slow)
    error = np.sqrt((said * (1 - said)).sum())
    assert abs(said.sum() - slow.sum()) < 3 * error
    doubtful = (said > 0.2) & (said < 0.8)
    assert abs(said[doubtful].sum() - slow[doubtful].sum()) < 3 * np.sqrt((said * (1 - said))[doubtful].sum())


def test_the_zoomed_grid_agrees_with_one_over_everything():
    """The posterior on one very fine grid without any zoom, for few and for many delays."""
    rng = np.random.default_rng(8)
    for n in (2, 12, 150):
        seen_s = np.round(rng.lognormal(np.log(2.8), 0.35, n), 1)
        prior = SlownessPrior()
        medians, spreads = np.linspace(np.log(0.2), np.log(120), 801)[:, None], np.linspace(-2.5, 0.69, 60)[None, :]
        total = stats.norm.logpdf(medians, prior.log_median, prior.log_median_sd)
        total = total + stats.norm.logpdf(spreads, prior.log_spread, prior.log_spread_sd)
        for delay in seen_s:
            grid = [_integrated_cdf(x, medians, spreads) for x in (delay - 0.1, delay, delay + 0.1)]
            total = total + np.log(np.maximum((grid[2] - 2 * grid[1] + grid[0]) / 0.1, 1e-9))
        weights = np.exp(total - total.max()).sum(axis=1)
        expected = weights[medians[:, 0] > np.log(SLOW_MEDIAN_S)].sum() / weights.sum()
        assert slowness_posterior(delays(seen_s), 0.1).p_above(SLOW_MEDIAN_S) == pytest.approx(expected, abs=0.01)


def test_slower_than_before_is_half_as_long_again():
    """Two well-known medians: above the ratio surely, below it surely not, at it about even."""
    rng = np.random.default_rng(12)
    before = slowness_posterior(delays(np.round(rng.lognormal(np.log(1.8), 0.2, 300), 1)), 0.1)

    def said(ratio):
        return p_slower(delays(np.round(rng.lognormal(np.log(1.8 * ratio), 0.2, 300), 1)), before, 0.1)

    assert said(SLOW_RATIO * 1.15) > 0.99
    assert said(SLOW_RATIO / 1.15) < 0.01
    assert 0.02 < said(SLOW_RATIO) < 0.98


def test_what_is_within_common_practice_is_not_slow_however_quick_it_was():
    quick = slowness_posterior(delays(np.full(40, 0.8)), 0.1)
    assert p_slower(delays(np.full(40, 1.5)), quick, 0.1) < 0.01
    assert p_slower(delays(np.full(40, BASELINE_S[1] * 1.1)), quick, 0.1) > 0.99
