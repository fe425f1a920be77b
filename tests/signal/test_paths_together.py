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


def test_a_path_that_was_blocked_before_cannot_tell():
    assert joint_dropouts({"a": path("yyny"), "b": path("nnnn")}) == (0, 0)
    assert joint_dropouts({"a": path("yyny")}) == (0, 0)
    assert joint_dropouts({"a": path("yyny"), "b": path("yyny"), "c": path("nnnn")}) == (1, 1)


def test_a_loss_that_was_not_watched_is_no_drop_out():
    assert joint_dropouts({"a": path("y.ny"), "b": path("y.ny")}) == (0, 0)


def test_paths_that_stand_for_others_are_not_compared():
    assert compared_paths(["any", "repeater", "satellite", "satellite:east"]) == ["repeater", "satellite:east"]
    assert compared_paths(["any", "repeater", "satellite"]) == ["repeater", "satellite"]
