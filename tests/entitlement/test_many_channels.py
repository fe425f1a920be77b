"""Very many channels: the work by groups against exact laws of order statistics, and against one channel at a time.

What is compared with our own way of one at a time is simulated and proves the code against our own model only.
"""

import numpy as np
import pytest
from scipy import stats

from satdiag.entitlement import band, predict
from satdiag.entitlement.families import EXPONENTIAL, WEIBULL
from satdiag.entitlement.fill_in import FillIn, widened
from satdiag.entitlement.futures import Futures, Weakening, simulate
from satdiag.entitlement.futures_many import simulate_many
from satdiag.entitlement.grid import Draws, Priors
from satdiag.entitlement.posterior import posterior_of
from satdiag.entitlement.turnbull import step_curve
from tests.entitlement.made import NO_TIMES, checked_every, draw_waits

TAU_S = 900.0
DRAWS = 3000


def block(family=EXPONENTIAL, come=0.8, together=False, draws=DRAWS):
    """Draws of one and the same parameters."""
    ones = np.ones(draws)
    return Draws(family, together, 0.0, come * ones, np.log(TAU_S) * ones, 0.0 * ones)


def futures_of(unseen_s, own, weak=Weakening(), groups=None, seed=1):  # noqa: B008 - frozen
    group = np.zeros(0, dtype=np.intp) if groups is None else groups
    fill = FillIn(NO_TIMES, NO_TIMES, unseen_s, float(unseen_s.max()), unseen_group=group)
    return simulate_many(fill, (own,), weak, np.random.default_rng(seed))


def at_share(futures, share):
    """When this share of the channels that come has come."""
    rank = np.maximum(np.ceil(share * futures.coming).astype(int), 1)
    return futures.at_rank(np.arange(len(rank)), rank)


@pytest.mark.parametrize("number", [5000, 100_000])
def test_first_and_last_of_very_many_follow_the_laws_of_order_statistics(number):
    """Of n exponential waits the least is exponential with mean tau/n; the largest has the law (1 - exp(-t/tau))^n.

    David and Nagaraja, Order Statistics, 3rd ed. 2003, sections 2.1 and 2.5.
    """
    found = futures_of(np.zeros(number), block(come=1.0 - 1e-12))
    assert (found.coming == number).all()
    first_s, last_s = found.arrival_s[:, 0], at_share(found, 1.0)
    assert stats.kstest(first_s * number / TAU_S, "expon").pvalue > 1e-3
    assert stats.kstest((1.0 - np.exp(-last_s / TAU_S)) ** number, "uniform").pvalue > 1e-3
    half_s = at_share(found, 0.5)
    assert np.median(half_s) == pytest.approx(TAU_S * np.log(2.0), rel=0.01)
    assert half_s.std() < 2.0 * TAU_S / np.sqrt(number) + 0.01 * TAU_S


def test_how_many_come_is_binomial_and_all_or_none_are_its_ends():
    number, come = 5000, 0.3
    found = futures_of(np.zeros(number), block(come=come))
    law = stats.binom(number, come)
    assert found.coming.mean() == pytest.approx(law.mean(), abs=4.0 * law.std() / np.sqrt(DRAWS))
    assert found.coming.std() == pytest.approx(law.std(), rel=0.06)
    assert found.chance == pytest.approx(np.full(number, come))
    assert found.p_all == pytest.approx(np.full(DRAWS, come**number))
    few = futures_of(np.zeros(5000), block(come=1.0 - 1e-5, draws=10))
    assert few.p_all == pytest.approx(np.full(10, stats.binom(5000, 1.0 - 1e-5).pmf(5000)), rel=1e-6)


def test_a_group_that_lost_its_message_comes_at_one_time():
    found = futures_of(np.linspace(0.0, 600.0, 5000), block(together=True))
    assert (at_share(found, 0.01) == at_share(found, 1.0)).all()
    assert (found.arrival_s[:, 0] > 600.0).all()


def _compared(unseen_s, own, weak, group) -> tuple[Futures, Futures]:
    fill = FillIn(NO_TIMES, NO_TIMES, unseen_s, float(unseen_s.max()), unseen_group=group)
    return tuple(way(fill, (own,), weak, np.random.default_rng(2)) for way in (simulate, simulate_many))


def test_by_groups_it_is_as_one_by_one_also_where_a_category_may_be_outside():
    rng = np.random.default_rng(3)
    unseen_s = np.sort(rng.uniform(200.0, 2500.0, 3000))
    group = np.where(np.arange(3000) % 500 == 0, 0, -1)
    own = block(WEIBULL, 0.4, draws=2000)
    singly, grouped = _compared(unseen_s, own, Weakening(outside=0.3), group)
    assert grouped.chance == pytest.approx(singly.chance, abs=2e-3)
    assert grouped.coming.mean() == pytest.approx(singly.coming.mean(), rel=0.01)
    assert grouped.coming.std() == pytest.approx(singly.coming.std(), rel=0.1)
    assert grouped.p_none == pytest.approx(singly.p_none, abs=1e-9)
    for share in (0.1, 0.5, 0.9, 1.0):
        ours, theirs = at_share(grouped, share), at_share(singly, share)
        assert np.median(ours) == pytest.approx(np.median(theirs), rel=0.02), share
        assert np.quantile(ours, 0.95) == pytest.approx(np.quantile(theirs, 0.95), rel=0.06), share


def test_a_prediction_of_many_is_that_of_each(monkeypatch):
    waits = draw_waits(EXPONENTIAL, 0.9, np.log(TAU_S), 0.0, 6000, np.random.default_rng(4))
    fill = checked_every(waits, 120.0, 1200.0)
    assert fill.arrivals < band.MANY
    assert len(fill.unseen_s) < predict.MANY
    posterior = posterior_of(fill, Priors())
    singly = predict.predict(fill, posterior, 0.0)
    for room in (band, predict):
        monkeypatch.setattr(room, "MANY", 100)
    grouped = predict.predict(fill, posterior, 0.0)
    assert grouped.p_will_come == pytest.approx(singly.p_will_come, abs=1e-9)
    assert grouped.fraction == pytest.approx(singly.fraction, abs=0.003)
    assert grouped.fraction_90 == pytest.approx(singly.fraction_90, abs=0.004)
    for own, other in (
        (grouped.remaining_to_share_s[0.5], singly.remaining_to_share_s[0.5]),
        (grouped.remaining_to_last_s, singly.remaining_to_last_s),
    ):
        assert own.median == pytest.approx(other.median, rel=0.04)
    for own, other in ((grouped.curve_median, singly.curve_median), (grouped.curve_p95, singly.curve_p95)):
        assert np.abs(own - other).max() < 0.005 * fill.channels


def test_arrivals_between_two_points_are_placed_as_a_binomial_law_has_it():
    """5000 intervals each half in one stretch: Binomial(5000, 1/2); those within one stretch are certain."""
    exposure_s = np.linspace(0.0, 600.0, band.POINTS)
    fill = FillIn(np.full(5000, 5.0), np.full(5000, 15.0), NO_TIMES, 600.0)
    counts = band._placed(fill, exposure_s, 2000, np.random.default_rng(5))
    law = stats.binom(5000, 0.5)
    assert counts[:, 1:3].sum(axis=1) == pytest.approx(np.full(2000, 5000.0))
    assert counts[:, 1].mean() == pytest.approx(law.mean(), abs=4.0 * law.std() / np.sqrt(2000))
    assert counts[:, 1].std() == pytest.approx(law.std(), rel=0.08)
    certain = FillIn(np.full(5000, 1.0), np.full(5000, 9.0), NO_TIMES, 600.0)
    assert (band._placed(certain, exposure_s, 5, np.random.default_rng(5))[:, 1] == 5000).all()


def test_with_fewer_ends_the_steps_keep_to_the_empirical_distribution():
    """Narrow intervals that do not overlap: the step curve is the empirical distribution function at their ends."""
    lower_s = np.arange(6000.0)
    lower, upper, count = widened(lower_s, lower_s + 1.0, 300)
    assert len(np.union1d(lower, upper)) == 300
    assert count.sum() == 6000
    found = step_curve(lower, upper, count)
    assert np.cumsum(found.mass) == pytest.approx(found.upper_s / 6000.0, abs=1e-6)
    same = widened(lower_s[:50], lower_s[:50] + 1.0, 300)
    assert (same[0] == lower_s[:50]).all()
    assert (same[2] == 1).all()


def test_a_row_without_an_upper_end_keeps_none():
    lower, upper, count = widened(np.array([1.0, 2.0, 2.0, 3.0]), np.array([4.0, np.inf, np.inf, np.inf]), 3)
    assert np.isinf(upper).sum() == len(upper) - 1
    assert count.sum() == 4
    assert lower.min() == 1.0


@pytest.mark.filterwarnings("error")
def test_arrivals_within_no_listening_at_all_are_where_they_are_however_many():
    """A log that proves no listening: channels come before an exposure of 0 s."""
    exposure_s = np.linspace(0.0, 120.0, band.POINTS)
    lower_s = np.repeat([-np.inf, 30.0], [5000, 1])
    upper_s = np.where(lower_s > 0.0, 35.0, 0.0)
    many = FillIn(lower_s, upper_s, NO_TIMES, 100.0, origin_known=False)
    counts = band._placed(many, exposure_s, 3, np.random.default_rng(5))
    assert counts[:, 0].tolist() == [5000.0] * 3
    assert counts.sum(axis=1).tolist() == [5001.0] * 3
