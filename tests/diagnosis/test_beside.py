"""A known-good receiver beside this one: differences with known answers."""

import numpy as np
import pytest
from scipy import stats

import satdiag
from satdiag.diagnosis.beside import beside
from tests.helpers import make_job


def clock(seconds):
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def levels(values, start=0, step=20, path="satellite:east", unit="dB"):
    return "\n".join(f"{clock(start + k * step)} signal {path} {v} {unit}" for k, v in enumerate(values))


def test_the_interval_is_a_paired_t_interval_over_blocks():
    """Against scipy's own one-sample t interval on the block means, worked out apart."""
    rng = np.random.default_rng(3)
    sky = np.repeat(rng.normal(12, 3, 10), 6)  # the same sky over both
    ours, theirs = np.round(sky - 4 + rng.normal(0, 0.5, 60), 1), np.round(sky + rng.normal(0, 0.5, 60), 1)
    found = beside(make_job(levels(ours)), make_job(levels(theirs)))
    (path,) = found.paths
    blocks = (ours - theirs).reshape(10, 6).mean(axis=1)
    low, high = stats.ttest_1samp(blocks, 0).confidence_interval(0.90)
    assert (path.pairs, path.blocks) == (60, 10)
    assert path.difference == pytest.approx((ours - theirs).mean())
    assert path.difference_90 == pytest.approx((low, high))
    assert high - low < 1.0 < np.ptp(sky)  # the sky's own swing is gone
    assert found.state == "ours-worse"
    assert "The sky is not the cause" in found.text


def test_the_other_log_may_start_at_another_time_and_read_at_other_moments():
    ours = make_job(levels([9.0] * 30, start=0))
    theirs = make_job(levels([13.0] * 30, start=7))
    assert beside(ours, theirs).paths[0].difference == pytest.approx(-4.0)
    assert beside(ours, make_job(levels([13.0] * 30, start=3600))).state is None


def test_other_units_and_other_paths_are_not_compared():
    ours = make_job(levels([50] * 30, unit="percent"))
    assert beside(ours, make_job(levels([12] * 30))).paths == ()
    assert beside(ours, make_job(levels([50] * 30, unit="percent", path="satellite:west"))).paths == ()


@pytest.mark.parametrize(
    ("ours", "theirs", "state"),
    [
        ("no", "yes", "ours-worse"),
        ("yes", "yes", "alike-good"),
        ("no", "no", "alike-bad"),
        ("yes", "no", "alike-bad"),
    ],
)
def test_locks_alone_tell_too(ours, theirs, state):
    rows = "\n".join(f"{minute}:00 lock any {{0}}" for minute in range(12))
    found = beside(make_job(rows.format(ours)), make_job(rows.format(theirs)))
    assert found.state == state
    assert found.minutes == pytest.approx(6.0)


def test_an_empty_log_compares_with_nothing():
    assert beside(make_job(levels([1, 2])), make_job("")).state is None
    assert beside(make_job(""), make_job(levels([1, 2]))).state is None


def test_the_sky_is_out_once_the_neighbour_receives():
    """The same bad reception: with a good neighbour beside it no fault of the surroundings is left likely."""
    bad = "0:00 place vehicle street\n" + "\n".join(f"{minute}:00 lock any no" for minute in range(12))
    good = "\n".join(f"{minute}:00 lock any yes" for minute in range(12))
    job = make_job(bad)
    alone = satdiag.analyse(job).diagnosis.classes["sky"]
    beside_good = satdiag.analyse(job, reference=make_job(good)).diagnosis
    beside_bad = satdiag.analyse(job, reference=make_job(bad)).diagnosis
    assert beside_good.classes["sky"] < 0.65 * alone  # what is left is what stands beside any fault of the vehicle
    assert beside_bad.classes["sky"] > alone
    assert beside_good.beside.state == "ours-worse"
