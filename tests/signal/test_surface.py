"""A density known from few of its places: beside the same one worked out everywhere."""

import numpy as np
import pytest

from satdiag.signal import chain
from satdiag.signal.chain import History, posterior
from satdiag.signal.surface import Surface, near_top, surface

X, Y = np.linspace(0.0, 1.0, 180), np.linspace(-3.0, 2.0, 48)


def normal(x_at, y_at, x_wide, y_wide):
    return lambda x, y: -0.5 * (((x - x_at) / x_wide)[:, None] ** 2 + ((y - y_at) / y_wide)[None, :] ** 2)


def kept(log):
    """What `near_top` leaves out, how much it works out in all, and that what it gives is right."""
    asked = []

    def counted(x, y):
        asked.append(len(x) * len(y))
        return log(x, y)

    found, wanted = near_top(counted, X, Y), log(X, Y)
    given = np.isfinite(found)
    assert (found[given] == wanted[given]).all()
    assert (given | (wanted < wanted.max() - 30.0)).all()
    return sum(asked)


@pytest.mark.parametrize("x_at", [0.0, 0.401, 0.5, 1.0])
@pytest.mark.parametrize("wide", [0.003, 0.02, 0.3, 5.0])
def test_all_that_counts_is_worked_out(x_at, wide):
    kept(normal(x_at, 0.3, wide, 5.0 * wide))
    kept(normal(0.3, -3.0 + 5.0 * x_at, 0.3, wide))


def test_a_narrow_density_needs_a_small_part_of_the_grid():
    assert kept(normal(0.4, 0.3, 0.02, 0.1)) < 180 * 48 / 4


def test_two_tops_are_both_kept():
    one, other = normal(0.2, -2.0, 0.03, 0.2), normal(0.8, 1.0, 0.03, 0.2)
    kept(lambda x, y: np.logaddexp(one(x, y), other(x, y) - 5.0))


def test_a_slanting_ridge_between_the_places_looked_at_is_kept_whole():
    kept(lambda x, y: -0.5 * (((x - 0.5)[:, None] - 0.1 * y[None, :]) / 0.002) ** 2 - 0.02 * y[None, :] ** 2)


def nothing(x, y):
    return np.zeros((len(x), len(y)))


def test_a_smooth_logarithm_is_told_by_a_polynomial():
    def log(x, y):
        return 300.0 * np.log(0.1 + x[:, None] * np.exp(-np.exp(y))[None, :]) - 500.0 * x[:, None] ** 2

    found = surface(log, (0.2, 0.6), (-3.0, -1.0), nothing)
    assert isinstance(found, Surface)
    x, y = np.linspace(0.2, 0.6, 61), np.linspace(-3.0, -1.0, 43)
    assert np.abs(found(x, y) - log(x, y)).max() < 1e-6


def test_a_logarithm_with_an_edge_is_taken_as_it_is():
    def log(x, y):
        return -40.0 * np.abs(x - 0.41)[:, None] + 0.0 * y[None, :]

    assert surface(log, (0.0, 1.0), (0.0, 1.0), nothing) is log


# --- histories ---------------------------------------------------------------------------------------------------


def everywhere(history):
    """The weights and ends of `chain.posterior` from every cell of every grid."""
    latest_s = chain.FORGETS_WITHIN_S[1]
    if history.changes:
        latest_s = max(latest_s, 2.0 * history.watched_s)
    told, ends = chain._told(history), [(0.0, np.pi / 2.0), (-np.log(latest_s), -np.log(chain.FORGETS_WITHIN_S[0]))]
    for _ in range(3):
        x, y = (low + (np.arange(n) + 0.5) / n * (high - low) for (low, high), n in zip(ends, (180, 48), strict=True))
        log = told.log_likelihood(x, y)
        weight, used = np.exp(log - log.max()), ends
        weight /= weight.sum()
        ends = [chain._filled(weight.sum(axis=1 - axis), part) for axis, part in enumerate(ends)]
    return weight, used


@pytest.mark.parametrize("count", [1, 3, 12, 80, 700, 6000])
@pytest.mark.parametrize(("yes_s", "no_s"), [(60.0, 10.0), (2.0, 300.0), (1.0, 1.0), (4000.0, 900.0)])
@pytest.mark.parametrize("step_s", [0.2, 1.0, 30.0])
def test_a_posterior_is_that_of_the_whole_grid(count, yes_s, no_s, step_s):
    random = np.random.default_rng([count, int(yes_s), int(10 * step_s)])
    at_s = np.cumsum(step_s * random.choice([1.0, 1.0, 1.0, 1.0, 0.9, 40.0], count))
    turns = np.cumsum(random.exponential(np.tile([yes_s, no_s], 40 + 2 * int(at_s[-1] / (yes_s + no_s)))))
    history = History(at_s, at_s + step_s, np.searchsorted(turns, at_s) % 2 == 0)
    found, (weight, (angles, logs)) = posterior(history), everywhere(history)
    assert (found.angles, found.logs) == (pytest.approx(angles, abs=1e-12), pytest.approx(logs, abs=1e-12))
    assert np.abs(found.weight - weight).sum() < 1e-4
