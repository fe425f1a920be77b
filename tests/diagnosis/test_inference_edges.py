"""Edges of the inference, each reckoned by hand: which hypotheses there are, who leads, what is worth reckoning with.

The numbers are our own definitions put together on paper; they prove the code against these, not against the world.
"""

import dataclasses

import numpy as np
import pytest

from satdiag.diagnosis import quickscore
from satdiag.diagnosis.inference import CLASSES, NAMES, Posterior, Prior, decibans, leaders
from satdiag.diagnosis.model import Item, load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.vocabulary import CLASS_OF, FAULT_CLASSES, FAULTS

SPACE = space_of(2)


def belief(**chances):
    """P over the hypotheses: named by faults joined with '__' ('_' stands for '-'), the rest of one on 'nothing'."""
    p = np.zeros(len(SPACE.hypotheses))
    for name, chance in chances.items():
        p[SPACE.index_of(*name.replace("__", " ").replace("_", "-").split())] = chance
    p[SPACE.none] += 1.0 - p.sum()
    return p


def test_the_hypotheses_are_nothing_each_fault_each_pair_and_other():
    """1 + n + n (n - 1) / 2 + 1 of them."""
    n = len(FAULTS)
    assert len(SPACE.hypotheses) == 1 + n + n * (n - 1) // 2 + 1
    assert SPACE.hypotheses[SPACE.none] == frozenset()
    assert SPACE.hypotheses[SPACE.other] == frozenset(["other"])
    assert len(set(SPACE.hypotheses)) == len(SPACE.hypotheses)
    assert {len(one) for one in SPACE.hypotheses} == {0, 1, 2}


def test_flags_say_what_each_hypothesis_holds():
    for number, one in enumerate(SPACE.hypotheses):
        assert set(np.array(FAULTS)[SPACE.holds[number]]) == one & set(FAULTS)
        classes = {CLASS_OF[fault] for fault in one if fault in CLASS_OF}
        assert set(np.array(list(FAULT_CLASSES))[SPACE.in_class[number]]) == classes
        real = {fault for fault in one if CLASS_OF.get(fault) == "subscription"} - {"partial-package"}
        assert bool(SPACE.real_subscription[number]) is bool(real)


def test_the_mask_of_a_name_is_where_it_holds():
    assert np.flatnonzero(SPACE.mask_of("none")).tolist() == [0]
    assert np.flatnonzero(SPACE.mask_of("other")).tolist() == [len(SPACE.hypotheses) - 1]
    for fault in FAULTS:
        held = [number for number, one in enumerate(SPACE.hypotheses) if fault in one]
        assert np.flatnonzero(SPACE.mask_of(fault)).tolist() == held


def test_a_smaller_space_keeps_what_belongs_to_what_is_kept():
    kept = np.zeros(len(SPACE.hypotheses), dtype=bool)
    kept[[SPACE.none, SPACE.index_of("not-activated", "foliage"), SPACE.other]] = True
    small = SPACE.only(kept)
    assert small.order == 2
    assert small.hypotheses == (frozenset(), frozenset(["not-activated", "foliage"]), frozenset(["other"]))
    assert (small.none, small.other) == (0, 2)
    assert (small.holds == SPACE.holds[kept]).all()
    assert (small.in_class == SPACE.in_class[kept]).all()
    assert small.real_subscription.tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("chances", "top"),
    [
        ({"antenna_open": 0.6}, ("antenna", "antenna-open")),
        ({"antenna_open": 0.3, "antenna_short": 0.25}, ("antenna", "antenna-open")),
        ({"antenna_open": 0.2, "indoors": 0.1}, ("none", "none")),
        ({"other": 0.9}, ("other", "other")),
        ({"antenna_open": 0.25, "foliage": 0.3, "obstructed": 0.2, "indoors": 0.25}, ("sky", "foliage")),
        ({"foliage__antenna_open": 0.3, "foliage": 0.3}, ("sky", "foliage")),
        ({"partial_package": 0.6}, ("subscription", "partial-package")),
        ({"partial_package": 0.4, "account_lapsed": 0.35}, ("subscription", "partial-package")),
        ({"partial_package__foliage": 0.6, "partial_package": 0.4}, ("sky", "foliage")),
        ({"partial_package__foliage": 0.5, "partial_package": 0.5}, ("sky", "foliage")),
        ({"partial_package__foliage": 0.49, "partial_package": 0.51}, ("subscription", "partial-package")),
        ({"partial_package__account_lapsed": 0.7, "partial_package": 0.3}, ("subscription", "account-lapsed")),
        ({"partial_package": 0.4, "account_lapsed": 0.35, "not_activated": 0.25}, ("subscription", "account-lapsed")),
    ],
)
def test_who_leads(chances, top):
    """The likeliest class, and the likeliest fault in it; `partial-package` yields to a fault as likely as not."""
    assert Posterior(SPACE, belief(**chances), 0.0).top() == top


def test_leaders_of_many_rows_are_those_of_each():
    rows = [belief(antenna_open=0.9), belief(other=0.8), belief(partial_package__foliage=0.9)]
    classes, faults = leaders(SPACE, np.array(rows))
    assert [CLASSES[one] for one in classes] == ["antenna", "other", "sky"]
    assert [NAMES[one] for one in faults] == ["antenna-open", "other", "foliage"]


def test_marginals_by_class_and_name():
    found = Posterior(SPACE, belief(antenna_open=0.2, antenna_open__foliage=0.3, other=0.1), 0.0)
    classes = found.classes()
    assert list(classes) == [*FAULT_CLASSES, "none", "other"]
    assert {name: p for name, p in classes.items() if p} == pytest.approx(
        {"antenna": 0.5, "sky": 0.3, "none": 0.4, "other": 0.1}
    )
    assert {name: p for name, p in found.faults().items() if p} == pytest.approx(
        {"antenna-open": 0.5, "foliage": 0.3}
    )
    assert found.probability_of("antenna-open") == pytest.approx(0.5)
    assert found.probability_of("none") == pytest.approx(0.4)
    assert found.probability_of("other") == pytest.approx(0.1)


def test_worth_reckoning_with_is_what_is_above_and_always_nothing_and_other():
    p = belief(antenna_open=0.25, foliage=0.75)
    kept = Posterior(SPACE, p, 0.0).likely(0.25)
    assert {SPACE.hypotheses[one] for one in np.flatnonzero(kept)} == {
        frozenset(), frozenset(["foliage"]), frozenset(["other"]),
    }  # fmt: skip


@pytest.mark.parametrize(("p", "found"), [(0.0, -100.0), (1.0, 100.0), (1e-12, -100.0), (1 - 1e-12, 100.0)])
def test_decibans_end_at_a_hundred(p, found):
    """10 log10 (1e-10 / (1 - 1e-10)) is -100 to nine digits."""
    assert decibans(p) == pytest.approx(found, abs=1e-6)


# --- all sets at once --------------------------------------------------------------------------------------------

A_READING = Item(
    "x", "x", "x", ("fine", "bad"), ("", ""), np.array([0.9, 0.1]), {FAULTS[0]: np.array([0.2, 0.8])}, ()
)
"""With a tenth of readings wrong, (1 - 0.1) p + 0.1 / 2: 0.86 and 0.14 when healthy, 0.23 and 0.77 with the fault."""


def small_model(floor):
    """The model with that one reading."""
    return dataclasses.replace(load_model(), items={"x": A_READING}, error_floor=floor)


def one_fault(p, none_factor=1.0):
    """The first fault with a prior, the others all but impossible."""
    return Prior(dict.fromkeys(FAULTS, 1e-15) | {FAULTS[0]: p}, 0.01, none_factor)


def test_a_reading_as_a_sum_of_levels():
    fine = quickscore.levels_of(A_READING, Seen("x", "fine"), 0.1)
    assert [coefficient for coefficient, _ in fine] == pytest.approx([0.86])
    assert fine[0][1][:2] == pytest.approx([0.23 / 0.86, 1.0])
    bad = quickscore.levels_of(A_READING, Seen("x", "bad"), 0.1)
    assert [coefficient for coefficient, _ in bad] == pytest.approx([-0.86, 1.0])
    assert bad[1][1][:2] == pytest.approx([1.0, 1.0])
    soft = quickscore.levels_of(A_READING, Seen("x", "fine", soft={"fine": 0.7}), 0.1)
    assert [coefficient for coefficient, _ in soft] == pytest.approx([0.7 * 0.86])


@pytest.mark.parametrize(("repeats", "healthy", "faulty"), [(1, 0.18, 0.74), (4, 0.12, 0.785)])
def test_a_reading_that_was_repeated_is_less_likely_wrong(repeats, healthy, faulty):
    """(1 - f) p + f / 2 with f = 0.2, and 0.05 after four; then Bayes' theorem for one fault of prior 0.3."""
    seen = [Seen("x", "bad", repeats=repeats)]
    expected = 0.3 * faulty / (0.3 * faulty + 0.7 * healthy)
    found = quickscore.marginals(small_model(0.2), one_fault(0.3), seen)
    assert found[FAULTS[0]] == pytest.approx(expected, rel=1e-9)
    pairs = quickscore.truncated(small_model(0.2), SPACE, one_fault(0.3), seen)
    assert pairs[FAULTS[0]] == pytest.approx(expected, rel=1e-9)


def test_nothing_wrong_counts_as_often_as_it_is_said_to_come():
    """Prior odds of one fault against nothing, 0.3 : 0.7, with nothing half as often: 0.3 : 0.35."""
    found = quickscore.truncated(small_model(0.2), SPACE, one_fault(0.3, none_factor=0.5), [])
    assert found[FAULTS[0]] == pytest.approx(0.3 / 0.65, rel=1e-9)
    assert quickscore.marginals(small_model(0.2), one_fault(0.3, none_factor=0.5), [])[FAULTS[0]] == pytest.approx(
        0.3 / 0.65, rel=1e-9
    )


def test_where_nothing_is_suspected_nothing_is_left_out():
    assert quickscore.left_out(small_model(0.2), SPACE, one_fault(0.3), [Seen("x", "fine")]) == 0.0
    assert quickscore.left_out(small_model(0.2), SPACE, one_fault(0.3), [Seen("elsewhere", "fine")]) == 0.0


@pytest.mark.parametrize(("most", "is_said"), [(1, False), (2, True)])
def test_a_sum_just_short_enough_is_made(monkeypatch, most, is_said):
    """A reading 'bad' is a sum of two terms."""
    monkeypatch.setattr(quickscore, "MOST_TERMS", most)
    found = quickscore.marginals(small_model(0.2), one_fault(0.3), [Seen("x", "bad")])
    assert (found is not None) is is_said
