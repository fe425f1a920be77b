"""Survival functions, residual waits and shape priors."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from satdiag.entitlement.families import MOST_WAKE_UPS, TWO_SPEED, all_families, carousel
from tests.entitlement.made import FAMILIES, natural
from tests.references import entitlement_values as reference


@pytest.mark.parametrize(("name", "scale", "shape", "t_s", "expected"), reference.FAMILY_SURVIVAL)
def test_survival_check_values(name, scale, shape, t_s, expected):
    found = FAMILIES[name].survival(np.array([t_s]), *natural(name, scale, shape))
    assert found[0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("name", "scale", "shape", "exposure_s", "p", "expected"), reference.RESIDUALS)
def test_residual_check_values(name, scale, shape, exposure_s, p, expected):
    found = FAMILIES[name].residual(np.array([1.0 - p]), np.array([exposure_s]), *natural(name, scale, shape))
    assert found[0] == pytest.approx(expected, abs=1e-4)


def test_scipy_has_the_same_three_laws():
    t_s = np.array([1.0, 60.0, 300.0, 2000.0])
    a = np.log(250.0)
    assert FAMILIES["exponential"].survival(t_s, a, 0.0) == pytest.approx(stats.expon(scale=250).sf(t_s))
    assert FAMILIES["weibull"].survival(t_s, a, np.log(0.7)) == pytest.approx(
        stats.weibull_min(0.7, scale=250).sf(t_s)
    )
    assert FAMILIES["log-normal"].survival(t_s, a, np.log(1.2)) == pytest.approx(
        stats.lognorm(1.2, scale=250).sf(t_s)
    )


def test_moments_of_the_carousel():
    def survival(t):
        return float(carousel().survival(np.array(t), np.log(300.0), np.array(0.9)))

    periods = range(12)
    mean = sum(integrate.quad(survival, 300 * k, 300 * (k + 1))[0] for k in periods)
    second = sum(integrate.quad(lambda t: 2 * t * survival(t), 300 * k, 300 * (k + 1))[0] for k in periods)
    assert mean == pytest.approx(reference.CAROUSEL_MEAN_S, abs=1e-3)
    assert second - mean**2 == pytest.approx(reference.CAROUSEL_VARIANCE_S2, abs=1e-2)


def test_a_short_carousel_is_an_exponential():
    rate = 1 / 200.0
    period = 0.01
    q = -np.expm1(-rate * period)
    t_s = np.array([10.0, 100.0, 700.0])
    found = carousel().survival(t_s, np.log(period), np.array(q))
    assert found == pytest.approx(np.exp(-rate * t_s), rel=1e-4)


def test_a_carousel_of_certain_passes_ends_after_one_period():
    family = carousel()
    assert family.survival(np.array([150.0, 300.0, 400.0]), np.log(300.0), np.array(1.0)) == pytest.approx(
        [0.5, 0.0, 0.0], abs=1e-8
    )


def test_waking_up_draws_the_phase_afresh():
    family = carousel((120.0, 240.0))
    found = family.survival(np.array(300.0), np.log(300.0), np.array(1.0))
    assert float(found) == pytest.approx(reference.CAROUSEL_WINDOWS_SURVIVAL, abs=1e-6)


def test_only_the_latest_wake_ups_are_kept():
    many = carousel(tuple(10.0 * k for k in range(1, 40)))
    latest = carousel(tuple(10.0 * k for k in range(40 - MOST_WAKE_UPS, 40)))
    t_s = np.array([5.0, 123.0, 500.0])
    assert many.survival(t_s, np.log(50.0), np.array(0.4)) == pytest.approx(
        latest.survival(t_s, np.log(50.0), np.array(0.4))
    )


@given(
    index=st.integers(0, 3),
    scale_s=st.floats(10, 14_000),
    place=st.floats(0.02, 0.98),
    exposure_s=st.floats(0, 5_000),
    tail=st.floats(0.001, 1.0),
    wake_ups_s=st.lists(st.floats(1, 6_000), max_size=4),
)
def test_the_residual_wait_inverts_the_survival(index, scale_s, place, exposure_s, tail, wake_ups_s):
    family = all_families(wake_ups_s)[index]
    low, high = family.shape_range or (0.0, 0.0)
    a, b = np.array(np.log(scale_s)), np.array(low + place * (high - low))
    now = float(family.survival(np.array(exposure_s), a, b))
    if now * tail < 1e-200:
        return
    wait_s = float(family.residual(np.array(tail), np.array(exposure_s), a, b))
    then = float(family.survival(np.array(exposure_s + wait_s), a, b))
    assert wait_s >= 0.0
    assert then == pytest.approx(tail * now, rel=1e-5, abs=1e-12)


@pytest.mark.parametrize("family", [f for f in all_families() if f.shape_range], ids=lambda f: f.name)
def test_shape_priors_are_distributions(family):
    low, high = family.shape_range
    cdf = family.shape_cdf(np.linspace(low, high, 50))
    assert cdf[0] == pytest.approx(0.0, abs=1e-12)
    assert cdf[-1] == pytest.approx(1.0, abs=1e-12)
    assert np.all(np.diff(cdf) > 0)


def test_two_speeds_are_a_mixture_of_exponentials():
    # S(t) = .6 exp(-t/100) + .4 exp(-t/2000), by hand at 300 s.
    log_scale, share = np.array([np.log(100.0)]), np.array([0.4])
    found = TWO_SPEED.survival(np.array([300.0]), log_scale, share)
    assert found[0] == pytest.approx(0.6 * math.exp(-3.0) + 0.4 * math.exp(-0.15))


@pytest.mark.parametrize("exposure_s", [0.0, 50.0, 5000.0, 1e6])
@pytest.mark.parametrize("share", [0.02, 0.4, 0.9])
def test_two_speed_residuals_invert_the_survival(exposure_s, share):
    tail = np.array([1.0, 0.999, 0.5, 0.1, 1e-3, 1e-9])
    log_scale, shape = np.full(len(tail), np.log(100.0)), np.full(len(tail), share)
    wait_s = TWO_SPEED.residual(tail, np.full(len(tail), exposure_s), log_scale, shape)
    assert np.all(wait_s >= 0)
    # P(T > E + r) / P(T > E) in a form that does not vanish: both over exp(-E/(20 tau)).
    quick = (1 - share) * np.exp(-exposure_s / 100.0 * 0.95)
    left = (quick * np.exp(-wait_s / 100.0) + share * np.exp(-wait_s / 2000.0)) / (quick + share)
    assert left == pytest.approx(tail, rel=1e-5)
