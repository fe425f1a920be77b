"""Block loss from times to title. Simulated data prove the computation against our own model only."""

import numpy as np
import pytest
from scipy import integrate

from satdiag.tuning.block_loss import (
    FEWEST_TITLES,
    WIDEST_INTERVAL,
    block_loss,
    carousel_survival,
    loss_likelihoods,
    loss_posterior,
    two_losses,
)
from satdiag.tuning.delays import Delays


def draw(rng, n, t0_s, period_s, loss, given_up_s=np.inf):
    """Times to title with a hand's jitter, in tenths of a second; longer ones are given up."""
    title = t0_s + period_s * (rng.random(n) + rng.geometric(1 - loss, n) - 1) + rng.normal(0, 0.1, n)
    came = title < given_up_s
    return Delays(np.round(np.where(came, title, given_up_s), 1).clip(0), came, int((~came).sum()))


def posterior(titles, resolution_s):
    """The block loss of one group."""
    return loss_posterior(loss_likelihoods([titles], resolution_s))


def survival(after_s, period_s, loss):
    """S at many times for one period and one loss."""
    return carousel_survival(np.asarray(after_s, dtype=float), np.array([period_s]), np.array([loss]))[:, 0, 0]


def test_survival_of_the_carousel_at_worked_values():
    """S for P = 300, e = 0.1: linear within a pass, and times 0.1 from pass to pass."""
    found = survival([-5, 0, 100, 300, 450, 900], 300.0, 0.1)
    assert found == pytest.approx([1, 1, 0.7, 0.1, 0.055, 0.001], rel=1e-5)


@pytest.mark.parametrize(("loss", "blocks", "mean"), [(0.01, 1, 0.5101), (0.05, 10, 1.1702), (0.1, 10, 2.3680)])
def test_mean_of_the_carousel_is_one_over_q_less_one_half(loss, blocks, mean):
    """Mean of U + G - 1 with G geometric(q) is 1/q - 1/2; here by integrating the survival function."""
    title_loss = 1 - (1 - loss) ** blocks
    t = np.linspace(0.0, 60.0, 60_001)  # the survival function is piecewise linear, so the trapezium rule is exact
    found = float(integrate.trapezoid(survival(t, 1.0, title_loss).astype(float), t))
    assert found == pytest.approx(mean, abs=1e-3)
    assert found == pytest.approx(1 / (1 - title_loss) - 0.5, rel=1e-4)


@pytest.mark.parametrize("loss", [0.02, 0.15, 0.35])
def test_many_titles_bring_the_posterior_to_the_truth(loss):
    found = block_loss(draw(np.random.default_rng(21), 400, 2.0, 6.0, loss, 60.0), 0.1)
    assert not isinstance(found, str)
    median, (low, high) = found
    assert low <= median <= high
    assert high - low < 0.15
    assert low - 0.01 <= loss <= high + 0.01


def test_too_few_titles_give_no_figure_but_a_sentence():
    found = block_loss(draw(np.random.default_rng(1), FEWEST_TITLES - 1, 2.0, 6.0, 0.1), 0.1)
    assert found == f"only {FEWEST_TITLES - 1} titles came, {FEWEST_TITLES} are needed: block loss not computed"


def test_titles_that_do_not_tell_loss_from_slow_repetition_give_no_figure():
    """Exponential delays: no steps to be seen, so a short period with much loss fits as well as a long one."""
    rng = np.random.default_rng(2)
    slow = Delays(np.floor(2 + rng.exponential(6.0, 14)), np.ones(14, dtype=bool), 0)
    low, high = posterior(slow, 1.0).interval_90
    assert high - low > WIDEST_INTERVAL
    assert "do not tell" in str(block_loss(slow, 1.0))


def test_titles_given_up_raise_the_loss():
    rng = np.random.default_rng(4)
    came = draw(rng, 30, 2.0, 5.0, 0.1)
    waits = Delays(np.append(came.duration_s, [40.0] * 10), np.append(came.came, [False] * 10), 10)
    assert posterior(waits, 0.1).quantile(0.5) > posterior(came, 0.1).quantile(0.5) + 0.1


def test_posterior_is_a_distribution_and_its_quantiles_rise():
    found = posterior(draw(np.random.default_rng(6), 40, 2.0, 5.0, 0.2), 0.1)
    assert found.weights.sum() == pytest.approx(1.0)
    quantiles = [found.quantile(share) for share in (0.0, 0.05, 0.5, 0.95, 1.0)]
    assert (np.diff(quantiles) > 0).all()
    assert quantiles[0] >= 0
    assert quantiles[-1] <= 1


def test_interval_covers_what_it_says_when_the_truth_comes_from_the_prior():
    """150 simulated jobs of 25 titles; the standard error of the share covered is 0.024."""
    rng = np.random.default_rng(9)
    covered = 0
    for _ in range(150):
        loss = rng.uniform(0, 0.98)
        titles = draw(rng, 25, rng.uniform(0, 10), np.exp(rng.uniform(0, np.log(60))), loss)
        low, high = posterior(titles, 0.1).interval_90
        covered += low <= loss <= high
    assert 0.82 < covered / 150 < 0.98


def group(rng, n, loss):
    return draw(rng, n, 1.5, 5.0, loss, 40.0)


def test_two_groups_with_different_loss_are_told_apart_and_equal_ones_are_not():
    rng = np.random.default_rng(15)
    for losses, low, high in (((0.5, 0.05), 0.99, 1.0), ((0.05, 0.5), 0.0, 0.01), ((0.2, 0.2), 0.02, 0.98)):
        found = two_losses(*loss_likelihoods([group(rng, 60, loss) for loss in losses], 0.1))
        assert low <= found.p_first_more <= high
        for one, loss in zip((found.first, found.second), losses, strict=True):
            assert one.quantile(0.01) <= loss <= one.quantile(0.99)


def test_two_groups_swapped_give_the_same_answer_swapped():
    rng = np.random.default_rng(16)
    one, two = loss_likelihoods([group(rng, 20, 0.1), group(rng, 25, 0.3)], 0.1)
    there, back = two_losses(one, two), two_losses(two, one)
    assert there.p_first_more == pytest.approx(1 - back.p_first_more)
    assert there.first.weights == pytest.approx(back.second.weights, abs=1e-9)


def test_likelihoods_of_parts_add_up_to_the_whole():
    titles = group(np.random.default_rng(17), 40, 0.2)
    parts = [Delays(titles.duration_s[at], titles.came[at], 0) for at in (slice(0, 15), slice(15, 40))]
    whole = posterior(titles, 0.1)
    assert loss_posterior(loss_likelihoods(parts, 0.1)).weights == pytest.approx(whole.weights, abs=1e-4)
