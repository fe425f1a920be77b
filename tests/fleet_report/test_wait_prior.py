"""A prior of the typical wait: what the estimator makes of it, and how it is learned. Our own model throughout."""

import numpy as np
import pytest
from scipy import stats

from satdiag.entitlement.families import all_families
from satdiag.entitlement.fill_in import FillIn, Rows
from satdiag.entitlement.grid import FINE, Priors, first_look
from satdiag.entitlement.posterior import posterior_of
from satdiag.entitlement.predict import predict
from satdiag.entitlement.wait_prior import OPEN_SHARE, TYPICAL_TAIL, WaitPrior
from satdiag.fleet.pool import wait_score
from satdiag.fleet.pool_jobs import fold_of, waits_of
from satdiag.fleet.pool_waits import log_density, log_density_before, waits_prior
from tests.fleet_report import made_fleet as made

NOTHING = Rows(np.zeros(0), np.zeros(0), np.zeros(0))
PRIOR = WaitPrior(float(np.log(900.0)), 0.4, 50)


@pytest.mark.parametrize("family", all_families(), ids=lambda family: family.name)
def test_without_data_the_typical_wait_is_what_the_prior_says(family):
    """0.9 normal and 0.1 as before, whatever the law; cells and the ends of the scale cost a little."""
    grid = first_look(family, NOTHING, Priors(wait=PRIOR), cells=FINE)
    draws = grid.draw(20_000, np.random.default_rng(1))
    tail = np.full(len(draws.come), TYPICAL_TAIL)
    wait = np.log(family.residual(tail, np.zeros(len(tail)), draws.log_scale, draws.shape))
    assert np.median(wait) == pytest.approx(PRIOR.mean_log_s, abs=0.06)
    inside = np.mean(np.abs(wait - PRIOR.mean_log_s) < PRIOR.sd_log)
    assert inside == pytest.approx((1 - OPEN_SHARE) * (stats.norm.cdf(1) - stats.norm.cdf(-1)) + 0.1 * 0.11, abs=0.05)


@pytest.mark.parametrize("family", all_families(), ids=lambda family: family.name)
def test_the_prior_holds_all_of_its_mass(family):
    """Its evidence without data is 1: nothing of the families' weights is moved by it alone."""
    assert first_look(family, NOTHING, Priors(wait=PRIOR), cells=FINE).log_evidence == pytest.approx(0.0, abs=0.06)


def seen(tau_s, channels, until_s, seed):
    """Channels that wait exponentially, each looked at every minute until a time."""
    rng = np.random.default_rng(seed)
    came = rng.exponential(tau_s, channels)
    upper = np.ceil(came / 60.0) * 60.0
    here = upper <= until_s
    return FillIn(upper[here] - 60.0, upper[here], np.full(int((~here).sum()), until_s), until_s), came


def test_many_arrivals_overrule_a_prior_that_is_wrong():
    fill, _ = seen(120.0, 200, 900.0, 1)
    far = WaitPrior(float(np.log(7200.0)), 0.3, 50)
    plain, moved = (predict(fill, posterior_of(fill, Priors(wait=one)), 0.0) for one in (None, far))
    assert moved.typical_wait_s.median == pytest.approx(plain.typical_wait_s.median, rel=0.1)


def test_few_arrivals_are_helped_by_a_prior_that_is_right():
    fill, _ = seen(900.0, 30, 240.0, 2)
    plain, moved = (predict(fill, posterior_of(fill, Priors(wait=one)), 0.0) for one in (None, PRIOR))
    width = [np.log(one.typical_wait_s.p95 / one.typical_wait_s.p05) for one in (plain, moved)]
    assert width[1] < 0.8 * width[0]
    assert abs(np.log(moved.typical_wait_s.median / 900.0)) < 0.4


# --- learning it -------------------------------------------------------------------------------------------------


def test_hyper_parameters_of_a_made_up_fleet_come_back():
    """300 jobs: tau's interval holds it, packages lie within three standard errors of their truth."""
    waits = waits_of(made.fleet_with_waits(300, 1))
    fit, priors = waits_prior(waits)
    assert fit.tau_90[0] <= made.TAU <= fit.tau_90[1]
    for group in fit.groups:
        assert abs(group.raw - made.MEAN_LOG_S - made.PACKAGES[group.name]) < 3 * group.raw_se
    assert set(priors) == {"", *made.PACKAGES}
    assert priors["demo-talk"].sd_log < priors[""].sd_log
    assert priors[""].jobs == 300


def test_jobs_that_cannot_tell_are_left_out_and_said():
    rows = made.fleet_with_waits(20, 1)
    rows[0]["arrivals"] = 1
    rows[1]["wait_prior_jobs"] = 50
    rows[2] |= made.times(0.3, 1.4)
    rows[3]["hours_typical_wait_high"] = None
    waits = waits_of(rows)
    assert len(waits.jobs) == 16
    assert waits.left_out == {"interval too wide": 1, "judged with a prior of other jobs": 1, "too few arrivals": 2}
    assert waits_prior(waits.only([k < 9 for k in range(16)])) is None


def test_densities_are_those_of_what_is_measured():
    """Each integrates to one over all that might be measured."""
    row = made.job(1, **made.times(0.25, 0.3))
    at = np.linspace(-3.0, 14.0, 4001)
    waits = waits_of([row] * len(at))
    moved = type(waits)(waits.jobs, waits.packages, at, waits.se, {})
    for log_p in (log_density_before(moved), log_density(moved, {"": PRIOR})):
        assert np.trapezoid(np.exp(log_p), at) == pytest.approx(1.0, abs=1e-3)


def test_a_job_analysed_anew_stays_in_its_fold():
    rows = made.fleet_with_waits(60, 3)
    anew = [{**row, "key": f"{row['hash']}:another analysis"} for row in rows]
    assert wait_score(waits_of(anew)) == wait_score(waits_of(rows))


def test_folds_hang_on_the_id_alone_and_are_alike_in_size():
    folds = [fold_of(f"job {k}", 5) for k in range(5000)]
    assert folds == [fold_of(f"job {k}", 5) for k in range(5000)]
    assert stats.chisquare(np.bincount(folds)).pvalue > 0.001


@pytest.mark.long
def test_a_fleet_of_accounts_foretells_the_next_ones_better():
    """The whole way on our own model: accounts from a hierarchy, the estimator on each, the pooled prior, new ones
    seen for four minutes only. The log of the time to nine tenths is missed by less with the prior than without,
    and its 90 % interval still holds.
    """
    rng = np.random.default_rng(5)
    mean, tau = float(np.log(900.0)), 0.35
    rows = []
    for k in range(80):
        fill, _ = seen(float(np.exp(mean + tau * rng.standard_normal())), 40, 2400.0, 1000 + k)
        wait = predict(fill, posterior_of(fill, Priors(4.0, 1.0)), 0.0).typical_wait_s
        ends = {"": wait.median, "_low": wait.p05, "_high": wait.p95}
        rows.append(made.job(k, **{f"hours_typical_wait{end}": value / 3600.0 for end, value in ends.items()}))
    fit, priors = waits_prior(waits_of(rows))
    assert fit.mean == pytest.approx(mean, abs=0.2)
    assert 0.6 * tau <= priors[""].sd_log <= 1.4 * tau
    missed: dict[bool, list[float]] = {False: [], True: []}
    width: dict[bool, list[float]] = {False: [], True: []}
    held = []
    for k in range(60):
        fill, came = seen(float(np.exp(mean + tau * rng.standard_normal())), 40, 240.0, 5000 + k)
        if fill.arrivals < 2:
            continue
        truth = float(np.sort(came)[35])
        for pooled in (False, True):
            priors_of = Priors(4.0, 1.0, wait=priors[""] if pooled else None)
            told = predict(fill, posterior_of(fill, priors_of), 0.0).time_to_share_s[0.9]
            missed[pooled].append(abs(np.log(told.median / truth)))
            width[pooled].append(np.log(told.p95 / told.p05))
            if pooled:
                held.append(told.p05 <= truth <= told.p95)
    assert len(held) > 40
    assert np.mean(missed[True]) < 0.9 * np.mean(missed[False])
    assert np.mean(width[True]) < 0.7 * np.mean(width[False])
    assert np.mean(held) >= 0.85
