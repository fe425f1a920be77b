"""Nothing has come: the chance that the account is dead, as a function of the time listened."""

import numpy as np
import pytest

from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.outlook import PACKAGE_PRIOR
from satdiag.entitlement.posterior import AT_THE_ORIGIN, Start, posterior_of
from satdiag.entitlement.predict import p_account_dead
from satdiag.entitlement.silence import SURE, silence
from satdiag.exposure import exposure_clock
from tests.entitlement.made import NO_TIMES
from tests.helpers import make_job


@pytest.mark.parametrize("channels", [1, 40])
def test_the_curve_is_bayes_rule_on_the_posterior_s_evidence(channels):
    curve = silence(channels, 600.0, Priors(), AT_THE_ORIGIN, 0.15)
    for at_s in (600.0, 3600.0, 14_400.0):
        quiet = FillIn(NO_TIMES, NO_TIMES, np.full(channels, at_s), at_s)
        exact = p_account_dead(posterior_of(quiet, Priors()).log_evidence, 0.15)
        assert np.interp(at_s, curve.exposure_s, curve.p_dead) == pytest.approx(exact, abs=0.02)


def test_it_starts_at_the_prior_and_rises():
    curve = silence(20, 600.0, PACKAGE_PRIOR, AT_THE_ORIGIN, 0.15)
    assert curve.p_dead[0] == pytest.approx(0.15)
    assert np.all(np.diff(curve.p_dead) > 0)
    assert np.interp(curve.sure_after_s, curve.exposure_s, curve.p_dead) == pytest.approx(SURE, abs=0.01)


def test_a_delay_and_a_single_channel_make_it_take_longer():
    plain = silence(20, 600.0, PACKAGE_PRIOR, AT_THE_ORIGIN, 0.15).sure_after_s
    delayed = silence(20, 600.0, PACKAGE_PRIOR, (Start(0.0, 0.5), Start(7200.0, 0.5)), 0.15).sure_after_s
    assert delayed > plain
    assert silence(1, 600.0, Priors(), AT_THE_ORIGIN, 0.15).sure_after_s is None  # one channel may be left out


def test_in_a_job_it_is_said():
    rows = ["0:00 account service confirmed", *(f"{m}:00 lock any yes" for m in range(31))]
    rows += [f"30:00 channel {n} refused" for n in range(1, 21)]
    lineup = "\n".join(f"{n},one {n},music,all" for n in range(1, 21))
    job = make_job("\n".join(rows), '[service]\npackage = "all"\n', lineup)
    found = estimate_entitlement(job, exposure_clock(job))
    assert found.silence.exposure_s[0] == 0.0
    now = np.interp(1800.0, found.silence.exposure_s, found.silence.p_account_dead)
    assert found.p_account_dead == pytest.approx(now, abs=0.02)
    assert found.dead_sure_after_s > 1800.0
    assert "none plays. After 30 minutes awake and receiving the chance that the account gives nothing" in found.text
    assert "95 % sure" in found.text


def test_once_a_channel_came_there_is_no_such_curve():
    rows = ["0:00 account service confirmed", "0:00 lock any yes", "5:00 lock any yes", "5:00 channel 1 authorised"]
    job = make_job("\n".join([*rows, "5:00 channel 2 refused"]))
    found = estimate_entitlement(job, exposure_clock(job))
    assert found.silence is None
    assert found.dead_sure_after_s is None
