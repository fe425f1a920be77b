"""The tests that may stop at any time: error rates and stopping times, exactly and by simulation."""

from functools import partial

import numpy as np
import pytest
from scipy import integrate, stats

from satdiag.tuning.delays import Delays
from satdiag.tuning.stopping import (
    ALPHA,
    HORIZON,
    P_SLOW,
    P_WELL,
    Signs,
    changes_to_go,
    decide,
    log_e_normal,
    log_e_slow,
    signs,
)


def stopped_by(p, stops, horizon=400):
    """P(stopped after at most n changes), n = 1 to horizon, exactly: the number of passes is a random walk."""
    chance, done = np.zeros(horizon + 1), []
    chance[0] = 1.0
    passed = np.arange(horizon + 1)
    for n in range(1, horizon + 1):
        chance = chance * (1 - p) + np.append(0.0, chance[:-1]) * p
        ends = np.zeros(horizon + 1, dtype=bool)
        ends[: n + 1] = stops(passed[: n + 1], n)
        done.append(chance[ends].sum())
        chance[ends] = 0.0
    return np.cumsum(done)


def slow(passed, n):
    return log_e_slow(passed, n) >= -np.log(ALPHA)


def normal(passed, n):
    return log_e_normal(passed, n) >= -np.log(ALPHA)


def quantile(stopped, share):
    return int(np.searchsorted(stopped, share)) + 1


def drawn(seen):
    """Signs of changes of which all tell."""
    beyond = np.asarray(seen, dtype=bool)
    return Signs(beyond, ~beyond)


# --- the evidence ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("beyond", "n"), [(0, 0), (0, 9), (3, 5), (7, 40), (40, 60)])
def test_evidence_is_the_mean_likelihood_ratio_over_the_alternative(beyond, n):
    """By numerical integration, with the binomial likelihood from scipy."""

    def ratio(p, p0):
        return stats.binom.pmf(beyond, n, p) / stats.binom.pmf(beyond, n, p0)

    for log_e, p0, low, high in ((log_e_slow, P_WELL, P_WELL, 1.0), (log_e_normal, P_SLOW, 0.0, P_SLOW)):
        mean, _ = integrate.quad(partial(ratio, p0=p0), low, high, epsrel=1e-9)
        assert float(log_e(beyond, n)) == pytest.approx(np.log(mean / (high - low)), abs=1e-6)


def test_evidence_has_mean_one_at_the_edge_of_what_it_tests_against():
    for log_e, p0 in ((log_e_slow, P_WELL), (log_e_normal, P_SLOW)):
        for n in (1, 10, 50):
            passed = np.arange(n + 1)
            assert stats.binom.pmf(passed, n, p0) @ np.exp(log_e(passed, n)) == pytest.approx(1.0)


# --- error rates and stopping times -------------------------------------------------------------------------------


def test_chance_of_a_wrong_claim_at_any_time():
    """At the edge of the hypotheses, within 400 changes; Ville's inequality says at most alpha.

    .029 at p = .1 was found by a simulation of 4,000 runs apart from this code (standard error .0026).
    """
    assert stopped_by(P_WELL, slow)[-1] == pytest.approx(0.029, abs=3 * 0.0026)
    assert stopped_by(P_SLOW, normal)[-1] < ALPHA
    assert stopped_by(0.05, slow)[-1] < 0.01
    assert stopped_by(0.6, normal)[-1] < 0.01


@pytest.mark.parametrize(("p", "median", "most"), [(0.2, 84, 219), (0.3, 22, 61), (0.5, 5, 15), (0.8, 2, 5)])
def test_stopping_times_of_slow(p, median, most):
    """Median and 90 % quantile of a simulation of 4,000 runs apart from this code: exact within a few per cent."""
    stopped = stopped_by(p, slow)
    assert quantile(stopped, 0.5) == pytest.approx(median, abs=max(1, 0.1 * median))
    assert quantile(stopped, 0.9) == pytest.approx(most, abs=max(1, 0.08 * most))


def test_normal_takes_nine_quick_changes():
    """With none beyond: (1 - 0.6^(n+1)) / (0.4 (n+1) 0.6^n) is 16.4 after eight and 24.6 after nine."""
    assert np.exp(log_e_normal(0, [8, 9])) == pytest.approx([16.4, 24.6], abs=0.06)
    assert decide(drawn([0] * 8)).state == "go-on"
    found = decide(drawn([0] * 9))
    assert (found.state, found.after, found.more) == ("normal", 9, None)


def test_false_alarms_by_simulation():
    """4,000 runs of 200 changes through `decide`, one in ten beyond the line; standard error .0026."""
    rng = np.random.default_rng(31)
    beyond = np.cumsum(rng.random((4000, 200)) < P_WELL, axis=1)
    n = np.arange(1, 201)
    alarms = (log_e_slow(beyond, n) >= -np.log(ALPHA)).any(axis=1).mean()
    assert alarms == pytest.approx(stopped_by(P_WELL, slow, 200)[-1], abs=3 * 0.0026)
    states = [decide(drawn(rng.random(60) < P_WELL)).state for _ in range(600)]
    assert states.count("slow") / 600 < ALPHA
    states = [decide(drawn(rng.random(60) < P_SLOW)).state for _ in range(600)]
    assert states.count("normal") / 600 < ALPHA


def sprt(alpha, beta, p0=P_WELL, p1=P_SLOW):
    """Wald's test of p0 against p1: a rule for each side. Wald, Ann. Math. Stat. 16 (1945) 117-186."""

    def walk(passed, n):
        return passed * np.log(p1 / p0) + (n - passed) * np.log((1 - p1) / (1 - p0))

    def reject(passed, n):
        return walk(passed, n) >= np.log((1 - beta) / alpha)

    def ends(passed, n):
        return reject(passed, n) | (walk(passed, n) <= np.log(beta / (1 - alpha)))

    return reject, ends


def test_beside_the_sequential_probability_ratio_test():
    """Wald's test of .1 against .4 (alpha .05, beta .1) rejects with .029 and .914 and takes 9.8 and 9.5 changes on
    average (4,000 simulated runs, apart from this code). Ours needs no second hypothesis and no planned size."""
    _, ends = sprt(0.05, 0.1)
    means = {}
    for p, mean_n in ((P_WELL, 9.8), (P_SLOW, 9.5)):
        stopped = stopped_by(p, ends)
        means[p] = 1 + (1 - stopped).sum()
        assert means[p] == pytest.approx(mean_n, abs=0.35)
    both = [1 + (1 - stopped_by(p, lambda s, n: slow(s, n) | normal(s, n))).sum() for p in means]
    assert all(ours < 2.2 * wald for ours, wald in zip(both, means.values(), strict=True))


def test_sprt_rejects_as_often_as_printed():
    for p, rejected in ((P_WELL, 0.029), (P_SLOW, 0.914)):
        rng = np.random.default_rng(41)
        passed, n = np.cumsum(rng.random((4000, 200)) < p, axis=1), np.arange(1, 201)
        reject, ends = sprt(0.05, 0.1)
        first = ends(passed, n).argmax(axis=1)
        found = reject(passed, n)[np.arange(4000), first].mean()
        assert found == pytest.approx(rejected, abs=4 * np.sqrt(2 * rejected * (1 - rejected) / 4000))


# --- from delays to a decision ------------------------------------------------------------------------------------


def sample(duration, came=None):
    duration = np.asarray(duration, dtype=float)
    return Delays(duration, np.ones(len(duration), dtype=bool) if came is None else np.asarray(came, dtype=bool), 0)


def test_what_passed_the_line_is_what_surely_did():
    """Line 3 s, marks in whole seconds: a delay of 3 was between 2 and 4 s. A wait that ended is exact at least."""
    found = signs(sample([1, 2, 3, 4, 5, 2, 8], [1, 1, 1, 1, 1, 0, 0]), 3.0, 1.0)
    assert found.within.tolist() == [True, True, False, False, False, False, False]
    assert found.beyond.tolist() == [False, False, False, False, True, False, True]
    exact = signs(sample([2.8, 2.95, 3.05, 3.2]), 3.0, 0.1)
    assert (exact.within.tolist(), exact.beyond.tolist()) == ([1, 0, 0, 0], [0, 0, 0, 1])


def test_changes_that_do_not_tell_count_against_either_claim():
    nothing = np.zeros(30, dtype=bool)
    found = decide(Signs(nothing, nothing))
    assert (found.state, found.unclear, found.e_slow) == ("go-on", 30, 1.0)
    assert found.e_normal == pytest.approx(1 / 31)  # the integral of p^30 over (0, 0.4), by hand
    nine = np.append(np.ones(9, dtype=bool), False)
    assert decide(Signs(np.zeros(10, dtype=bool), nine[::-1])).state == "go-on"  # the one comes first
    assert decide(Signs(np.zeros(10, dtype=bool), nine)).state == "normal"  # decided before it


def test_first_claim_to_be_shown_stands():
    found = decide(drawn([1] * 5 + [0] * 60))
    assert (found.state, found.after) == ("slow", 2)
    found = decide(drawn([0] * 9 + [1] * 20))
    assert (found.state, found.after, found.beyond, found.within) == ("normal", 9, 20, 9)


def test_no_changes_no_evidence():
    found = decide(drawn([]))
    assert (found.state, found.e_slow, found.e_normal, found.beyond) == ("go-on", 1.0, 1.0, 0)
    assert found.more == changes_to_go(0, 0)


def test_evidence_stays_a_finite_number():
    found = decide(drawn([1] * 2 + [1] * 900))
    assert np.isfinite(found.e_slow)


@pytest.mark.parametrize(("beyond", "within"), [(0, 0), (0, 5), (1, 5), (2, 8)])
def test_changes_to_go_against_simulated_futures(beyond, within):
    """The median of 4,000 futures, each with a share of its own from the beta posterior."""
    rng = np.random.default_rng(51)
    p = rng.beta(1 + beyond, 1 + within, 4000)
    passed = beyond + np.cumsum(rng.random((4000, HORIZON)) < p[:, None], axis=1)
    n = beyond + within + np.arange(1, HORIZON + 1)
    ended = slow(passed, n) | normal(passed, n)
    taken = np.where(ended.any(axis=1), ended.argmax(axis=1) + 1, HORIZON + 1)
    assert changes_to_go(beyond, within) == pytest.approx(np.median(taken), abs=1)


def test_many_changes_that_do_not_tell_keep_it_open_for_long():
    """Sixty that may have been slow stand against 'normal', and quick ones alone never show 'slow'."""
    assert changes_to_go(0, 30, unclear=60) is None
