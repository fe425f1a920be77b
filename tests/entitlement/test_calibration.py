"""Are the intervals as wide as they say? Simulated data throughout: this proves the computation and its robustness
within the model, not that real fill-ins follow it.

Simulation-based calibration: Talts, Betancourt, Simpson, Vehtari and Gelman, Validating Bayesian inference algorithms
with simulation-based calibration, arXiv 1804.06788 (2018). The truth is drawn from the prior that the grid uses and
every data set is kept; the rank of the truth among posterior draws must be uniform.
"""

import numpy as np
import pytest
from scipy import optimize, special, stats

from satdiag.entitlement.families import EXPONENTIAL, Family, all_families
from satdiag.entitlement.fill_in import FillIn, compress
from satdiag.entitlement.futures import Weakening, simulate
from satdiag.entitlement.grid import Priors, family_posterior, log_likelihood
from satdiag.entitlement.posterior import _average, posterior_of
from satdiag.entitlement.predict import p_account_dead, predict
from tests.entitlement.made import FAMILIES, NO_TIMES, checked_every, draw_waits

REPLICATES = 200
RANK_DRAWS = 63
BINS = 16


def prior_draw(family: Family, priors: Priors, rng) -> tuple[float, float, float]:
    come = float(rng.beta(priors.come_a, priors.come_b))
    log_scale = float(rng.uniform(np.log(priors.shortest_s), np.log(priors.longest_s)))
    if family.shape_range is None:
        return come, log_scale, 0.0
    places = np.linspace(*family.shape_range, 2001)
    return come, log_scale, float(np.interp(rng.random(), family.shape_cdf(places), places))


def rank(truth, draws, rng):
    """Rank of the truth among the draws, ties broken at random."""
    return int(np.sum(draws < truth) + rng.integers(0, np.sum(draws == truth) + 1))


def replicate(number, step_s, end_s, rng):
    """One truth from the prior, its data, and the ranks of what the posterior and the predictions say of it."""
    priors = Priors()
    families = all_families()
    family = families[rng.integers(len(families))]
    come, log_scale, shape = prior_draw(family, priors, rng)
    wait_s = draw_waits(family, come, log_scale, shape, number, rng)
    fill = checked_every(wait_s, step_s, end_s)
    rows = compress(fill)
    posterior = _average([family_posterior(f, rows, priors) for f in families], 1.0)
    # Independent draws, as the ranks need: one of the systematic sample's points at a time, in random order.
    blocks = posterior.draw(1000, rng)
    futures = simulate(fill, blocks, Weakening(), rng)
    pick = rng.permutation(1000)[:RANK_DRAWS]
    later = wait_s[np.isfinite(wait_s) & (wait_s > end_s)]
    last = np.where(np.isfinite(futures.arrival_s), futures.arrival_s, -1.0).max(axis=1, initial=-1.0)
    quantities = {
        "share": (come, np.concatenate([b.come for b in blocks])),
        "scale": (log_scale, np.concatenate([b.log_scale for b in blocks])),
        "still coming": (len(later), np.isfinite(futures.arrival_s).sum(axis=1)),
        "time of the last": (later.max() if len(later) else -1.0, last),
    }
    return {name: rank(truth, draws[pick], rng) for name, (truth, draws) in quantities.items()}


@pytest.mark.parametrize(("number", "step_s", "end_s"), [(8, 60.0, 600.0), (60, 20.0, 900.0)])
def test_simulation_based_calibration(number, step_s, end_s):
    rng = np.random.default_rng(20310503)
    ranks = [replicate(number, step_s, end_s, rng) for _ in range(REPLICATES)]
    for name in ranks[0]:
        found = np.array([r[name] for r in ranks])
        counts = np.bincount(found * BINS // (RANK_DRAWS + 1), minlength=BINS)
        p = stats.chisquare(counts).pvalue
        inside = np.mean((found >= 0.05 * (RANK_DRAWS + 1)) & (found < 0.95 * (RANK_DRAWS + 1)))
        assert p > 0.001 / 8, f"{name}: {counts}"
        assert abs(inside - 0.9) < 4 * np.sqrt(0.09 / REPLICATES), f"{name}: 90 % interval covers {inside:.2f}"


def plug_in(fill: FillIn) -> tuple[float, float, float]:
    """Maximum-likelihood share, log scale and log shape of the Weibull: what the estimates must not be used as."""
    rows = compress(fill)

    def loss(x):
        point = special.expit(x[:1]), np.clip(x[1:2], 0.0, 12.0), np.clip(x[2:3], -1.5, 1.5)
        return -float(log_likelihood(FAMILIES["weibull"], rows, *point)[0, 0])

    seen = (fill.arrivals + 0.5) / (fill.channels + 1.0)
    start = np.array([special.logit(seen), np.log(fill.now_s / 2), 0.0])
    best = optimize.minimize(loss, start, method="Nelder-Mead", options={"maxiter": 250}).x
    return float(special.expit(best[0])), float(np.clip(best[1], 0.0, 12.0)), float(np.clip(best[2], -1.5, 1.5))


def place_of_the_last(cdf, truth_s, rng):
    """Randomised probability integral transform: the atom 'nothing more comes' is spread evenly."""
    nothing = cdf(0.0)
    return rng.random() * nothing if truth_s == 0.0 else cdf(truth_s)


def test_plug_in_predictions_are_over_confident_and_ours_are_not():
    """Bound that the last arrival exceeds in 10 % of cases; truth Weibull(300 s, 1), share .8, 20 channels, 300 s."""
    rng = np.random.default_rng(9)
    family, end_s = FAMILIES["weibull"], 300.0
    ours, plugged = [], []
    for _ in range(REPLICATES):
        wait_s = draw_waits(family, 0.8, np.log(300.0), 0.0, 20, rng)
        fill = checked_every(wait_s, 60.0, end_s)
        later = wait_s[np.isfinite(wait_s) & (wait_s > end_s)] - end_s
        truth_s = float(later.max()) if len(later) else 0.0
        unseen = len(fill.unseen_s)
        posterior = posterior_of(fill, Priors())

        def averaged(r, posterior=posterior, unseen=unseen):
            cdfs = [m.last_arrival_cdf(unseen, end_s, r) for m in posterior.members]
            return float(posterior.weights @ np.array(cdfs))

        come, a, b = plug_in(fill)

        def fitted(r, come=come, a=a, b=b, unseen=unseen):
            now, then = (float(family.survival(np.array(t), a, np.array(b))) for t in (end_s, end_s + r))
            return (1 - come * then / (1 - come + come * now)) ** unseen

        ours.append(place_of_the_last(averaged, truth_s, rng) <= 0.9)
        plugged.append(place_of_the_last(fitted, truth_s, rng) <= 0.9)
    assert np.mean(plugged) < 0.70
    assert 0.85 <= np.mean(ours) <= 0.98


@pytest.mark.parametrize(("size", "step_s", "least"), [(1, 60.0, 0.86), (5, 60.0, 0.85), (10, 10.0, 0.85)])
def test_groups_do_not_break_the_interval_of_the_share(size, step_s, least):
    """60 channels, share .8, exponential 300 s, 30 min; one message authorises `size` channels at once."""
    rng = np.random.default_rng(5)
    covered = []
    for _ in range(100):
        wait_s = np.repeat(draw_waits(EXPONENTIAL, 0.8, np.log(300.0), 0.0, 60 // size, rng), size)
        low, high = posterior_of(checked_every(wait_s, step_s, 1800.0), Priors()).come_quantile([0.05, 0.95])
        covered.append(low <= 0.8 <= high)
    assert np.mean(covered) >= least


def test_without_the_dispersion_groups_do_break_it():
    rng = np.random.default_rng(5)
    covered = []
    for _ in range(60):
        wait_s = np.repeat(draw_waits(EXPONENTIAL, 0.8, np.log(300.0), 0.0, 12, rng), 5)
        rows = compress(checked_every(wait_s, 60.0, 1800.0))
        low, high = _average([family_posterior(EXPONENTIAL, rows, Priors())], 1.0).come_quantile([0.05, 0.95])
        covered.append(low <= 0.8 <= high)
    assert np.mean(covered) < 0.70


@pytest.mark.parametrize("name", ["log-normal", "carousel"])
def test_the_average_survives_a_truth_of_another_family(name):
    """The share that will ever play, of 60 channels, at 600 s; the log-normal breaks a Weibull fit alone."""
    rng = np.random.default_rng(6)
    scale_s, shape = {"log-normal": (200.0, np.log(0.8)), "carousel": (300.0, 0.9)}[name]
    covered = []
    for _ in range(80):
        wait_s = draw_waits(FAMILIES[name], 0.8, np.log(scale_s), shape, 60, rng)
        fill = checked_every(wait_s, 30.0, 600.0)
        low, high = predict(fill, posterior_of(fill, Priors()), 0.0).fraction_90
        covered.append(low - 1e-9 <= np.isfinite(wait_s).mean() <= high + 1e-9)
    assert np.mean(covered) >= 0.88


def test_the_chance_of_a_dead_account_is_a_frequency():
    """Silence from dead accounts and from living ones that have not started: the mean chance is the share of dead."""
    rng = np.random.default_rng(7)
    priors = Priors(account_dead=0.3)
    families = all_families()
    chances, dead = [], []
    while len(dead) < 1000:
        is_dead = rng.random() < priors.account_dead
        wait_s = np.full(20, np.inf)
        if not is_dead:
            family = families[rng.integers(len(families))]
            come, a, b = prior_draw(family, priors, rng)
            wait_s = draw_waits(family, come, a, b, 20, rng)
            if rng.random() < 0.5:  # all in one message
                wait_s = np.full(20, draw_waits(family, 1.0, a, b, 1, rng)[0])
        if np.any(wait_s <= 900.0):
            continue
        fill = FillIn(NO_TIMES, NO_TIMES, np.full(20, 900.0), 900.0)
        if not chances:
            chances.append(p_account_dead(posterior_of(fill, priors).log_evidence, priors.account_dead))
        dead.append(is_dead)
    assert np.mean(dead) == pytest.approx(chances[0], abs=3.5 * np.sqrt(0.25 / 1000))
