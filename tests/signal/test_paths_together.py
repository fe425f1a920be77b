"""Paths side by side: at least one received, and drop-outs that take all at once."""

import numpy as np
import pytest

from satdiag.signal.pieces import Pieces
from satdiag.signal.together import any_history, compared_paths, joint_dropouts, overruled


def path(states, step_s=10.0, start_s=0.0):
    """Pieces of equal length from a word: y received, n blocked, . unknown."""
    start = start_s + step_s * np.arange(len(states))
    known = np.array([state != "." for state in states])
    received = np.array([state == "y" for state in states])
    return Pieces(start, start + step_s, received, np.full(len(states), 8.0)).only(known)


def spoken(history):
    return [(a, b, bool(s)) for a, b, s in zip(history.start_s, history.end_s, history.state, strict=True)]


def yes_and_watched(paths):
    history = any_history(paths)
    return history.yes_s, history.watched_s


@pytest.mark.parametrize(
    ("paths", "yes_s", "watched_s"),
    [
        ({"satellite:east": "yynn", "repeater": "nyyn"}, 30, 40),
        ({"satellite:east": "yynn", "repeater": "nn.."}, 20, 20),  # a no says nothing of a path not read then
        ({"satellite:east": "ynn", "satellite:west": "..n"}, 10, 20),
        ({"satellite": "nn", "satellite:east": "..", "repeater": "nn"}, 0, 20),  # all satellites, then the repeater
        ({"satellite": "nn", "repeater": "n."}, 0, 10),
        ({"any": "nn", "satellite:east": "yy"}, 0, 20),  # any no overrides
        ({"any": "yy", "satellite:east": "nn"}, 20, 20),
        ({"any": "..", "satellite:east": "nn"}, 0, 20),
        ({"any": "yn.y"}, 20, 30),
        ({"repeater": "ynyn"}, 20, 40),
    ],
)
def test_at_least_one_path(paths, yes_s, watched_s):
    pieces = {name: path(states) for name, states in paths.items()}
    assert yes_and_watched(pieces) == (yes_s, watched_s)


def test_what_any_rules_out_is_blocked_and_the_rest_stays():
    found = overruled(path("yyyy"), path("y.nn", start_s=5.0))
    states = {float(t): bool(s) for t, s in zip(found.start_s, found.received, strict=True)}
    assert states[20.0] is True
    assert states[25.0] is False
    assert float(found.length_s[~found.received].sum()) == 15.0
    assert float(found.length_s.sum()) == 40.0
    assert overruled(path("yn"), None).received.tolist() == [True, False]


def test_drop_outs_at_once():
    assert joint_dropouts({"a": path("yynny"), "b": path("yynny")}) == (1, 1)
    assert joint_dropouts({"a": path("yynyynyy"), "b": path("yyyyynyy")}) == (1, 2)
    assert joint_dropouts({"a": path("yynyyyyy"), "b": path("yyyyynyy")}) == (0, 2)


def test_readings_in_turn_still_meet():
    # The repeater is read 4 s after the satellite: both may have been lost at the same instant.
    assert joint_dropouts({"a": path("yynny"), "b": path("yynny", start_s=4.0)}) == (1, 1)
    assert joint_dropouts({"a": path("yynny"), "b": path("yynny", start_s=-4.0)}) == (1, 1)


def test_a_path_that_was_not_read_meanwhile_says_nothing():
    """One reading of a path fails; the other was read before it and after it, each time received."""
    for apart_s in (2.0, 4.0, 8.0):
        assert joint_dropouts({"a": path("yynyy"), "b": path("yyyyy", start_s=apart_s)}) == (0, 0)
        assert joint_dropouts({"a": path("yynnyy"), "b": path("yyyyyy", start_s=apart_s)}) == (0, 1), (
            "read between both"
        )
    assert joint_dropouts({"a": path("yynyy"), "b": path("yyyyy", start_s=0.5)}) == (0, 1), "one look at both"
    assert joint_dropouts({"a": path("yynyy"), "b": path("yynyy"), "c": path("yyyyy", start_s=5.0)}) == (0, 0)


@pytest.mark.parametrize("lasts_s", [2.0, 4.0, 8.0, 12.0])
def test_short_drop_outs_of_all_paths_are_never_called_apart(lasts_s):
    """Three paths read in turn, each every 15 s, 5 s after one another, all lost at random instants for a while.

    Simulated: it proves the count against its own assumption only, that all paths are lost together.
    """
    random = np.random.default_rng(7)
    begins_s = np.cumsum(random.uniform(60.0, 240.0, 400))
    joint, telling = joint_dropouts(
        {
            name: read_every(15.0, offset_s, begins_s, lasts_s)
            for name, offset_s in (("a", 0.0), ("b", 5.0), ("c", 10.0))
        }
    )
    assert joint == telling
    assert bool(telling) == (lasts_s > 10.0)


def read_every(step_s, offset_s, begins_s, lasts_s):
    """Readings of a path that is lost for `lasts_s` from each instant on."""
    t_s = np.arange(offset_s, begins_s[-1] + 60.0, step_s)
    last = np.searchsorted(begins_s, t_s, side="right") - 1
    lost = (last >= 0) & (t_s < begins_s[last.clip(0)] + lasts_s)
    return Pieces(t_s, t_s + step_s, ~lost, np.full(len(t_s), 8.0))


def test_a_path_that_was_blocked_before_cannot_tell():
    assert joint_dropouts({"a": path("yyny"), "b": path("nnnn")}) == (0, 0)
    assert joint_dropouts({"a": path("yyny")}) == (0, 0)
    assert joint_dropouts({"a": path("yyny"), "b": path("yyny"), "c": path("nnnn")}) == (1, 1)


def test_a_loss_that_was_not_watched_is_no_drop_out():
    assert joint_dropouts({"a": path("y.ny"), "b": path("y.ny")}) == (0, 0)


def test_paths_that_stand_for_others_are_not_compared():
    assert compared_paths(["any", "repeater", "satellite", "satellite:east"]) == ["repeater", "satellite:east"]
    assert compared_paths(["any", "repeater", "satellite"]) == ["repeater", "satellite"]
