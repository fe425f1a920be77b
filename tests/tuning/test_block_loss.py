"""Block loss from times to title. Simulated data prove the computation against our own model only."""

import numpy as np
import pytest
from scipy import integrate

from satdiag.tuning.attempts import Delays
from satdiag.tuning.block_loss import FEWEST_TITLES, WIDEST_INTERVAL, block_loss, carousel_survival, loss_posterior


def draw(rng, n, t0_s, period_s, loss, given_up_s=np.inf):
    """Times to title with a hand's jitter, in tenths of a second; longer ones are given up."""
    title = t0_s + period_s * (rng.random(n) + rng.geometric(1 - loss, n) - 1) + rng.normal(0, 0.1, n)
    came = title < given_up_s
    return Delays(np.round(np.where(came, title, given_up_s), 1).clip(0), came, int((~came).sum()))


def test_survival_of_the_carousel_at_worked_values():
    """S for P = 300, e = 0.1: linear within a pass, and times 0.1 from pass to pass."""
    found = carousel_survival(np.array([-5, 0, 100, 300, 450, 900]), np.array(300.0), np.array(0.1))
    assert found == pytest.approx([1, 1, 0.7, 0.1, 0.055, 0.001])


@pytest.mark.parametrize(("loss", "blocks", "mean"), [(0.01, 1, 0.5101), (0.05, 10, 1.1702), (0.1, 10, 2.3680)])
def test_mean_of_the_carousel_is_one_over_q_less_one_half(loss, blocks, mean):
    """Mean of U + G - 1 with G geometric(q) is 1/q - 1/2; here by integrating the survival function."""
    title_loss = 1 - (1 - loss) ** blocks
    t = np.linspace(0.0, 60.0, 60_001)  # the survival function is piecewise linear, so the trapezium rule is exact
    found = float(integrate.trapezoid(carousel_survival(t, np.array(1.0), np.array(title_loss)), t))
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
    low, high = loss_posterior(slow, 1.0).interval_90
    assert high - low > WIDEST_INTERVAL
    assert "do not tell" in str(block_loss(slow, 1.0))


def test_titles_given_up_raise_the_loss():
    rng = np.random.default_rng(4)
    came = draw(rng, 30, 2.0, 5.0, 0.1)
    waits = Delays(np.append(came.duration_s, [40.0] * 10), np.append(came.came, [False] * 10), 10)
    assert loss_posterior(waits, 0.1).quantile(0.5) > loss_posterior(came, 0.1).quantile(0.5) + 0.1


def test_posterior_is_a_distribution_and_its_quantiles_rise():
    posterior = loss_posterior(draw(np.random.default_rng(6), 40, 2.0, 5.0, 0.2), 0.1)
    assert posterior.weights.sum() == pytest.approx(1.0)
    quantiles = [posterior.quantile(share) for share in (0.0, 0.05, 0.5, 0.95, 1.0)]
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
        low, high = loss_posterior(titles, 0.1).interval_90
        covered += low <= loss <= high
    assert 0.82 < covered / 150 < 0.98
