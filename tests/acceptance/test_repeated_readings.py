"""The mean of readings that repeat each other; the worlds are simulated by our own model of memory and noise."""

import numpy as np
import pytest
from scipy import stats

from satdiag.acceptance.effects import p_higher, rank_effect
from satdiag.acceptance.repeated import MOST, mean_difference, mean_of


def series(random, t_s, tau_s, noise):
    """A process with memory `tau_s` and a share of noise, variance 1."""
    shared = (1 - noise) * np.exp(-np.abs(t_s[:, None] - t_s[None, :]) / tau_s)
    return np.linalg.cholesky(shared + (noise + 1e-9) * np.eye(len(t_s))) @ random.normal(size=len(t_s))


def test_independent_readings_give_students_interval():
    random = np.random.default_rng(3)
    values = random.normal(10.0, 2.0, 60)
    found = mean_of(np.arange(60) * 3600.0, values, 0.01)
    reference = stats.t.interval(0.90, 59, values.mean(), stats.sem(values))
    assert np.quantile(found.draws, [0.05, 0.95]) == pytest.approx(reference, abs=0.06)
    assert found.n_effective == pytest.approx(60, rel=0.05)


def test_readings_a_second_apart_are_not_counted_as_so_many():
    random = np.random.default_rng(4)
    t_s = np.arange(600.0)
    found = mean_of(t_s, series(random, t_s, 60.0, 0.1), 0.1)
    assert found.n == 600
    assert found.n_effective < 30  # 600 s hold about five memories of 2 x 60 s


@pytest.mark.parametrize(("tau_s", "noise", "step_s"), [(5.0, 0.5, 30.0), (120.0, 0.2, 20.0), (400.0, 0.0, 30.0)])
def test_interval_of_a_difference_covers_about_as_promised(tau_s, noise, step_s):
    inside, tries = 0, 25
    for seed in range(tries):
        random = np.random.default_rng([11, seed])
        t_s = np.cumsum(random.exponential(step_s, 40))
        a = mean_of(t_s, series(random, t_s, tau_s, noise), 0.1, 0)
        b = mean_of(t_s, 1.0 + series(random, t_s, tau_s, noise), 0.1, 1)
        found = mean_difference(a, b)
        inside += found.low <= 1.0 <= found.high
    assert inside / tries >= 0.75  # 90 % promised; the longer proof below asks for more


@pytest.mark.long
@pytest.mark.parametrize("tau_s", [2.0, 60.0, 200.0])
def test_coverage_holds_over_many_worlds(tau_s):
    inside, tries = 0, 400
    for seed in range(tries):
        random = np.random.default_rng([12, seed])
        t_s = np.cumsum(random.exponential(30.0, 50))
        a = mean_of(t_s, series(random, t_s, tau_s, 0.2), 0.1, 0)
        b = mean_of(t_s, series(random, t_s, tau_s, 0.2), 0.1, 1)
        found = mean_difference(a, b)
        inside += found.low <= 0.0 <= found.high
    assert inside / tries >= 0.86


def test_ranks_of_repeating_readings_do_not_cry_wolf():
    """Bars of the same process on either side: at most a few in a hundred pairs show a change at 5 %."""
    wrong, tries = 0, 25
    for seed in range(tries):
        random = np.random.default_rng([13, seed])
        t_s = np.arange(80) * 10.0
        sides = [np.clip(np.round(3 + series(random, t_s, 60.0, 0.2)), 0, 5) for _ in range(2)]
        means = [mean_of(t_s, side, 1.0, number) for number, side in enumerate(sides)]
        effect = rank_effect(p_higher(*sides), means[0].n_effective, means[1].n_effective)
        wrong += effect.p_value < 0.05
    assert wrong <= 5  # 1 expected; plain ranks, which count 80 a side, cry wolf in about every second pair


def test_long_logs_are_averaged_in_runs_and_stay_the_same():
    t_s = np.arange(5000.0)
    found = mean_of(t_s, np.sin(t_s / 7.0) + 5.0, 0.1)
    assert found.n == 5000 > MOST
    assert found.value == pytest.approx(5.0, abs=0.05)


def test_a_single_reading_has_no_interval():
    assert mean_of(np.zeros(1), np.zeros(1), 0.1) is None
