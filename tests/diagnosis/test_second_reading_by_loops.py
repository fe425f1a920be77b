"""One more reading of the same thing on a small model of its own, against plain loops over what may be so.

The loops follow the wording of `again.py`; they prove the code against that wording, not against the world.
"""

import dataclasses

import numpy as np
import pytest

from satdiag.diagnosis.again import (
    ALIKE_ENOUGH,
    DOUBT,
    LOOKS_ENOUGH,
    UNDECIDED,
    Shown,
    adds,
    said_again,
    shown,
    worth_again,
)
from satdiag.diagnosis.model import LEAST_LEFT, SAME_AGAIN, build_model
from satdiag.diagnosis.seen import Seen
from tests.diagnosis.test_small_model_by_loops import DATA, chances, sets_of

STATES = ("good", "weak", "none")
MISREAD = DATA["item"]["satellite"]["misread"]


@pytest.fixture(scope="module")
def model():
    return build_model(DATA)


def reads(so, said, misread=MISREAD):
    """P(one reading says | what is so): a misread one says any state alike."""
    return (1 - misread) * (so == said) + misread / len(STATES)


def second(first, held, soft=None, received=False):
    """P(each state of a second reading): what is so, judged by the first; a wrong one may come out alike again."""
    once = chances("satellite", held, received)
    is_so = [max(p - MISREAD / len(STATES), LEAST_LEFT * p) for p in once]
    for so in range(len(STATES)):
        told = [float(said == first) for said in range(len(STATES))] if soft is None else soft
        is_so[so] *= sum(weight * reads(so, said) for said, weight in enumerate(told))
    found = [0.0] * len(STATES)
    for so, p in enumerate(is_so):
        for said in range(len(STATES)):
            fresh = reads(so, said)
            if soft is None and so != first:  # the first was wrong: the same plug, the same habit
                fresh = (1 - SAME_AGAIN) * fresh + SAME_AGAIN * (said == first)
            found[said] += p / sum(is_so) * fresh
    return found


def each_set(space):
    for held, _ in sets_of(2):
        mask = np.array([one == {fault for fault, _ in held} for one in space.hypotheses])
        for fault, kind in held:
            mask &= space.of_kind.get((fault, kind), True)
        yield held, mask


@pytest.mark.parametrize("soft", [None, (0.2, 1.0, 0.6)])
@pytest.mark.parametrize("first", [0, 2])
def test_what_a_second_reading_says_is_that_of_the_loops(model, first, soft):
    space = model.space()
    table = said_again(model, space, "satellite", Shown(first, soft=soft))
    for held, mask in each_set(space):
        assert table[mask][0] == pytest.approx(second(first, held, soft), abs=1e-12)
    assert table.sum(axis=1) == pytest.approx(np.ones(len(table)))
    assert not table.flags.writeable


def test_where_a_path_is_received_the_second_reading_is_judged_so_too(model):
    """Channels, once a path is received: faults of reception leave them alone, at each look."""
    misread = dataclasses.replace(model.items["channels"], misread=MISREAD)
    model = dataclasses.replace(model, items={**model.items, "channels": misread})
    space, first = model.space(), Shown(2)
    indoors, none = space.index_of("indoors"), space.none
    plain = said_again(model, space, "channels", first)
    assert (plain == said_again(model, space, "channels", first, False)).all()
    assert np.abs(plain[indoors] - plain[none]).max() > 0.01
    received = said_again(model, space, "channels", first, True)
    assert received[indoors] == pytest.approx(received[none])
    told = adds(model, space, "channels", first)
    assert (told == model.log_likelihood("channels", space)[:, 2]).all()
    assert told[indoors] != told[none]
    assert adds(model, space, "channels", first, True)[indoors] == adds(model, space, "channels", first, True)[none]
    twice = adds(model, space, "channels", Shown(2, 2))
    assert (twice == model.log_likelihood("channels", space, 2)[:, 2]).all()


NOISE_SEEN = Shown(0, passing=True)
"""A look at what comes and goes that showed nothing."""


def test_a_look_after_one_in_vain_shows_the_same_but_for_what_is_left_to_chance(model):
    space, anew = model.space(), DATA["item"]["noise"]["anew"]
    table = said_again(model, space, "noise", NOISE_SEEN)
    for held, mask in each_set(space):
        high = chances("noise", held)[1]
        assert table[mask][0] == pytest.approx([1 - anew * high, anew * high], abs=1e-12)
    assert not table.flags.writeable


def test_two_looks_in_vain_are_as_likely_as_one_and_then_another(model):
    """P(both) = P(first) P(second | first), where no reading is wrong."""
    model = dataclasses.replace(model, error_floor=0.0)
    space = model.space()
    one, two, three = (np.exp(adds(model, space, "noise", Shown(0, looks, passing=True))) for looks in (1, 2, 3))
    second_look = said_again(model, space, "noise", NOISE_SEEN)[:, 0]
    assert two == pytest.approx(one * second_look)
    assert three == pytest.approx(one * second_look**2)


def test_a_second_look_is_judged_by_whether_a_path_is_received_and_by_what_was_told_in_part(model):
    passing = dataclasses.replace(model.items["channels"], anew=0.5, misread=MISREAD)
    model = dataclasses.replace(model, items={**model.items, "channels": passing})
    space, first = model.space(), Shown(0, passing=True)
    indoors, none = space.index_of("indoors"), space.none
    plain, received = (said_again(model, space, "channels", first, told) for told in (False, True))
    assert received[indoors] == pytest.approx(received[none])
    assert np.abs(plain[indoors] - plain[none]).max() > 0.01
    assert plain[none, 0] == pytest.approx(0.5 + 0.5 * chances("channels", ())[0])
    soft = (1.0, 0.5, 0.5)
    assert (
        said_again(model, space, "channels", Shown(0, soft=soft, passing=True))
        == said_again(model, space, "channels", Shown(0, soft=soft))
    ).all()


def test_readings_alike_are_counted_and_any_other_begins_anew():
    assert Shown(1) == Shown(1, 1, None)
    assert Shown(1).then(1) == Shown(1, 2)
    assert Shown(1, 3).then(1) == Shown(1, 4)
    assert Shown(1, 3).then(0) == Shown(0, 1)
    assert Shown(1, 3, (0.1, 1.0, 0.2)).then(1) == Shown(1, 1)  # one told in part is none to count
    assert Shown(0, 2, passing=True).then(0) == Shown(0, 3, None, True)
    assert Shown(0, 2, passing=True).then(1) == Shown(1, 1, None, True)
    assert Shown(1) == Shown(1, 1, None, False)


def test_what_was_shown_of_what_can_be_misread_or_was_told_in_part(model):
    """Of the small model only the level is misread, noise comes and goes; looks at channels tell more and more."""
    items = dict(model.items)
    items["refused-pattern"] = dataclasses.replace(items["letter"], name="refused-pattern", misread=0.0)
    model = dataclasses.replace(model, items=items)
    seen = [
        Seen("satellite", "none", repeats=2),
        Seen("channels", "some", soft={"some": 1.0, "none": 0.5}),
        Seen("letter", "came"),
        Seen("elsewhere", "there"),
    ]
    assert shown(model, seen) == {"satellite": Shown(2, 2)}
    assert shown(model, [Seen("noise", "low", repeats=2)]) == {"noise": Shown(0, 2, passing=True)}
    part = Seen("satellite", "weak", soft={"weak": 1.0, "none": 0.5})
    assert shown(model, [part]) == {"satellite": Shown(1, 1, (0.0, 1.0, 0.5))}
    assert shown(model, [Seen("refused-pattern", "came")]) == {}
    looks = Seen("refused-pattern", "missing", repeats=4, soft={"missing": 1.0})
    assert shown(model, [looks]) == {"refused-pattern": Shown(1, 4, (0.0, 1.0))}


@pytest.mark.parametrize(
    ("item", "was", "is_worth"),
    [
        ("satellite", Shown(0, ALIKE_ENOUGH - 1), True),
        ("satellite", Shown(0, ALIKE_ENOUGH), False),
        ("noise", Shown(0, LOOKS_ENOUGH - 1, passing=True), True),
        ("noise", Shown(0, LOOKS_ENOUGH, passing=True), False),
        ("noise", Shown(1, 1, passing=True), False),  # it has shown itself
        ("satellite", Shown(0, 9, (1.0, UNDECIDED, 0.0)), True),
        ("satellite", Shown(1, 1, (0.0, 1.0, UNDECIDED * 0.99)), False),
        ("refused-running", Shown(1, 9, (0.0, 1.0, DOUBT)), True),
        ("refused-running", Shown(1, 1, (DOUBT * 0.99, 1.0, 0.0)), False),
    ],
)
def test_worth_reading_again_up_to_the_very_boundary(item, was, is_worth):
    assert worth_again({item: was}, item) is is_worth
    assert worth_again({item: was}, "letter") is False
