"""How looks are gathered into separate checks, and what each of them weighs."""

import math
from itertools import product

import numpy as np
import pytest

from satdiag.acceptance.evidence import CHANCES, COST_OF_FLOOR, FLOOR, SLIP, Model, model_of, weigh
from satdiag.acceptance.looks import Look, groups_of, interruptions_s, looks_of
from satdiag.acceptance.plan import Plan
from satdiag.exposure import exposure_clock
from tests.helpers import make_job

SETTLED = Model(0.1, np.array([0.9]), np.array([0.0]), np.array([0.0]), np.array([0.0]))
"""The fill-in is over and p1 is known: Wald's own test with .1 / .9."""
WALD = Plan(0.1, 0.9, 0.05, 0.05)


def look(t_s, channel, passed=True, span_s=0.0, exposure_s=None):
    return Look(t_s, channel, passed, t_s if exposure_s is None else exposure_s, t_s - span_s)


def numbers(looks):
    return [[one.channel for one in group] for group in groups_of(looks)]


def test_looks_less_than_five_seconds_apart_are_one_check():
    assert numbers([look(0, 1), look(4.9, 2), look(5, 3), look(9.9, 4), look(12, 5)]) == [[1, 2], [3, 4], [5]]


def test_a_whole_list_is_one_check_by_its_instant_and_by_its_span():
    same_instant = [look(100, channel) for channel in range(1, 60)]
    assert len(groups_of(same_instant)) == 1
    spans = [
        look(100 + 6 * k, k, span_s=90) for k in range(1, 10)
    ]  # marked one by one, of the same minute and a half
    assert len(groups_of(spans)) == 1
    assert len(groups_of([*same_instant, *(look(300, k, span_s=60) for k in range(1, 60))])) == 2


def test_settled_and_separate_it_is_walds_test():
    """Against `Plan`: the same sums, and the same answer after the same run of passes."""
    seen = [True, True, False, True, False, False, False]
    looks = [look(60.0 * k, k, passed) for k, passed in enumerate(seen)]
    found = weigh(groups_of(looks), SETTLED)
    steps = [WALD.pass_weight if passed else WALD.fail_weight for passed in seen]
    assert found.course == pytest.approx(np.cumsum(steps))
    assert (found.groups, found.good) == (7, 3)


def test_a_group_that_speaks_for_it_weighs_the_mean_of_its_looks():
    group = [look(0, 1), look(1, 2), look(2, 3, passed=False)]
    found = weigh(groups_of(group), SETTLED)
    assert found.weight == pytest.approx((2 * WALD.pass_weight + WALD.fail_weight) / 3 - COST_OF_FLOOR)
    assert found.groups == 1


def test_a_group_that_speaks_against_it_counts_in_full_down_to_a_floor():
    mixed = [look(0, 1), look(1, 2, False), look(2, 3, False)]
    expected = WALD.pass_weight + 2 * WALD.fail_weight - COST_OF_FLOOR
    assert weigh(groups_of(mixed), SETTLED).weight == pytest.approx(expected)
    whole_list = [look(0, channel, False) for channel in range(50)]
    assert weigh(groups_of(whole_list), SETTLED).weight == pytest.approx(-FLOOR - COST_OF_FLOOR)


def mean_ratio(worlds):
    """The mean of the likelihood ratio over (chance, looks); the chances must add up to 1."""
    assert sum(chance for chance, _ in worlds) == pytest.approx(1.0)
    return sum(chance * math.exp(weigh(groups_of(looks), SETTLED).weight) for chance, looks in worlds)


@pytest.mark.parametrize("number", [2, 3, 5])
def test_lists_marked_and_looked_at_singly_stay_fair_by_enumeration(number):
    """Two dead worlds, every case of each: channels open one by one, or the whole list noted wrongly.

    In the first each channel is open with chance .1, and whoever looks again at those that played hears them again.
    In the second the list is wrong with chance .1, and each single look with chance .1.
    """
    one_by_one, common = [], []
    for plays in product((True, False), repeat=number):
        marked = [look(0, channel, passed) for channel, passed in enumerate(plays)]
        again = [look(100 + 10 * channel, channel) for channel, passed in enumerate(plays) if passed]
        one_by_one.append((math.prod(0.1 if passed else 0.9 for passed in plays), [*marked, *again]))
        wrong = [look(0, channel) for channel in range(number)]
        singly = [look(100 + 10 * channel, channel, passed) for channel, passed in enumerate(plays)]
        common.append((0.1 * math.prod(0.1 if passed else 0.9 for passed in plays), [*wrong, *singly]))
    common.append((0.9, [look(0, channel, False) for channel in range(number)]))
    assert mean_ratio(one_by_one) <= 1.0 + 1e-12
    assert mean_ratio(common) <= 1.0 + 1e-12


def test_the_same_channel_again_is_not_a_second_check():
    """Whatever happens in between: if nothing is activated, a channel that played once is an open one."""
    once = weigh(groups_of([look(0, 1)]), SETTLED)
    again = weigh(groups_of([look(0, 1), look(10, 2), look(20, 1), look(900, 1)]), SETTLED, [400.0])
    two = weigh(groups_of([look(0, 1), look(10, 2)]), SETTLED)
    assert once.weight == pytest.approx(WALD.pass_weight)
    assert again.weight == pytest.approx(two.weight)


def test_a_refusal_counts_again_only_after_a_fresh_acquisition():
    first = look(0, 1, passed=False, exposure_s=0.0)
    model = model_of("package", "confirmed")
    base = weigh(groups_of([first]), model).weight
    near = look(20, 1, passed=True, exposure_s=20.0)
    assert weigh(groups_of([first, near]), model).weight == base  # 20 s later, and nothing happened between
    assert weigh(groups_of([first, near]), model, [10.0]).weight != base  # switched off and on
    between = look(10, 2, passed=False, exposure_s=10.0)
    assert (
        weigh(groups_of([first, between, near]), model).weight != weigh(groups_of([first, between]), model).weight
    )  # another channel tuned
    later = look(61, 1, passed=True, exposure_s=61.0)
    assert weigh(groups_of([first, later]), model).weight != base  # a minute later


def test_a_list_marked_twice_and_looked_at_again_singly_reaches_full_weight():
    """The mark of a whole list of two brings one check; looking at each by itself brings the other."""
    marked = [look(0, 1), look(0, 2)]
    singly = [look(120, 1), look(130, 2)]
    assert weigh(groups_of(marked), SETTLED).weight == pytest.approx(WALD.pass_weight - COST_OF_FLOOR)
    assert weigh(groups_of([*marked, *singly]), SETTLED).weight == pytest.approx(2 * WALD.pass_weight - COST_OF_FLOOR)


def test_what_played_and_is_refused_loses_what_it_brought():
    looks = [look(0, 1), look(60, 2), look(120, 3), look(180, 1, False)]
    found = weigh(groups_of(looks), SETTLED)
    assert found.playing == {2, 3}
    assert found.refused == {1}
    assert found.weight < 2 * WALD.pass_weight
    lapsed = [*looks, look(240, 2, False), look(300, 3, False)]
    assert weigh(groups_of(lapsed), SETTLED).weight < 0.0


def test_refusals_of_the_first_minutes_weigh_next_to_nothing():
    """Before anything can have come, a look says little either way; after hours it says what Wald's test says."""
    model = model_of("package", "confirmed")
    early = weigh(groups_of([look(10.0 * k, k, False) for k in range(12)]), model)
    late = weigh(groups_of([look(36000 + 10.0 * k, k, False) for k in range(12)]), model)
    assert math.log(0.05) < early.weight < 0.0
    assert late.weight < 5 * early.weight
    assert late.weight < math.log(0.05)


def test_a_channel_of_a_living_account_may_be_refused_early_and_come():
    model = model_of("package", "confirmed")
    early = [look(10.0 * k, k, False) for k in range(12)]
    came = [look(1500 + 10.0 * k, k) for k in range(12)]
    assert weigh(groups_of([*early, *came]), model).weight > math.log(1 / 0.05)


@pytest.mark.parametrize("source", ["package", "lineup", "seen"])
@pytest.mark.parametrize("origin", ["confirmed", "first-row"])
def test_the_possibilities_are_a_distribution_and_the_averaged_ratio_is_fair(source, origin):
    """The mean of the likelihood ratio of one look is 1 where nothing is activated, at any exposure."""
    model = model_of(source, origin)
    assert np.exp(model.log_prior).sum() == pytest.approx(1.0)
    dead = CHANCES[source].dead
    assert CHANCES[source].dead_range[1] == dead
    for exposure_s in (0.0, 90.0, 1000.0, 1e5):
        ratios = [
            math.exp(weigh(groups_of([look(0, 1, passed, exposure_s=exposure_s)]), model).weight)
            for passed in (True, False)
        ]
        assert dead * ratios[0] + (1 - dead) * ratios[1] == pytest.approx(1.0)


def test_the_ratio_stays_fair_or_unfavourable_over_two_looks_at_a_channel():
    """Every way two looks at one channel can go, and a third at another, with the chances of a dead account."""
    model = model_of("package", "confirmed")
    total = 0.0
    for a in (True, False):
        for b in (True, False):
            for c in (True, False):
                looks = [look(300, 1, a), look(700, 1, b), look(900, 2, c)]
                again = 0.1 if a else SLIP
                p = (0.1 if a else 0.9) * (again if b else 1 - again) * (0.1 if c else 0.9)
                total += p * math.exp(weigh(groups_of(looks), model).weight)
    assert total <= 1.0 + 1e-12


def test_nothing_seen_weighs_nothing():
    found = weigh((), model_of("package", "confirmed"))
    assert (found.weight, found.groups, found.good) == (0.0, 0, 0)


def test_looks_are_read_from_the_log_since_the_confirmation():
    job = make_job(
        """
        0:00  power receiver awake
        1:00  channel 5 authorised
        2:00  account service confirmed
        3:00  lock any yes
        4:00  channel 5 authorised span_s=30
        4:10  channel 6 missing
        4:20  channel 7 refused
        4:30  channel 8 no-signal
        4:40  tune 9 requested
        4:42  tune 9 audio
        5:00  tune 7 requested
        5:01  tune 7 refused
        5:30  channel 99 authorised
        6:00  reset receiver seen
        6:30  power receiver standby
        """
    )
    looks = looks_of(job, exposure_clock(job), {5, 6, 7, 8, 9})
    assert [(one.t_s, one.channel, one.passed, one.t_s - one.start_s) for one in looks] == [
        (240.0, 5, True, 30.0),
        (260.0, 7, False, 0.0),
        (282.0, 9, True, 0.0),
        (301.0, 7, False, 0.0),
    ]
    assert all(0.0 < one.exposure_s <= 240.0 for one in looks)
    assert interruptions_s(job) == (360.0, 390.0)
