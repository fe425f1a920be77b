"""When did sending begin? A delay of the provider, by the clock on the wall, before anything can come.

Simulated data: they prove the code against our own model only.
"""

from dataclasses import replace

import numpy as np
import pytest

from satdiag.entitlement.families import EXPONENTIAL
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.outlook import PROVIDER_DELAYS_S, starts_of
from satdiag.entitlement.posterior import Start, posterior_of
from satdiag.entitlement.predict import predict
from satdiag.exposure import exposure_clock
from tests.entitlement.made import NO_TIMES, checked_every, draw_waits
from tests.helpers import make_job

STARTS = (Start(0.0, 0.6), Start(900.0, 0.3), Start(7200.0, 0.1))


def test_a_start_that_something_undercut_is_ruled_out():
    fill = FillIn(np.array([100.0]), np.array([600.0]), np.full(5, 1200.0), 1200.0)
    found = posterior_of(fill, Priors(), starts=STARTS)
    assert {member.before_s for member in found.members} == {0.0}
    assert not fill.allows(-900.0)
    assert fill.allows(-599.0)


def test_one_start_changes_nothing():
    fill = checked_every(draw_waits(EXPONENTIAL, 0.8, np.log(300.0), 0.0, 60, np.random.default_rng(3)), 60.0, 900.0)
    plain, started = posterior_of(fill, Priors()), posterior_of(fill, Priors(), starts=(Start(0.0, 1.0),))
    assert plain.log_evidence == started.log_evidence
    assert np.array_equal(plain.weights, started.weights)


def test_a_later_start_is_the_same_data_on_a_clock_that_starts_later():
    # 20 minutes of nothing, then a fill-in: with the start known the posterior is that of the fill-in alone.
    waits = draw_waits(EXPONENTIAL, 0.8, np.log(300.0), 0.0, 60, np.random.default_rng(4))
    alone = checked_every(waits, 60.0, 900.0)
    shifted = FillIn(
        alone.seen_lower_s + 1200.0, alone.seen_upper_s + 1200.0, alone.unseen_s + 1200.0, alone.now_s + 1200.0
    )
    known = posterior_of(alone, Priors())
    found = posterior_of(shifted, Priors(), starts=(Start(1200.0, 1.0),))
    assert found.log_evidence == pytest.approx(known.log_evidence)
    assert found.p_still_coming(2100.0) == pytest.approx(known.p_still_coming(900.0))
    one, other = predict(alone, known, 0.0), predict(shifted, found, 0.0)
    assert other.fraction_90 == pytest.approx(one.fraction_90, abs=0.03)
    assert other.remaining_to_last_s.median == pytest.approx(one.remaining_to_last_s.median, rel=0.2)


def test_channels_that_begin_late_and_then_come_fast_show_a_delay():
    waits = 900.0 + draw_waits(EXPONENTIAL, 0.9, np.log(120.0), 0.0, 80, np.random.default_rng(5))
    fill = checked_every(waits, 60.0, 1800.0)
    found = posterior_of(fill, Priors(), starts=STARTS)
    assert found.p_begun_after(899.0) > 0.5
    assert found.p_begun_after(901.0) == 0.0
    assert found.start_quantile([0.95])[0] == 900.0


def test_silence_speaks_less_against_an_account_whose_provider_may_not_have_begun():
    silent = FillIn(NO_TIMES, NO_TIMES, np.full(30, 600.0), 600.0)
    at_once = posterior_of(silent, Priors())
    perhaps = posterior_of(silent, Priors(), starts=STARTS)
    assert perhaps.log_evidence > at_once.log_evidence + 0.1
    assert 0.4 < perhaps.p_begun_after(600.0) < 0.7  # 0.4 beforehand, raised by the silence


def test_the_delay_runs_by_the_clock_on_the_wall_and_the_start_by_exposure():
    # Confirmed at 0:00; awake and locked only from 10:00 to 20:00: five minutes of delay cost no exposure.
    rows = "\n".join(["0:00 account service confirmed", *(f"{m}:00 lock any yes" for m in range(10, 21))])
    awake = "\n".join(f"{m}:00 power receiver awake" for m in (10, 20))
    clock = exposure_clock(make_job(f"{rows}\n{awake}"))
    assert clock.exposure_s == 600.0
    starts = {start.at_s: start.weight for start in starts_of(clock)}
    weights = dict(PROVIDER_DELAYS_S)
    assert starts[0.0] == pytest.approx(weights[0.0] + weights[120.0] + weights[300.0])
    assert starts[300.0] == weights[900.0]  # 15 min: half-way through the ten minutes
    assert starts[600.0 + 2400.0] == weights[3600.0]  # 40 min after the log's end
    assert sum(starts.values()) == pytest.approx(1.0)
    unconfirmed = exposure_clock(make_job("0:00 lock any yes\n5:00 lock any yes"))
    assert [start.at_s for start in starts_of(unconfirmed)] == [0.0]


def test_a_start_in_the_future_moves_the_arrivals_behind_it():
    silent = FillIn(NO_TIMES, NO_TIMES, np.full(10, 300.0), 300.0)
    found = posterior_of(silent, Priors(), starts=(Start(1000.0, 1.0),))
    prediction = predict(silent, found, 0.0)
    assert all(wait.p05 >= 700.0 for wait in prediction.remaining_s)
    assert prediction.time_to_first_s.p05 >= 1000.0
    assert replace(silent, now_s=0.0).after(-1000.0).now_s == 0.0
