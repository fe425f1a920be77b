"""The likelihood against surpyval (with a share that never comes) and lifelines (without)."""

import numpy as np
import pytest
import surpyval
from lifelines import MixtureCureFitter, WeibullFitter
from lifelines.datasets import load_diabetes
from scipy import optimize, special

from satdiag.entitlement.fill_in import FillIn, Rows, compress
from satdiag.entitlement.grid import log_likelihood
from tests.entitlement.made import FAMILIES, NO_TIMES, canonical_fill, canonical_rows, natural
from tests.references import entitlement_values as reference

LIBRARY = {
    "exponential": surpyval.Exponential,
    "weibull": surpyval.Weibull,
    "log-normal": surpyval.LogNormal,
}


def at(name, rows, pi, scale, shape):
    return float(log_likelihood(FAMILIES[name], rows, np.array([pi]), *natural(name, scale, shape))[0, 0])


def canonical_ends():
    fill = canonical_fill()
    lower = np.concatenate([fill.seen_lower_s, fill.unseen_s])
    return lower, np.concatenate([fill.seen_upper_s, np.full(len(fill.unseen_s), np.inf)])


@pytest.mark.parametrize("name", LIBRARY)
def test_surpyval_on_the_canonical_set(name):
    lower, upper = canonical_ends()
    model = LIBRARY[name].fit(xl=lower, xr=upper, lfp=True)
    scale, shape = {
        "exponential": lambda p: (1 / p[0], None),
        "weibull": lambda p: (p[0], p[1]),
        "log-normal": lambda p: (np.exp(p[0]), p[1]),
    }[name](model.params)
    ours = at(name, canonical_rows(), model.lfp_p, scale, shape)
    assert ours == pytest.approx(-model.neg_ll(), abs=1e-8)
    assert ours == pytest.approx(reference.FITS[name][-1], abs=2e-6)


@pytest.mark.parametrize("name", reference.FITS)
def test_the_optimum_is_ours_too(name):
    pi, scale, shape, best = reference.FITS[name]
    start = [special.logit(pi), *(float(x[0]) for x in natural(name, scale, shape))]
    rows = canonical_rows()

    def loss(x):
        point = log_likelihood(FAMILIES[name], rows, special.expit(x[:1]), x[1:2], x[2:3])
        return -float(point[0, 0])

    found = optimize.minimize(loss, np.array(start) + 0.05, method="Nelder-Mead", options={"fatol": 1e-10})
    assert -found.fun == pytest.approx(best, abs=2e-6)
    assert special.expit(found.x[0]) == pytest.approx(pi, abs=2e-4)


def test_carousel_at_its_best_point():
    pi, period, q, best = reference.CAROUSEL_FIT
    rows = canonical_rows()
    assert at("carousel", rows, pi, period, q) == pytest.approx(best, abs=2e-6)
    for factor in (0.95, 1.05):
        assert at("carousel", rows, pi, period * factor, q) < best


def diabetes_rows(width=1e-3):
    """lifelines' diabetes data; the 595 exact times become intervals of 2 x width."""
    frame = load_diabetes()
    lower, upper = frame["left"].to_numpy(dtype=float), frame["right"].to_numpy(dtype=float)
    exact = lower == upper
    rows = Rows(np.where(exact, lower - width, lower), np.where(exact, upper + width, upper), np.ones(len(lower)))
    return rows, int(exact.sum()) * np.log(2 * width)


def test_lifelines_weibull_without_a_share_that_never_comes():
    frame = load_diabetes()
    fitted = WeibullFitter().fit_interval_censoring(frame["left"], frame["right"])
    assert (fitted.lambda_, fitted.rho_, fitted.log_likelihood_) == pytest.approx(
        reference.DIABETES_WEIBULL, rel=1e-6
    )
    rows, log_width = diabetes_rows()
    ours = at("weibull", rows, 1.0, fitted.lambda_, fitted.rho_) - log_width
    assert ours == pytest.approx(fitted.log_likelihood_, abs=1e-4)


def test_lifelines_weibull_on_the_truly_interval_censored_rows():
    frame = load_diabetes()
    frame = frame[frame["left"] < frame["right"]]
    fitted = WeibullFitter().fit_interval_censoring(frame["left"], frame["right"])
    lower, upper = frame["left"].to_numpy(dtype=float), frame["right"].to_numpy(dtype=float)
    rows = Rows(lower, upper, np.ones(len(lower)))

    def loss(x):
        return -float(log_likelihood(FAMILIES["weibull"], rows, np.ones(1), x[:1], x[1:])[0, 0])

    ours = optimize.minimize(loss, np.log([15.0, 2.0]), method="Nelder-Mead", options={"fatol": 1e-9})
    assert -ours.fun == pytest.approx(fitted.log_likelihood_, abs=1e-5)
    assert np.exp(ours.x) == pytest.approx([fitted.lambda_, fitted.rho_], rel=1e-3)


def test_why_lifelines_cure_fitter_is_no_reference_here():
    """lifelines 0.30.3 takes log(S(L) - S(inf)) for a row without an upper end, which drops the share that never
    comes: 4 of 20 channels refused for 600 s, the last arrival at 360 s, and it still finds nobody cured."""
    lower, upper = canonical_ends()
    fitted = MixtureCureFitter(WeibullFitter()).fit_interval_censoring(lower, upper)
    assert fitted.cured_fraction_ < 1e-3
    assert fitted.log_likelihood_ < reference.FITS["weibull"][-1] - 2.0
    plain = WeibullFitter().fit_interval_censoring(lower, upper)
    assert fitted.log_likelihood_ == pytest.approx(plain.log_likelihood_, abs=1e-3)


def test_held_channels_count_for_the_share_alone():
    fill = FillIn(np.array([0.0]), np.array([60.0]), NO_TIMES, 60.0, held_s=np.array([10.0, 20.0]))
    rows = compress(fill)
    alone = Rows(rows.lower_s, rows.upper_s, rows.count)
    with_held = at("exponential", rows, 0.6, 100.0, None)
    assert with_held == pytest.approx(at("exponential", alone, 0.6, 100.0, None) + 2 * np.log(0.6))


def test_a_channel_without_information_changes_nothing():
    fill = canonical_fill()
    more = FillIn(fill.seen_lower_s, fill.seen_upper_s, np.append(fill.unseen_s, [-np.inf, -np.inf]), fill.now_s)
    assert at("weibull", compress(more.after(0.0)), 0.7, 150.0, 1.1) == pytest.approx(
        at("weibull", compress(fill), 0.7, 150.0, 1.1)
    )


def test_sharing_out_unseen_channels_hardly_moves_the_likelihood():
    rng = np.random.default_rng(2)
    unseen = rng.uniform(400.0, 800.0, 90)
    fill = FillIn(NO_TIMES, NO_TIMES, unseen, 800.0)
    few, all_of_them = compress(fill), compress(fill, unseen_nodes=1000)
    assert len(few.count) <= 12
    assert few.count.sum() == pytest.approx(90)
    for name, shape in (("exponential", None), ("weibull", 0.6), ("log-normal", 0.9), ("carousel", 0.3)):
        near = at(name, few, 0.8, 300.0, shape)
        assert near == pytest.approx(at(name, all_of_them, 0.8, 300.0, shape), abs=0.05)


def test_widened_interval_ends_still_hold_the_interval():
    rng = np.random.default_rng(2)
    lower = rng.uniform(0, 900, 150)
    upper = lower + rng.uniform(1, 300, 150)
    rows = compress(FillIn(lower, upper, NO_TIMES, 1200.0), seen_ends=40)
    assert len(np.unique(np.concatenate([rows.lower_s, rows.upper_s]))) <= 40
    assert rows.count.sum() == 150
    assert np.sort(rows.lower_s)[0] == lower.min()
    assert rows.upper_s.max() == upper.max()
    assert np.sum(rows.count * (rows.upper_s - rows.lower_s)) >= np.sum(upper - lower)


@pytest.mark.parametrize(
    ("lower", "upper", "unseen"),
    [
        ([60.0], [60.0], []),
        ([-1.0], [5.0], []),
        ([0.0], [np.inf], []),
        ([], [], [-5.0]),
        ([0.0, 1.0], [5.0], []),
        ([-np.inf], [5.0], []),
    ],
)
def test_impossible_fill_ins_are_refused(lower, upper, unseen):
    with pytest.raises(ValueError, match="0 <= lower < upper < inf"):
        FillIn(np.array(lower), np.array(upper), np.array(unseen), 10.0)
