"""Predictions against closed forms, the exact sum over the grid, and their own promises."""

import numpy as np
import pytest
from scipy import optimize, special

from satdiag.entitlement.families import EXPONENTIAL, carousel
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.futures import Weakening, simulate
from satdiag.entitlement.grid import Draws, GridPosterior, Priors
from satdiag.entitlement.posterior import Posterior, posterior_of
from satdiag.entitlement.predict import p_account_dead, predict
from tests.entitlement.made import NO_TIMES, canonical_fill
from tests.references import entitlement_values as reference

NEARLY = 1e-9


def known_posterior(family, come, scale_s, shape):
    """A posterior that knows its parameters: one tiny cell."""
    edges = [np.array([x - NEARLY, x + NEARLY]) for x in (come, np.log(scale_s), shape)]
    grid = GridPosterior(family, *edges, np.ones((1, 1, 1)), 0.0)
    return Posterior((grid,), np.ones(1), 1.0, 0.0)


def unseen(number, exposure_s):
    return FillIn(NO_TIMES, NO_TIMES, np.full(number, exposure_s), exposure_s)


def predicted(fill, priors=Priors()):  # noqa: B008 - frozen
    posterior = posterior_of(fill, priors)
    return predict(
        fill, posterior, p_account_dead(posterior.log_evidence, priors.account_dead) if fill.is_silent else 0.0
    )


def test_chance_and_wait_at_known_parameters():
    found = predict(unseen(10, 600.0), known_posterior(EXPONENTIAL, 0.8, 300.0, 0.0), 0.0, draws=20_000)
    assert found.p_will_come == pytest.approx(np.full(10, reference.P_STILL_COMING), abs=1e-6)
    assert found.p_nothing_more == pytest.approx(reference.LAST_OF_TEN["nothing_more"], abs=1e-5)
    assert found.remaining_to_last_s.median == pytest.approx(reference.LAST_OF_TEN_GIVEN_ANY["median"], rel=0.02)
    for p, value in ((found.remaining_s[0].median, 0.5), (found.remaining_s[0].p95, 0.95)):
        assert p == pytest.approx(-300.0 * np.log(1 - value), rel=0.03)


def test_last_of_ten_against_closed_forms():
    grid = known_posterior(EXPONENTIAL, 0.8, 300.0, 0.0).members[0]
    nothing = grid.last_arrival_cdf(10, 600.0, 0.0)
    assert nothing == pytest.approx(reference.LAST_OF_TEN["nothing_more"], abs=1e-6)
    for p, plain, given_any in (
        (0.5, reference.LAST_OF_TEN["median"], reference.LAST_OF_TEN_GIVEN_ANY["median"]),
        (0.9, reference.LAST_OF_TEN["q90"], reference.LAST_OF_TEN_GIVEN_ANY["q90"]),
    ):
        assert grid.last_arrival_cdf(10, 600.0, plain) == pytest.approx(p, abs=1e-5)
        assert grid.last_arrival_cdf(10, 600.0, given_any) == pytest.approx(nothing + p * (1 - nothing), abs=1e-5)


def test_times_to_a_share_before_any_data():
    found = predict(unseen(150, 0.0), known_posterior(EXPONENTIAL, 1.0 - 1e-8, 300.0, 0.0), 0.0, draws=20_000)
    for share, _mean, median, _q90 in reference.ORDER_STATISTICS:
        assert found.time_to_share_s[share].median == pytest.approx(median, rel=0.01)
        rank = int(np.ceil(share * 150))
        low, high = -300 * np.log1p(-special.betaincinv(rank, 151 - rank, [0.05, 0.95]))
        assert found.time_to_share_s[share].p05 == pytest.approx(low, rel=0.02)
        assert found.time_to_share_s[share].p95 == pytest.approx(high, rel=0.02)


@pytest.mark.parametrize(("period", "q", "number", "mean", "median", "q90"), reference.CAROUSEL_LAST)
def test_last_of_a_carousel(period, q, number, mean, median, q90):
    found = predict(unseen(number, 0.0), known_posterior(carousel(), 1.0 - 1e-8, period, q), 0.0, draws=20_000)
    assert found.time_to_share_s[1.0].median == pytest.approx(median, rel=0.015)
    family, a, b = carousel(), np.log(period), np.array(q)
    # the 90 % point solves F^N = .9
    found_q90 = optimize.brentq(lambda t: float(1 - family.survival(np.array(t), a, b)) ** number - 0.9, 1.0, 5e3)
    assert found_q90 == pytest.approx(q90, abs=0.05)


def test_time_to_most_of_the_final_set_agrees_with_the_order_statistic_formula():
    """Time to 95 % of the final set on the canonical posterior, from k-th order statistics as Beta variables."""
    fill = canonical_fill()
    average = posterior_of(fill, Priors())
    rng = np.random.default_rng(8)
    grid = average.members[0]
    draws = grid.draw(60_000, rng)
    late = draws.come * np.exp(-600.0 / np.exp(draws.log_scale))
    more = rng.binomial(4, late / (1 - draws.come + late))
    rank = np.ceil(0.95 * (16 + more) - 1e-9).astype(int) - 16
    wait = np.zeros(len(more))
    some = rank > 0
    place = rng.beta(rank[some], more[some] - rank[some] + 1)
    wait[some] = -np.exp(draws.log_scale[some]) * np.log1p(-place)
    alone = Posterior((grid,), np.ones(1), 1.0, 0.0)
    futures = simulate(fill, alone.draw(60_000, rng), Weakening(), rng)
    later = np.sort(futures.arrival_s, axis=1)
    here = 16 + np.isfinite(later).sum(axis=1)
    need = np.ceil(0.95 * here - 1e-9).astype(int) - 16
    brute = np.where(need > 0, later[np.arange(len(need)), np.maximum(need - 1, 0)] - 600.0, 0.0)
    assert np.mean(need <= 0) == pytest.approx(np.mean(rank <= 0), abs=0.01)
    assert np.quantile(brute, [0.9, 0.95]) == pytest.approx(np.quantile(wait, [0.9, 0.95]), rel=0.06)


def test_predictions_agree_with_the_exact_sum_over_the_grid():
    fill = canonical_fill()
    average = posterior_of(fill, Priors())
    found = predict(fill, average, 0.0)
    exact = sum(w * m.last_arrival_cdf(4, 600.0, 0.0) for w, m in zip(average.weights, average.members, strict=True))
    assert found.p_nothing_more == pytest.approx(exact, abs=0.01)
    assert found.p_will_come == pytest.approx(np.full(4, average.p_still_coming(600.0)), abs=0.004)

    def given_any(after_s):
        parts = [m.last_arrival_cdf(4, 600.0, after_s) for m in average.members]
        return (float(average.weights @ np.array(parts)) - exact) / (1 - exact)

    last = found.remaining_to_last_s
    assert given_any(last.median) == pytest.approx(0.5, abs=0.04)
    assert given_any(last.p95) == pytest.approx(0.95, abs=0.015)


def test_a_share_already_reached_is_the_observed_interval():
    found = predicted(canonical_fill())
    half = found.time_to_share_s[0.5]  # the 8th to 9th of 16 to 18 came in (60, 120], the 10th of 20 in (120, 180]
    assert (half.p05, half.median) == (60.0, 90.0)
    assert half.p95 in (120.0, 180.0)
    assert (found.time_to_first_s.p05, found.time_to_first_s.p95) == (0.0, 60.0)
    assert found.time_to_share_s[1.0].p95 > 600.0


def test_each_channel_keeps_its_own_exposure():
    fill = canonical_fill()
    fill = FillIn(fill.seen_lower_s, fill.seen_upper_s, np.array([0.0, 60.0, 300.0, 600.0]), 600.0)
    found = predicted(fill)
    assert np.all(np.diff(found.p_will_come) < 0)
    assert found.p_will_come[0] > 0.6
    assert found.remaining_s[0].median == 0.0  # checked long ago: it has probably come and needs a look
    assert found.remaining_s[3].median > 0.0


def test_listening_before_the_log_counts_towards_a_wait():
    edges = [np.array([x - NEARLY, x + NEARLY]) for x in (0.8, np.log(300.0), 0.0)]
    grid = GridPosterior(EXPONENTIAL, *edges, np.ones((1, 1, 1)), 0.0, before_s=600.0)
    found = predict(unseen(10, 0.0), Posterior((grid,), np.ones(1), 1.0, 0.0), 0.0, draws=20_000)
    assert found.p_will_come == pytest.approx(np.full(10, reference.P_STILL_COMING), abs=1e-6)
    assert found.remaining_to_last_s.median == pytest.approx(reference.LAST_OF_TEN_GIVEN_ANY["median"], rel=0.02)
    assert found.waits_listened[0] == pytest.approx((2.0, 2.0), abs=1e-6)


def test_nothing_left_to_wait_for():
    fill = FillIn(np.zeros(3), np.full(3, 50.0), NO_TIMES, 80.0)
    found = predicted(fill)
    assert found.p_all_come == 1.0
    assert found.fraction == 1.0
    assert found.fraction_90 == (1.0, 1.0)
    assert (found.remaining_to_last_s.median, found.remaining_to_last_s.p95) == (0.0, 0.0)


def test_held_channels_were_there_by_their_first_sight():
    fill = FillIn(NO_TIMES, NO_TIMES, NO_TIMES, 100.0, held_s=np.array([4.0, 6.0]), held_before=1)
    found = predicted(fill)
    assert (found.time_to_first_s.p05, found.time_to_first_s.p95) == (0.0, 4.0)
    assert found.fraction == 1.0
    assert list(found.curve_median[[0, -1]]) == [1.0, 3.0]


def test_channels_held_before_are_no_arrivals():
    found = predicted(FillIn(NO_TIMES, NO_TIMES, np.full(2, 300.0), 300.0, held_before=4))
    assert found.fraction_90[0] >= 4 / 6
    assert found.time_to_first_s is None or found.time_to_first_s.p05 >= 300.0


def test_the_same_data_give_the_same_numbers():
    first, second = predicted(canonical_fill()), predicted(canonical_fill())
    assert np.array_equal(first.p_will_come, second.p_will_come)
    assert first.remaining_to_last_s == second.remaining_to_last_s
    assert np.array_equal(first.curve_p95, second.curve_p95)


def test_account_dead_grows_with_silence_and_ends_with_an_arrival():
    chances = [predicted(unseen(120, e)).p_account_dead for e in (0.0, 120.0, 600.0, 1800.0, 7200.0)]
    assert chances[0] == pytest.approx(Priors().account_dead, abs=1e-3)
    assert np.all(np.diff(chances) > 0.02)
    assert chances[-1] > 0.6
    fill = canonical_fill()
    assert p_account_dead(posterior_of(fill, Priors()).log_evidence, 0.15, sightings=fill.arrivals) < 1e-9


def test_account_dead_is_bayes_rule():
    fill = unseen(5, 900.0)
    posterior = posterior_of(fill, Priors())
    odds = 0.3 / 0.7 / np.exp(posterior.log_evidence)
    assert p_account_dead(posterior.log_evidence, 0.3) == pytest.approx(odds / (1 + odds))
    odds *= 0.01 / 0.99
    assert p_account_dead(posterior.log_evidence, 0.3, sightings=1) == pytest.approx(odds / (1 + odds))


def test_a_dead_account_lowers_everything():
    fill = unseen(20, 900.0)
    posterior = posterior_of(fill, Priors())
    alive, dying = predict(fill, posterior, 0.0), predict(fill, posterior, 0.6)
    assert dying.p_will_come == pytest.approx(0.4 * alive.p_will_come)
    assert dying.p_all_come == pytest.approx(0.4 * alive.p_all_come)
    assert dying.fraction == 0.0
    assert dying.fraction_90[1] <= alive.fraction_90[1]
    assert dying.curve_median[-1] == 0.0


def test_waiting_for_one_message():
    edges = [np.array([x - NEARLY, x + NEARLY]) for x in (0.5, np.log(300.0), 0.0)]
    grid = GridPosterior(EXPONENTIAL, *edges, np.ones((1, 1, 1)), 0.0, together=True)
    found = predict(unseen(50, 300.0), Posterior((grid,), np.ones(1), 1.0, 0.0), 0.0, draws=20_000)
    first, last = found.time_to_first_s, found.time_to_share_s[1.0]
    assert first == last  # all with the same message
    assert first.median == pytest.approx(300.0 + 300.0 * np.log(2), rel=0.02)
    assert found.p_will_come == pytest.approx(np.full(50, 0.5), abs=1e-6)


def test_the_curve_stays_within_what_was_seen():
    fill = canonical_fill()
    found = predicted(fill)
    x = found.curve_exposure_s
    at_least = np.searchsorted(np.sort(fill.seen_upper_s), x, side="right")
    at_most = np.searchsorted(np.sort(fill.seen_lower_s), x, side="left")
    past = x <= 600.0
    assert np.all(found.curve_p05[past] >= at_least[past])
    assert np.all(found.curve_p95[past] <= at_most[past])
    for part in (found.curve_p05, found.curve_median, found.curve_p95):
        assert np.all(np.diff(part) >= 0)
        assert part[-1] <= 20


def test_quantiles_are_ordered():
    found = predicted(FillIn(np.array([0.0, 60.0]), np.array([60.0, 120.0]), np.array([200.0, 240.0, 0.0]), 240.0))
    times = [found.time_to_first_s, *found.time_to_share_s.values(), found.remaining_to_last_s, *found.remaining_s]
    for time in times:
        assert 0.0 <= time.p05 <= time.median <= time.p95
    assert found.fraction_90[0] <= found.fraction <= found.fraction_90[1]


def test_draws_of_members_are_as_their_weights():
    average = posterior_of(canonical_fill(), Priors())
    blocks = average.draw(1000, np.random.default_rng(0))
    assert all(isinstance(block, Draws) for block in blocks)
    assert [len(block.come) for block in blocks] == pytest.approx(list(average.weights * 1000), abs=1.5)
