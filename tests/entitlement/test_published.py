"""Published and packaged data sets: our likelihood, posterior and step curve against other programs' numbers.

Where the references come from is said in tests/references/published_fits.py. Each library is run here too, so a
number that a later release mends shows. Data sets that no test dependency carries are left out (the E1684 trial among
them), and right-censored ones but one: the rows of this room are intervals.
"""

import numpy as np
import pytest
import surpyval
from lifelines import MixtureCureFitter, WeibullFitter
from scipy import optimize, special

from satdiag.entitlement.families import EXPONENTIAL, WEIBULL, all_families, carousel, carousel_survival
from satdiag.entitlement.fill_in import FillIn, compress
from satdiag.entitlement.futures import Weakening, simulate
from satdiag.entitlement.grid import Draws, Priors, family_posterior, log_likelihood
from satdiag.entitlement.posterior import Posterior
from satdiag.entitlement.turnbull import step_curve
from tests.entitlement.fitting import REFERENCES, best, by_surpyval, rows_of, same_fit
from tests.entitlement.made import NO_TIMES, canonical_fill, canonical_rows, checked_every, draw_waits
from tests.references import entitlement_values as values
from tests.references import published_fits as reference

NARROW = 1e-4  # relative half width of the interval that stands for an exact time


# --- the canonical set -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", values.FITS)
def test_canonical_parameters(name):
    same_fit(best(name, canonical_rows(), 200.0), values.FITS[name])


def test_canonical_carousel_by_search():
    """The likelihood of the carousel has kinks, so its best point is searched for on a fine grid."""
    share, period_s, q, top = values.CAROUSEL_FIT
    periods = np.exp(np.linspace(np.log(60.0), np.log(150.0), 400))
    scale, shape = (x.ravel() for x in np.meshgrid(np.log(periods), np.linspace(0.02, 0.999, 200), indexing="ij"))
    found = log_likelihood(carousel(), canonical_rows(), np.linspace(0.6, 0.98, 39), scale, shape)
    assert found.max() <= top + 1e-6
    assert found.max() > top - 0.01
    row, column = np.unravel_index(found.argmax(), found.shape)
    assert np.linspace(0.6, 0.98, 39)[row] == pytest.approx(share, abs=0.01)
    assert (np.exp(scale[column]), shape[column]) == pytest.approx((period_s, q), rel=0.02)


@pytest.mark.parametrize("name", reference.PROFILES)
def test_canonical_profile_intervals(name):
    rows, top = canonical_rows(), values.FITS[name][-1]
    low, high = reference.PROFILES[name]

    def fall(share):
        return best(name, rows, 130.0, share=share)[-1] - (top - 2.7055 / 2)

    assert optimize.brentq(fall, low - 0.02, low + 0.02, xtol=1e-6) == pytest.approx(low, abs=2e-5)
    assert optimize.brentq(fall, high - 0.02, high + 0.02, xtol=1e-6) == pytest.approx(high, abs=2e-5)


def test_expectation_maximisation_ends_at_the_maximum_of_our_likelihood():
    """Another way to the same point: the closed E and M steps of the exponential (Dempster, Laird, Rubin 1977)."""
    fill = canonical_fill()
    low, high, unseen = fill.seen_lower_s, fill.seen_upper_s, fill.unseen_s
    pi, tau = 0.5, 300.0
    for _ in range(200):
        below, above = np.exp(-low / tau), np.exp(-high / tau)
        waited = tau + (low * below - high * above) / (below - above)
        late = pi * np.exp(-unseen / tau)
        weight = late / (1 - pi + late)
        pi = (len(low) + weight.sum()) / fill.channels
        tau = (waited.sum() + (weight * (unseen + tau)).sum()) / (len(low) + weight.sum())
    assert (pi, tau) == pytest.approx(reference.EXPECTATION_MAXIMISATION, rel=1e-5)
    assert best("exponential", canonical_rows(), 200.0)[:2] == pytest.approx((pi, tau), rel=1e-4)


def test_the_canonical_average_follows_from_its_parts():
    by_hand = np.array(values.MODEL_WEIGHTS) @ [values.GRID[name][3] for name in values.GRID]
    assert by_hand == pytest.approx(values.AVERAGE_P_STILL_COMING, abs=1e-5)


def test_canonical_time_to_most_of_the_final_set():
    grid = family_posterior(EXPONENTIAL, canonical_rows(), Priors())
    rng = np.random.default_rng(4)
    blocks = Posterior((grid,), np.ones(1), 1.0, 0.0).draw(60_000, rng)
    later = np.sort(simulate(canonical_fill(), blocks, Weakening(), rng).arrival_s, axis=1)
    need = np.ceil(0.95 * (16 + np.isfinite(later).sum(axis=1)) - 1e-9).astype(int) - 16
    wait_s = np.where(need > 0, later[np.arange(len(need)), np.maximum(need - 1, 0)] - 600.0, 0.0)
    assert np.mean(need <= 0) == pytest.approx(reference.ALREADY_THERE, abs=0.008)
    for p, expected in reference.MOST_OF_THE_FINAL_SET.items():
        assert np.quantile(wait_s, p) == pytest.approx(expected, rel=0.06, abs=6.0)


# --- the laws ----------------------------------------------------------------------------------------------------


def test_order_statistics_of_150_channels():
    number = 20_000
    block = Draws(EXPONENTIAL, False, 0.0, np.ones(number), np.full(number, np.log(300.0)), np.zeros(number))
    fill = FillIn(NO_TIMES, NO_TIMES, np.zeros(150), 0.0)
    arrival_s = np.sort(simulate(fill, (block,), Weakening(), np.random.default_rng(3)).arrival_s, axis=1)
    for rank, mean, median, ninety in reference.RANKS:
        at_s = arrival_s[:, rank - 1]
        assert (at_s.mean(), np.median(at_s)) == pytest.approx((mean, median), rel=0.006)
        assert np.quantile(at_s, 0.9) == pytest.approx(ninety, rel=0.01)


@pytest.mark.parametrize(("window_s", "mean_s"), reference.WINDOW_MEANS_S.items())
def test_mean_exposure_in_windows(window_s, mean_s):
    number = int(6000 / window_s)
    ends_s = window_s * np.arange(number + 1)
    survival = carousel_survival(ends_s, np.log(300.0), np.array(1.0), tuple(ends_s[1:-1]))
    # With certain passes the survival falls on a straight line within a window, so the trapezia are exact.
    assert window_s * np.sum((survival[1:] + survival[:-1]) / 2) == pytest.approx(mean_s, abs=0.01)


def test_windows_as_simulated():
    """Awake for 120 s at a time, a message every 300 s, its phase drawn afresh in each window."""
    rng = np.random.default_rng(1)
    survives = np.ones(200_000, dtype=bool)
    for window_s in (120.0, 120.0, 60.0):
        survives &= rng.uniform(0.0, 300.0, len(survives)) > window_s
    found = carousel((120.0, 240.0)).survival(np.array(300.0), np.log(300.0), np.array(1.0))
    assert float(found) == pytest.approx(values.CAROUSEL_WINDOWS_SURVIVAL, abs=1e-6)
    assert np.mean(survives) == pytest.approx(float(found), abs=0.004)


@pytest.mark.parametrize(("blocks", "loss", "passes"), reference.PASSES)
def test_a_message_of_several_blocks_that_must_come_in_one_pass(blocks, loss, passes):
    q = (1.0 - loss) ** blocks
    many = int(np.ceil(np.log(1e-9) / np.log1p(-q)))
    at = np.arange(many + 1, dtype=float)
    survival = carousel().survival(at, np.zeros(1), np.array(q))
    mean = np.sum((survival[1:] + survival[:-1]) / 2)  # linear within a pass, so the trapezia are exact
    assert mean + 0.5 == pytest.approx(passes, rel=1e-5)


@pytest.mark.parametrize(("loss", "blocks", "mean", "ninety"), reference.BLOCK_WAITS)
def test_waits_for_a_message_of_several_blocks(loss, blocks, mean, ninety):
    q = np.array((1.0 - loss) ** blocks)
    found = carousel().residual(np.array(0.1), np.array(0.0), np.zeros(1), q)
    assert float(found[0]) == pytest.approx(ninety, abs=6e-5)
    survival = carousel().survival(np.arange(200.0), np.zeros(1), q)
    assert np.sum((survival[1:] + survival[:-1]) / 2) == pytest.approx(mean, abs=6e-5)


# --- a share that never comes ------------------------------------------------------------------------------------


def chickweed():
    """Rows with at least one seed: start, end, count."""
    table = np.loadtxt(REFERENCES / "chickweed.csv", delimiter=",", skiprows=4)
    return table[table[:, 2] > 0].T


@pytest.mark.parametrize("name", reference.CHICKWEED_FITS)
def test_chickweed(name):
    start, end, count = chickweed()
    assert (count.sum(), count[-1]) == (200, 160)
    expected = reference.CHICKWEED_FITS[name]
    theirs = by_surpyval(name, start, end, count)
    assert theirs == pytest.approx(expected, rel=2e-4)
    shape = {"weibull": 2.0, "log-normal": -2.0}[name]
    ours = best(name, rows_of(start, end, count), 200.0, shape)
    same_fit(ours, expected)
    assert ours[-1] == pytest.approx(theirs[-1], rel=1e-8)


def test_the_posterior_of_chickweed_holds_the_published_share():
    """Hours taken for seconds. Seeds germinate one by one, so the likelihood is not weakened for groups."""
    start, end, count = chickweed()
    grids = [family_posterior(family, rows_of(start, end, count), Priors()) for family in all_families()]
    weights = special.softmax([grid.log_evidence for grid in grids])
    found = Posterior(tuple(grids), weights, 1.0, 0.0)
    low, high = found.come_quantile([0.05, 0.95])
    assert found.mean_come() == pytest.approx(reference.CHICKWEED_SHARE, abs=0.02)
    assert low < reference.CHICKWEED_SHARE < high
    assert high - low == pytest.approx(2 * 1.645 * reference.CHICKWEED_SHARE_ERROR, rel=0.25)
    assert found.p_still_coming(float(start[-1])) < 0.03


def test_step_curve_of_chickweed():
    start, end, count = chickweed()
    found = step_curve(start, end, count)
    assert found.log_likelihood == pytest.approx(reference.CHICKWEED_STEP_LOG_LIKELIHOOD, abs=1e-6)
    assert found.mass[-1] == pytest.approx(1.0 - reference.CHICKWEED_SHARE)


@pytest.mark.parametrize("number", [200, pytest.param(2000, marks=pytest.mark.long)])
@pytest.mark.parametrize("is_common", [True, False], ids=["common checks", "own checks"])
def test_surpyval_on_simulated_channels(number, is_common):
    """Share .85, Weibull(300 s, 1.3), 30 min. Simulated data, two programs."""
    rng = np.random.default_rng(number + is_common)
    wait_s = draw_waits(WEIBULL, 0.85, np.log(300.0), np.log(1.3), number, rng)
    if is_common:
        rows = compress(checked_every(wait_s, 60.0, 1800.0))
    else:
        lower, upper = own_checks(wait_s, rng)
        rows = rows_of(lower, upper)
    theirs = by_surpyval("weibull", rows.lower_s, rows.upper_s, rows.count.astype(int))
    ours = best("weibull", rows, 250.0)
    assert ours[-1] == pytest.approx(theirs[-1], rel=1e-8)
    assert ours[:3] == pytest.approx(theirs[:3], rel=2e-3)


def own_checks(wait_s, rng):
    """Every channel checked at times of its own, about once a minute until 30 min."""
    lower, upper = np.zeros(len(wait_s)), np.full(len(wait_s), np.inf)
    for k, wait in enumerate(wait_s):
        look_s = np.sort(rng.uniform(0.0, 1800.0, 30))
        at = int(np.searchsorted(look_s, wait))
        lower[k] = look_s[at - 1] if at else 0.0
        upper[k] = look_s[at] if at < len(look_s) else np.inf
    return lower, upper


def test_integrated_circuits():
    """Exact failure times as narrow intervals, 4128 of 4156 never seen to fail."""
    frame = surpyval.datasets.load_meeker_lfp()
    time_h, count = frame["x"].to_numpy(dtype=float), frame["n"].to_numpy(dtype=float)
    failed = frame["c"].to_numpy() == 0
    lower = np.where(failed, time_h * (1 - NARROW), time_h)
    upper = np.where(failed, time_h * (1 + NARROW), np.inf)
    found = best("weibull", rows_of(lower, upper, count), 30.0, -0.5)
    log_width = float(count[failed] @ np.log(2 * NARROW * time_h[failed]))
    assert found[-1] - log_width == pytest.approx(reference.MEEKER_LOG_LIKELIHOOD, abs=1e-5)
    expected = (reference.MEEKER_SHARE, reference.MEEKER_SCALE_H, reference.MEEKER_SHAPE)
    assert found[:3] == pytest.approx(expected, rel=1e-3)
    model = surpyval.Weibull.fit(x=time_h, c=frame["c"].to_numpy(), n=count.astype(int), lfp=True)
    assert -model.neg_ll() == pytest.approx(reference.MEEKER_LOG_LIKELIHOOD, abs=1e-5)


def test_lifelines_drops_the_share_that_never_comes():
    """Why its MixtureCureFitter disagrees with us on intervals, and must: at one and the same point its
    log-likelihood is ours with the never-mass taken out of the rows without an upper end. (lifelines 0.30.3)"""
    rng = np.random.default_rng(12)
    fill = checked_every(draw_waits(WEIBULL, 0.8, np.log(300.0), np.log(1.3), 300, rng), 60.0, 900.0)
    lower = np.concatenate([fill.seen_lower_s, fill.unseen_s])
    upper = np.concatenate([fill.seen_upper_s, np.full(len(fill.unseen_s), np.inf)])
    pi, tau, k = 0.7851, 300.0, 1.3
    true = float(log_likelihood(WEIBULL, compress(fill), np.array([pi]), *(np.log([[tau], [k]])))[0, 0])
    late = pi * np.exp(-((fill.unseen_s / tau) ** k))
    dropped = true - np.log(1 - pi + late).sum() + np.log(late).sum()
    fitter = MixtureCureFitter(WeibullFitter())
    fitter.fit_interval_censoring(lower, upper)
    ends = (lower, np.where(np.isinf(upper), 1e25, upper))  # as it does inside
    ones, never = np.ones(len(lower), dtype=bool), np.zeros(len(lower), dtype=bool)
    theirs = fitter._negative_log_likelihood_interval_censoring(
        np.array([1 - pi, tau, k]), ends, never, np.zeros(len(lower)), ones.astype(float)
    )
    assert -theirs * len(lower) == pytest.approx(dropped, rel=1e-6)
    assert true > dropped + 50.0
    assert fitter.cured_fraction_ < 0.01  # so it finds nobody cured, with 22 % of the channels never coming
    assert best("weibull", compress(fill), 250.0)[0] == pytest.approx(0.78, abs=0.05)
