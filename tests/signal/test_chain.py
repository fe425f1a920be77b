"""The interval of a share of time: against textbook limits, brute force, and simulated chains.

The coverage test draws from a two-state Markov chain, which is the model itself: it proves the code, not the world.
"""

import numpy as np
import pytest
from scipy import stats
from scipy.linalg import expm

from satdiag.signal import chain
from satdiag.signal.chain import History, chain_draws, interval_of


def sampled(states, step_s):
    """A history of readings `step_s` apart."""
    states = np.asarray(states, dtype=bool)
    start_s = np.arange(len(states)) * float(step_s)
    return History(start_s, start_s + step_s, states)


def simulated(random, yes_s, no_s, length_s):
    """Change times and states of a chain with these mean dwell times, started as it usually stands."""
    now_s, state = 0.0, bool(random.random() < yes_s / (yes_s + no_s))
    times, states = [0.0], [state]
    while (now_s := now_s + random.exponential(yes_s if state else no_s)) < length_s:
        state = not state
        times.append(now_s)
        states.append(state)
    return np.array(times), np.array(states)


# --- what is counted ---------------------------------------------------------------------------------------------


def test_times_and_changes():
    history = History(
        np.array([0.0, 10.0, 20.0, 50.0, 60.0]),
        np.array([10.0, 20.0, 30.0, 60.0, 70.0]),
        np.array([True, False, True, False, True]),
    )
    assert (history.watched_s, history.yes_s) == (50.0, 30.0)
    assert (history.losses, history.gains) == (1, 2)  # what happened from 30 to 50 s was not watched
    assert history.touching.tolist() == [True, True, False, True]


def test_a_log_of_changes_is_told_from_a_log_of_readings():
    assert sampled([1, 0] * 5, 3).writes_changes_only
    assert not sampled([1, 1, 0, 0] * 5, 3).writes_changes_only
    assert not sampled([1, 0, 1], 3).writes_changes_only


# --- limits known from textbooks ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("yes", "no"), [(30, 10), (5, 5), (12, 0), (1, 40)])
def test_readings_far_apart_are_independent_tries(yes, no):
    # Then the posterior is Jeffreys' beta distribution (Brown, Cai and DasGupta 2001, Statistical Science 16, 101).
    states = np.random.default_rng(3).permutation(np.repeat([True, False], [yes, no]))
    at_s = 100_000.0 * np.arange(len(states))  # each stands for a second: nothing was watched in between
    draws = chain_draws(History(at_s, at_s + 1.0, states)).share
    wanted = stats.beta.ppf([0.05, 0.5, 0.95], yes + 0.5, no + 0.5)
    assert np.quantile(draws, [0.05, 0.5, 0.95]) == pytest.approx(wanted, abs=0.012)


def test_a_long_log_against_the_effective_sample_size():
    # Bayley and Hammersley 1946 (from memory): n readings with autocorrelation phi^k are worth
    # n (1 - phi) / (1 + phi) independent ones.
    times, states = simulated(np.random.default_rng(11), 30.0, 10.0, 50_000.0)
    at = np.arange(0.0, 50_000.0, 2.0)
    history = sampled(states[np.searchsorted(times, at, side="right") - 1], 2.0)
    share = history.yes_s / history.watched_s
    phi = np.exp(-2.0 * (1.0 / 30.0 + 1.0 / 10.0))
    worth = len(at) * (1.0 - phi) / (1.0 + phi)
    assert chain_draws(history).share.std() == pytest.approx(np.sqrt(share * (1.0 - share) / worth), rel=0.1)


@pytest.mark.parametrize("states", [[1, 1, 0, 1, 1, 1, 0, 0], [1, 1, 1, 1], [0, 1]])
def test_the_posterior_against_brute_force(states):
    """Transition probabilities by matrix exponential, on an own and coarser grid with the same prior."""
    waits_s = np.resize([1.0, 4.0, 30.0], len(states) - 1)
    starts_s = np.concatenate([[0.0], np.cumsum(waits_s)])
    history = History(starts_s, starts_s + 1.0, np.array(states, dtype=bool))
    shares = np.sin((np.arange(80) + 0.5) / 80 * np.pi / 2) ** 2
    rates = np.exp(np.log(1.0 / 600.0) + (np.arange(25) + 0.5) / 25 * np.log(1200.0))
    weight = np.empty((80, 25))
    for row, share in enumerate(shares):
        for column, rate in enumerate(rates):
            matrix = rate * np.array([[-share, share], [1.0 - share, share - 1.0]])
            chance = share if states[0] else 1.0 - share
            for wait_s, before, after in zip(waits_s, states[:-1], states[1:], strict=True):
                chance *= expm(matrix * wait_s)[before, after]
            weight[row, column] = chance
    weight /= weight.sum()
    draws = chain_draws(history)
    assert draws.share.mean() == pytest.approx((weight.sum(axis=1) * shares).sum(), abs=0.015)
    mean_log_rate = (weight.sum(axis=0) * np.log(rates)).sum()
    assert np.log(draws.rate_per_s).mean() == pytest.approx(mean_log_rate, abs=0.1)


def test_rates_of_a_log_of_changes():
    # Mean dwell times 40 s and 5 s: 3600 / 45 losses an hour in the long run.
    times, states = simulated(np.random.default_rng(5), 40.0, 5.0, 40_000.0)
    history = History(times, np.append(times[1:], 40_000.0), states)
    assert history.writes_changes_only
    draws = chain_draws(history)
    assert draws.losses_per_h.mean() == pytest.approx(80.0, rel=0.1)
    assert draws.share.mean() == pytest.approx(40.0 / 45.0, abs=0.02)


# --- what one can be sure of -------------------------------------------------------------------------------------


def test_longer_unbroken_reception_is_surer_and_never_certain():
    lows = [interval_of(chain_draws(sampled(np.ones(n), 1.0)).share, 1.0)[0] for n in (60, 300, 3600)]
    assert lows == sorted(lows)
    assert lows[0] < 0.5
    assert 0.8 < lows[2] < 0.99


def test_many_readings_of_one_moment_are_no_proof():
    seldom = interval_of(chain_draws(sampled(np.ones(10), 6.0)).share, 1.0)
    often = interval_of(chain_draws(sampled(np.ones(600), 0.1)).share, 1.0)
    assert often[0] < seldom[0] + 0.05


def test_yes_and_no_are_treated_alike():
    states = np.random.default_rng(2).random(60) < 0.7
    one, other = chain_draws(sampled(states, 5.0)).share, chain_draws(sampled(~states, 5.0)).share
    assert np.quantile(one, [0.05, 0.5, 0.95]) == pytest.approx(
        1.0 - np.quantile(other, [0.95, 0.5, 0.05]), abs=0.015
    )


def test_the_value_seen_lies_in_its_interval():
    assert interval_of(np.linspace(0.2, 0.9, 100), 1.0)[1] == 1.0
    assert interval_of(np.linspace(0.2, 0.9, 100), 0.0)[0] == 0.0


@pytest.mark.parametrize(
    ("yes_s", "no_s", "length_s", "step_s"),
    [
        (60.0, 8.0, 900.0, 1.0),
        (20.0, 5.0, 900.0, 1.0),
        (10.0, 40.0, 900.0, 1.0),
        (300.0, 30.0, 3600.0, 5.0),
        (60.0, 8.0, 3600.0, 60.0),  # readings by hand, once a minute
        (60.0, 8.0, 900.0, None),  # a log of changes
    ],
)
def test_coverage_on_simulated_chains(yes_s, no_s, length_s, step_s):
    """Our own model: the 90 % interval holds the long-run share in about nine of ten logs (measured 0.90 to 0.94)."""
    held = 0
    for seed in range(150):
        times, states = simulated(np.random.default_rng([7, seed]), yes_s, no_s, length_s)
        if step_s is None:
            history = History(times, np.append(times[1:], length_s), states)
        else:
            at = np.arange(0.0, length_s, step_s)
            history = sampled(states[np.searchsorted(times, at, side="right") - 1], step_s)
        low, high = interval_of(chain_draws(history).share, history.yes_s / history.watched_s)
        held += low <= yes_s / (yes_s + no_s) <= high
    assert 0.84 <= held / 150 <= 0.98


def test_taking_readings_for_independent_tries_would_not_cover():
    """The trap that the chain avoids: a binomial interval of the same logs."""
    held = 0
    for seed in range(150):
        times, states = simulated(np.random.default_rng([7, seed]), 60.0, 8.0, 900.0)
        at = np.arange(0.0, 900.0)
        yes = int(states[np.searchsorted(times, at, side="right") - 1].sum())
        low, high = stats.beta.ppf([0.05, 0.95], yes + 0.5, 900 - yes + 0.5)
        held += low <= 60.0 / 68.0 <= high
    assert held / 150 < 0.5


def test_prior_cells_cover_everything():
    draws = chain_draws(sampled([True], 1.0))
    assert draws.share.min() < 0.02
    assert draws.share.max() > 0.98
    assert draws.rate_per_s.min() == pytest.approx(1.0 / chain.FORGETS_WITHIN_S[1], rel=0.05)
    assert draws.rate_per_s.max() == pytest.approx(1.0 / chain.FORGETS_WITHIN_S[0], rel=0.05)
