"""The grid posterior against a separate program's figures and against adaptive quadrature."""

import numpy as np
import pytest
from scipy import integrate, special

from satdiag.entitlement.dispersion import Fit, dispersion_of
from satdiag.entitlement.families import EXPONENTIAL, all_families, carousel
from satdiag.entitlement.fill_in import FillIn, arrival_events, compress
from satdiag.entitlement.grid import Priors, family_posterior, log_likelihood
from satdiag.entitlement.posterior import BEFORE_LOG_S, posterior_of, quick_posterior
from tests.entitlement.made import FAMILIES, NO_TIMES, canonical_fill, canonical_rows, checked_every, draw_waits
from tests.references import entitlement_values as reference

FINER = (96, 192, 48)


def come_interval(grid):
    cumulative = np.concatenate([[0.0], np.cumsum(grid.marginals()[0])])
    return np.interp([0.05, 0.95], cumulative, grid.come_edges)


@pytest.mark.parametrize("name", reference.GRID)
@pytest.mark.parametrize(("cells", "close"), [(None, 1.0), (FINER, 0.5)])
def test_canonical_posterior(name, cells, close):
    mean, low, high, still, done, evidence = reference.GRID[name]
    more = {} if cells is None else {"cells": cells}
    grid = family_posterior(FAMILIES[name], canonical_rows(), Priors(), **more)
    assert grid.mass.sum() == pytest.approx(1.0)
    assert grid.mean_come() == pytest.approx(mean, abs=4e-4 * close)
    assert come_interval(grid) == pytest.approx([low, high], abs=1.2e-3)
    assert grid.p_still_coming(600.0) == pytest.approx(still, abs=5e-4 * close)
    assert grid.last_arrival_cdf(4, 600.0, 0.0) == pytest.approx(done, abs=8e-4 * close)
    assert grid.log_evidence == pytest.approx(evidence, abs=4e-3 * close)


@pytest.mark.parametrize("name", reference.GRID_LAST_S)
def test_canonical_last_arrival(name):
    grid = family_posterior(FAMILIES[name], canonical_rows(), Priors())
    done = grid.last_arrival_cdf(4, 600.0, 0.0)
    for p, after_s in zip((0.5, 0.9), reference.GRID_LAST_S[name], strict=True):
        found = (grid.last_arrival_cdf(4, 600.0, after_s) - done) / (1.0 - done)
        assert found == pytest.approx(p, abs=2e-3)


def test_canonical_average():
    average = posterior_of(canonical_fill(), Priors())
    assert average.dispersion == 1.0
    four = average.weights[:4] / average.weights[:4].sum()  # the reference knows the first four laws
    assert [member.family.name for member in average.members] == [
        "exponential",
        "weibull",
        "log-normal",
        "carousel",
        "two-speed",
    ]
    assert four == pytest.approx(reference.MODEL_WEIGHTS, abs=1e-3)
    by_law = [member.p_still_coming(600.0) for member in average.members]
    assert four @ by_law[:4] == pytest.approx(reference.AVERAGE_P_STILL_COMING, abs=3e-4)
    assert average.weights[4] < 0.05
    assert average.p_still_coming(600.0) == pytest.approx(average.weights @ by_law)
    tau = average.members[0]
    assert tau.family is EXPONENTIAL
    cumulative = np.concatenate([[0.0], np.cumsum(tau.marginals()[1])])
    found = np.exp(np.interp([0.05, 0.95], cumulative, tau.scale_edges))
    assert found == pytest.approx(reference.EXPONENTIAL_TAU_90_S, rel=5e-3)


def quadrature(rows, priors, of):
    """Integral of `of(pi, log tau)` times prior times likelihood of the exponential, by adaptive quadrature."""
    span = np.log(priors.longest_s / priors.shortest_s)
    beta = special.beta(priors.come_a, priors.come_b)

    def integrand(log_tau, pi):
        log_l = log_likelihood(EXPONENTIAL, rows, np.array([pi]), np.array([log_tau]), np.zeros(1))[0, 0]
        prior = pi ** (priors.come_a - 1) * (1 - pi) ** (priors.come_b - 1) / beta / span
        return np.exp(log_l + 40.0) * prior * of(pi, np.exp(log_tau))

    edges = np.log([priors.shortest_s, priors.longest_s])
    return integrate.dblquad(integrand, 1e-6, 1 - 1e-6, *edges, epsrel=1e-5)[0]


@pytest.mark.parametrize("priors", [Priors(), Priors(come_a=4.0, come_b=1.0, longest_s=7200.0)])
def test_exponential_against_adaptive_quadrature(priors):
    rows = compress(FillIn(np.array([0.0, 0.0, 60.0]), np.array([60.0, 60.0, 120.0]), np.full(3, 240.0), 240.0))
    grid = family_posterior(EXPONENTIAL, rows, priors)
    total = quadrature(rows, priors, lambda pi, tau: 1.0)
    still = quadrature(rows, priors, lambda pi, tau: pi * np.exp(-240 / tau) / (1 - pi + pi * np.exp(-240 / tau)))
    assert grid.log_evidence == pytest.approx(np.log(total) - 40.0, abs=3e-3)
    assert grid.mean_come() == pytest.approx(quadrature(rows, priors, lambda pi, tau: pi) / total, abs=5e-4)
    assert grid.p_still_coming(240.0) == pytest.approx(still / total, abs=1e-3)


def test_a_narrow_posterior_is_closed_in_on():
    rng = np.random.default_rng(11)
    fill = checked_every(draw_waits(EXPONENTIAL, 0.85, np.log(300.0), 0.0, 4000, rng), 30.0, 3600.0)
    grid = family_posterior(EXPONENTIAL, compress(fill), Priors())
    seen = fill.arrivals / 4000
    low, high = come_interval(grid)
    binomial = 1.645 * np.sqrt(seen * (1 - seen) / 4000)  # follow-up is complete: the interval is the binomial one
    assert [low, high] == pytest.approx([seen - binomial, seen + binomial], abs=2e-3)
    for mass in grid.marginals()[:2]:
        cell = np.arange(len(mass))
        assert np.sqrt(mass @ (cell - mass @ cell) ** 2) > 1.5


def test_without_data_the_posterior_is_the_prior():
    nothing = FillIn(NO_TIMES, NO_TIMES, np.full(5, -np.inf), 0.0)
    priors = Priors(come_a=4.0, come_b=1.0)
    average = posterior_of(nothing, priors)
    assert average.log_evidence == pytest.approx(0.0, abs=1e-3)
    assert average.come_quantile([0.05, 0.5, 0.95]) == pytest.approx(
        special.betaincinv(4.0, 1.0, [0.05, 0.5, 0.95]), abs=5e-3
    )
    assert average.scale_quantile([0.5])[0] == pytest.approx(np.sqrt(10.0 * 4 * 3600.0), rel=0.02)


def test_the_more_silence_the_less_a_living_account_explains_it():
    evidence = [
        posterior_of(FillIn(NO_TIMES, NO_TIMES, np.full(100, e), e), Priors()).log_evidence
        for e in (60.0, 600.0, 3600.0, 14_400.0)
    ]
    assert np.all(np.diff(evidence) < -0.2)


def test_silence_is_not_a_hundred_independent_witnesses():
    # One message may carry the whole account: a hundred refused channels say little more than one.
    one = posterior_of(FillIn(NO_TIMES, NO_TIMES, np.full(1, 900.0), 900.0), Priors()).log_evidence
    many = posterior_of(FillIn(NO_TIMES, NO_TIMES, np.full(100, 900.0), 900.0), Priors()).log_evidence
    assert one - 1.5 < many < one


def test_listening_before_the_log_is_averaged_over():
    # Ten played at the first look, four were refused for 20 min since: with the account's start unknown either the
    # ten had long come and the four never will, or the pace is slow.
    played, refused = np.full(10, -np.inf), np.full(4, 1200.0)
    fill = FillIn(played, np.full(10, 30.0), refused, 1200.0, origin_known=False)
    average = posterior_of(fill, Priors())
    by_start = dict.fromkeys(BEFORE_LOG_S, 0.0)
    for member, weight in zip(average.members, average.weights, strict=True):
        by_start[member.before_s] += weight
    assert by_start[0.0] < by_start[6 * 3600.0]
    known = posterior_of(FillIn(np.zeros(10), np.full(10, 30.0), refused, 1200.0), Priors())
    assert known.p_still_coming(1200.0) < average.p_still_coming(1200.0) < 0.5


def test_a_member_keeps_its_own_clock():
    fill = FillIn(np.array([100.0]), np.array([200.0]), np.full(3, 400.0), 400.0, origin_known=False)
    average = quick_posterior(fill, Priors())
    late = next(m for m in average.members if m.before_s == 1800.0 and m.family is EXPONENTIAL)
    same = family_posterior(EXPONENTIAL, compress(fill.after(1800.0)), Priors())
    assert late.p_still_coming(400.0) == pytest.approx(same.p_still_coming(2200.0), abs=0.02)


def test_wake_ups_reach_the_carousel():
    fill = FillIn(np.array([0.0]), np.array([100.0]), np.full(8, 600.0), 600.0)
    plain, broken = (posterior_of(fill, Priors(), wake_ups_s=w) for w in ((), (120.0, 240.0, 360.0, 480.0)))
    assert plain.weights[0] != broken.weights[0]
    assert plain.members[0].log_evidence == broken.members[0].log_evidence
    assert plain.members[3].log_evidence != broken.members[3].log_evidence


def exact(fill):
    """The dispersion under the law that made the data, no parameter fitted."""
    law = Fit(lambda t: 0.8 * np.exp(-np.asarray(t) / 300.0), 0.0)
    return dispersion_of(fill, law, law)


def test_dispersion_by_hand():
    # Cells (0, 300], (300, 600] and not come: expected 60 x .8 x (.632121, .232544) and the rest.
    lower = np.repeat([0.0, 300.0], [20, 22])
    fill = FillIn(lower, lower + 300.0, np.full(18, 600.0), 600.0)
    hoped = 60 * np.array([0.8 * 0.6321206, 0.8 * 0.2325442, 1 - 0.8 * 0.8646647])
    x2 = np.sum((np.array([20, 22, 18]) - hoped) ** 2 / hoped)
    assert exact(fill) == pytest.approx((x2 + 0.5) / (2 + 0.5), rel=1e-5)


@pytest.mark.parametrize(("size", "low", "high"), [(1, 1.0, 1.3), (5, 3.5, 6.5), (10, 7.0, 13.0)])
def test_dispersion_finds_the_size_of_groups(size, low, high):
    rng = np.random.default_rng(4)
    found = []
    for _ in range(40):
        wait = np.repeat(draw_waits(EXPONENTIAL, 0.8, np.log(300.0), 0.0, 60 // size, rng), size)
        found.append(exact(checked_every(wait, 60.0, 1800.0)))
    assert low <= np.mean(found) <= high
    assert min(found) >= 1.0


def test_arrival_events():
    together = FillIn(np.repeat([0.0, 60.0], 4), np.repeat([60.0, 120.0], 4), NO_TIMES, 120.0)
    assert arrival_events(together) == 2
    # A long interval that overlaps both short ones may belong to either.
    overlapping = FillIn(np.array([0.0, 60.0, 0.0]), np.array([60.0, 120.0, 120.0]), NO_TIMES, 120.0)
    assert arrival_events(overlapping) == 2
    assert arrival_events(FillIn(NO_TIMES, NO_TIMES, np.ones(3), 1.0)) == 0


def test_members_are_the_four_families():
    average = posterior_of(canonical_fill(), Priors())
    assert [m.family.name for m in average.members] == [f.name for f in all_families()]
    assert average.weights.sum() == pytest.approx(1.0)
    assert carousel().name == "carousel"


def test_draws_follow_the_grid():
    grid = family_posterior(FAMILIES["weibull"], canonical_rows(), Priors())
    draws = grid.draw(4000, np.random.default_rng(1))
    assert draws.come.mean() == pytest.approx(grid.mean_come(), abs=2e-3)
    assert np.quantile(draws.come, [0.05, 0.95]) == pytest.approx(come_interval(grid), abs=0.01)
    low, high = grid.family.shape_range
    assert np.all((draws.shape >= low) & (draws.shape <= high))
