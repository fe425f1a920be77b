"""The share of dead accounts over a fleet: learned from made-up odds, judged, kept, and used (our own model only)."""

import json
import math

import numpy as np
import pytest
from scipy import stats

from satdiag.analysis import analyse
from satdiag.diagnosis.pooled import DeadShare, Pool, pool_from
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.errors import BadInput
from satdiag.exposure import exposure_clock
from satdiag.fleet.flatten import job_row
from satdiag.fleet.pool import dead_score, learn
from satdiag.fleet.pool_dead import PRIOR_JOBS, DeadOdds, dead_odds_of, dead_share, log_likelihood
from tests.fleet_report import made_fleet as made
from tests.helpers import make_job

PACKAGED = Priors().account_dead


def fleet(number, share, tells=6.0, seed=1):
    """Odds of jobs whose accounts are dead with a chance; each tells by normal log odds about -tells or +tells.

    Normal log odds with mean +-m and variance 2 m are what a measurement with those odds gives.
    """
    rng = np.random.default_rng(seed)
    sign = np.where(rng.random(number) < share, 1.0, -1.0)
    return DeadOdds(
        tuple(f"demo-{k}" for k in range(number)), sign * tells + math.sqrt(2 * tells) * rng.standard_normal(number)
    )


@pytest.mark.parametrize("share", [0.02, 0.15, 0.5])
def test_the_share_of_a_made_up_fleet_comes_back(share):
    found = dead_share(fleet(600, share))
    n, mode = 600 + PRIOR_JOBS, (600 * share + PRIOR_JOBS * PACKAGED) / (600 + PRIOR_JOBS)
    assert found.share == pytest.approx(mode, abs=4 * math.sqrt(mode * (1 - mode) / n))
    assert found.jobs == 600


def test_certain_odds_give_the_mode_of_the_beta_posterior():
    """7 dead and 33 living for certain: (7 + a) / (40 + a + b), the mode of Beta(8 + a, 34 + b)."""
    odds = DeadOdds(tuple(map(str, range(40))), np.array([60.0] * 7 + [-60.0] * 33))
    a, b = PRIOR_JOBS * PACKAGED, PRIOR_JOBS * (1 - PACKAGED)
    x = np.linspace(0.001, 0.9, 200_000)
    mode = float(x[np.argmax(stats.beta.logpdf(x, 8 + a, 34 + b))])
    assert mode == pytest.approx((7 + a) / (40 + a + b), abs=1e-5)
    assert dead_share(odds).share == pytest.approx(mode, abs=1e-4)


def test_checks_that_do_not_tell_teach_nothing():
    assert dead_share(DeadOdds(tuple(map(str, range(500))), np.zeros(500))) is None
    mixed = DeadOdds(tuple(map(str, range(500))), np.array([-3.0] * 12 + [0.0] * 488))
    assert dead_share(mixed).share == pytest.approx(PACKAGED, abs=0.07)


def test_held_out_jobs_are_foretold_better_where_the_fleet_is_unlike_the_packaged_share():
    unlike, alike = dead_score(fleet(300, 0.5)), dead_score(fleet(300, PACKAGED))
    assert unlike.rises
    assert unlike.rise > 0.1
    assert abs(alike.rise) < 0.01  # learning what was known already neither helps nor harms


def test_a_jobs_likelihood_is_that_of_a_mixture():
    assert np.exp(log_likelihood(np.log([1.0, 4.0, 0.25]), 0.2)) == pytest.approx([1.0, 1.6, 0.85])


SILENT = "0:00 account service confirmed\n0:00 power receiver awake\n0:00 signal satellite 20 dB\n" + "\n".join(
    f"{at // 60}:{at % 60:02d} channel {channel} refused" for at in (20, 60, 120) for channel in range(1, 9)
)


def test_the_row_of_a_job_holds_the_odds_without_the_prior():
    job = make_job(SILENT)
    row = job_row(job, analyse(job))
    odds = row["dead_account"] / (1 - row["dead_account"])
    assert 2.0 ** row["dead_account_bits"] == pytest.approx(odds / (PACKAGED / (1 - PACKAGED)))
    assert row["dead_account_bits"] > 0.0
    moved = job_row(job, analyse(job, wait=WaitPrior(None, jobs=40, account_dead=0.02)))
    assert moved["dead_account"] < row["dead_account"]
    assert moved["dead_account_bits"] is None  # judged with what other jobs taught: teaches nothing
    assert dead_odds_of([{**moved, "job": "a"}, {**row, "job": "b"}]).jobs == ("b",)
    stopped = make_job(SILENT + "\n2:30 account service lapsed")
    assert job_row(stopped, analyse(stopped))["dead_account_bits"] is None  # the log itself says it


def test_the_pooled_share_is_the_prior_of_bayes_rule():
    """The odds of the posterior move by the ratio of the priors' odds, and by nothing else."""
    job = make_job(SILENT)
    clock = exposure_clock(job)
    plain = estimate_entitlement(job, clock).p_account_dead
    moved = estimate_entitlement(job, clock, WaitPrior(None, jobs=40, account_dead=0.4)).p_account_dead
    ratio = (0.4 / 0.6) / (PACKAGED / (1 - PACKAGED))
    assert moved / (1 - moved) == pytest.approx(ratio * plain / (1 - plain), rel=1e-9)


def test_a_pool_with_the_share_alone_says_nothing_of_waits():
    wait = Pool(dead=DeadShare(0.3, 50)).wait_of("any")
    assert (wait.mean_log_s, wait.account_dead, wait.jobs) == (None, 0.3, 50)
    both = Pool(waits={"": WaitPrior(7.0, 0.5, 30)}, dead=DeadShare(0.3, 50)).wait_of("any")
    assert (both.mean_log_s, both.account_dead, both.jobs) == (7.0, 0.3, 30)
    assert Pool().wait_of("any") is None


def test_it_is_learned_from_a_data_set_kept_and_read_back(tmp_path):
    odds = fleet(120, 0.5)
    rows = [made.job(k, dead_account_bits=float(bits / math.log(2.0))) for k, bits in enumerate(odds.log_odds)]
    taught = learn(made.write(tmp_path, rows))
    assert taught.dead.share == pytest.approx(dead_share(odds).share, abs=1e-6)
    assert taught.dead_score.rises
    pool = taught.pool()
    back = pool_from(json.loads(pool.text()), "fleet.json")
    assert back.dead.share == pytest.approx(taught.dead.share)
    assert "dead" in back.said
    whole = json.loads(pool.text())
    del whole["dead"]  # as an older satdiag wrote it
    assert pool_from(whole, "fleet.json").dead is None
    for wrong in ({"share": 1.5, "jobs": 3}, {"share": -0.1, "jobs": 3}, {"jobs": 3}, [1]):
        with pytest.raises(BadInput):
            pool_from({**whole, "dead": wrong}, "fleet.json")
