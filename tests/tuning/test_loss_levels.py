"""The changes joined to the levels around them, and where the levels part."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.tuning.attempts import Attempt, tuning_attempts
from satdiag.tuning.loss_levels import FEWEST_EACH, NEAR_S, levels_near, parted_by_level, split_level
from tests.helpers import make_job

CHANGE = "10:00 tune 31 requested\n10:02 tune 31 audio\n10:05 tune 31 title\n20:00 note - end\n"


def level_of(rows):
    job = make_job(CHANGE + rows)
    unit, level = levels_near(job, tuning_attempts(job).timed)
    return unit, level.tolist()


def test_the_level_is_the_median_of_what_was_read_around_the_wait():
    rows = "9:30 signal satellite 6 dB\n10:03 signal satellite 7 dB\n10:40 signal satellite 12 dB"
    assert level_of(rows) == ("dB", [7])


def test_the_best_path_counts():
    assert level_of("10:01 signal satellite:east 3 dB\n10:02 signal repeater 11 dB") == ("dB", [11])


@pytest.mark.parametrize("at_s", [600 - NEAR_S - 1, 605 + NEAR_S + 1])
def test_levels_far_away_do_not_count(at_s):
    unit, level = level_of(f"{at_s} signal satellite 6 dB")
    assert unit is None
    assert np.isnan(level).all()


def test_levels_in_the_less_usual_unit_do_not_count():
    rows = "9:50 signal satellite 40 percent\n10:01 signal satellite 50 percent\n10:02 signal repeater 9 dB"
    assert level_of(rows) == ("percent", [45])


def test_an_unreadable_level_is_none():
    assert level_of("10:01 signal satellite unreadable")[0] is None


def test_the_split_lies_in_the_gap():
    level = np.array([3.0, 3.5, 4, 4, 4.5, 5, 11, 11.5, 12, 12, 12.5, 13])
    assert split_level(level, 5.0) == 8.0
    assert split_level(level[::-1], 5.0) == 8.0


@settings(deadline=None)
@given(st.lists(st.integers(0, 15), min_size=2 * FEWEST_EACH, max_size=40))
def test_the_split_is_the_one_with_the_least_spread_within(levels):
    """By brute force: the sum of squares within the two groups, over all splits."""
    level = np.sort(np.array(levels, dtype=float))
    found = split_level(level, 0.1)

    def within(at):
        return sum(((part - part.mean()) ** 2).sum() for part in (level[:at], level[at:]))

    splits = [at for at in range(FEWEST_EACH, len(level) - FEWEST_EACH + 1) if level[at - 1] < level[at]]
    if isinstance(found, str):
        assert not splits
    else:
        assert within(int((level < found).sum())) == pytest.approx(min(map(within, splits)))


@pytest.mark.parametrize(
    ("level", "why"), [([5.0] * 4, "too few"), ([5.0] * 30, "hardly differed"), ([5, 7] * 15, "hardly differed")]
)
def test_no_split(level, why):
    assert why in split_level(np.array(level, dtype=float), 5.0)


def test_changes_without_a_level_are_kept_apart():
    rows = []
    for k in range(20):
        rows += [f"{200 * k} tune {k} requested", f"{200 * k + 2} tune {k} audio"]
        rows += [f"{200 * k + 3} signal any {4 if k % 2 else 12} dB"] if k < 16 else []
    job = make_job("\n".join(rows))
    found = parted_by_level(job, tuning_attempts(job).timed)
    assert (len(found.low), len(found.high), len(found.unknown)) == (8, 8, 4)
    assert all(isinstance(one, Attempt) and one.channel % 2 for one in found.low)
