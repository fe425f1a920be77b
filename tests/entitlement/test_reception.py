"""Block errors slow the exposure clock down."""

import numpy as np
import pytest

from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.entitlement.reception import ScaledClock, reception_of
from satdiag.exposure import exposure_clock
from tests.helpers import make_job

ROWS = "\n".join(["0:00 account service confirmed", *(f"{m}:00 lock any yes" for m in range(21))])


def test_without_a_readout_of_block_errors_nothing_is_scaled():
    job = make_job(ROWS)
    assert reception_of(job, exposure_clock(job)) is None
    one = make_job(f"{ROWS}\n0:10 errors any 99.9 percent\n0:11 errors any 99 percent")
    assert reception_of(one, exposure_clock(one)) is None  # two readings say nothing of the other twenty minutes
    assert estimate_entitlement(job, exposure_clock(job)).reception_scale is None


def test_half_of_the_blocks_lost_is_half_of_the_time():
    # 0:00 to 10:00 half is lost, from 10:00 on nothing: 5 + 10 of 20 minutes count.
    errors = "\n".join(f"{m}:00 errors any {50 if m < 10 else 0} percent" for m in range(21))
    job = make_job(f"{ROWS}\n{errors}")
    clock = exposure_clock(job)
    found = reception_of(job, clock)
    assert clock.exposure_s == 1200.0
    assert found.full(600.0) == pytest.approx(300.0)
    assert found.full(1200.0) == pytest.approx(900.0)
    assert found.mean == pytest.approx(0.75)
    assert found.latest == 1.0
    assert found.full(1500.0) == pytest.approx(1200.0)  # from now on at the latest share
    assert found.back(found.full(np.array([0.0, 450.0, 900.0, 2000.0]))) == pytest.approx([0.0, 450.0, 900.0, 2000.0])
    assert ScaledClock(clock, found).exposure_s == pytest.approx(900.0)
    assert found.full(-np.inf) == -np.inf


def test_the_best_path_counts_and_a_reading_does_not_hold_for_ever():
    # One path loses everything and the other nothing, then 40 %. Nothing is read after 1:00, whose 40 % hold for
    # 10 min; after that the mean of what was held does.
    errors = "0:00 errors repeater 100 percent\n0:00 errors satellite 0 percent\n1:00 errors satellite 40 percent"
    job = make_job(f"{ROWS}\n{errors}\n0:30 errors repeater 100 percent")
    found = reception_of(job, exposure_clock(job))
    mean = (60.0 * 1.0 + 600.0 * 0.6) / 660.0
    assert found.mean == pytest.approx(mean)
    assert found.full(1200.0) == pytest.approx(60.0 * 1.0 + 600.0 * 0.6 + 540.0 * mean)


def test_paths_that_are_read_a_moment_apart_are_held_beside_one_another():
    errors = "\n".join(
        f"{m}:00 errors satellite:east 0 percent\n{m}:00.001 errors satellite:west 80 percent" for m in range(21)
    )
    job = make_job(f"{ROWS}\n{errors}")
    found = reception_of(job, exposure_clock(job))
    assert found.mean == 1.0
    assert found.mean_90 == (1.0, 1.0)


def test_the_interval_holds_its_own_mean():
    # Six hundred readings of 90 % lost within one minute, then nothing lost for nineteen.
    burst = "\n".join(f"0:{second:02d}.{tenth} errors any 90 percent" for second in range(60) for tenth in range(10))
    rest = "\n".join(f"{m}:00 errors any 0 percent" for m in range(1, 21))
    job = make_job(f"{ROWS}\n{burst}\n{rest}")
    found = reception_of(job, exposure_clock(job))
    assert found.mean == pytest.approx((60 * 0.1 + 1140) / 1200, abs=0.01)
    assert found.mean_90[0] < found.mean < found.mean_90[1] <= 1.0


def test_times_are_given_by_the_exposure_clock_whatever_the_scale():
    checks = [f"{m}:00 channel {n} authorised" for m, n in ((4, 1), (8, 2), (12, 3), (16, 4))]
    checks += [f"20:00 channel {n} refused" for n in range(5, 9)]
    plain = make_job("\n".join([ROWS, *checks]))
    halved = make_job("\n".join([ROWS, *checks, *(f"{m}:00 errors any 50 percent" for m in range(21))]))
    one = estimate_entitlement(plain, exposure_clock(plain))
    other = estimate_entitlement(halved, exposure_clock(halved))
    assert other.reception_scale == pytest.approx(0.5)
    assert other.exposure_s == one.exposure_s
    # The same channels by the same clock: a constant share cancels, but for the prior of the scale.
    assert other.time_to_share_s["0.5"].p05 == pytest.approx(one.time_to_share_s["0.5"].p05, rel=0.2)
    assert other.remaining_to_last_s.median == pytest.approx(one.remaining_to_last_s.median, rel=0.35)
    assert other.curve.seen_s == pytest.approx(one.curve.seen_s)
    assert other.steps.upper_s == pytest.approx(one.steps.upper_s)


def test_good_reception_now_shortens_what_bad_reception_made_long():
    # Two thirds of the channels came within 17 minutes, with nine of ten blocks lost; now all is received.
    came = tuple(enumerate((3, 5, 7, 9, 11, 13, 15, 17), 1))
    checks = [f"{m}:00 channel {n} authorised" for n, m in came] + [
        f"{m - 1}:00 channel {n} refused" for n, m in came
    ]
    checks += [f"20:00 channel {n} refused" for n in range(9, 13)]
    bad = [f"{m}:00 errors any {90 if m < 20 else 0} percent" for m in range(21)]
    job, blind = make_job("\n".join([ROWS, *checks, *bad])), make_job("\n".join([ROWS, *checks]))
    with_scale = estimate_entitlement(job, exposure_clock(job))
    without = estimate_entitlement(blind, exposure_clock(blind))
    assert with_scale.remaining_to_last_s.median < 0.6 * without.remaining_to_last_s.median
