"""Thousands of channels in arrays against the same channels one by one, after rows of every kind in any order."""

from collections import Counter
from random import Random

import pytest

from satdiag.live.roll import SHOWS, Ask, Roll
from satdiag.live.state import STATES, Expectation, LogView, channel_list
from satdiag.rows import Row
from satdiag.tables import LineUpChannel

FITS = {
    "all": lambda one: True,
    "unchecked": lambda one: not one["state"],
    "changed": lambda one: bool(one["before"]) and one["before"] != one["state"],
    "expected": lambda one: one["expected"] is True,
    **{state: lambda one, state=state: one["state"] == state for state in STATES},
}
"""What each way to sift keeps, as the page does it where it has all channels (`static/channels.js`)."""


def expectation(draw, count):
    """A line-up of some numbers below 60 with categories, and what is expected of it."""
    numbers = draw.sample(range(60), count)
    lines = {n: LineUpChannel(n, f"Demo {n % 7}", draw.choice(["", "Talk", "music"]), frozenset()) for n in numbers}
    told = {n: draw.choice([True, False]) for n in numbers if draw.random() < 0.7}
    return Expectation(lines, told)


def rows(draw, count):
    """Checks of channels below 80, channel changes, swapped receivers, and entries taken back."""
    made, at = [], "2026-03-01T10:00:00Z"
    for n in range(count):
        channel, kind = str(draw.randrange(80)), draw.random()
        if kind < 0.7:
            made.append(Row(at, "channel", channel, draw.choice(STATES), id=f"d-{n}"))
        elif kind < 0.8:
            made.append(Row(at, "tune", channel, draw.choice(["requested", "audio"]), id=f"d-{n}"))
        elif kind < 0.98:
            made.append(Row(at, "withdraw", "row", f"d-{draw.randrange(n + 1)}", id=f"d-{n}"))
        else:
            made.append(Row(at, "swap", "receiver", "same", id=f"d-{n}"))
    return made


def plain(view, expected):
    """The channels one by one in the order of the roll: by category as they come by number, without one last."""
    channels = channel_list(view, expected, {}, 0)
    names = [*dict.fromkeys(one["category"] for one in channels if one["category"]), ""]
    return sorted(channels, key=lambda one: names.index(one["category"]))


@pytest.mark.parametrize("seed", range(12))
def test_a_roll_tells_what_the_channels_one_by_one_tell(seed):
    draw = Random(seed)
    expected = expectation(draw, draw.choice([0, 1, 25, 60]))
    view, roll = LogView(None), Roll(expected)
    for _ in range(6):
        view.take(rows(draw, 40))
        roll.see({number: view.checks_of(number) for number in view.touched})
        view.touched = set()
        channels = plain(view, expected)
        states = Counter(one["state"] for one in channels)
        assert roll.tally == (len(channels), states["authorised"], states[None])
        for show in SHOWS:
            for words in ("", "3", "demo 3", "1 demo", "TALK", "99"):
                for category in (None, "", "Talk", "other"):
                    ask = Ask(words, show, category)
                    assert roll.part(ask, 1000).numbers == wanted(channels, ask), ask
        groups = {one.category: (one.channels, one.plays) for one in roll.groups([one["number"] for one in channels])}
        of = Counter(one["category"] for one in channels)
        play = Counter(one["category"] for one in channels if one["state"] == "authorised")
        assert groups == {name: (of[name], play[name]) for name in of}


def wanted(channels, ask):
    """The numbers of the channels that fit; the one that has the number itself first."""
    fits = [
        one["number"]
        for one in channels
        if FITS[ask.show](one)
        and ask.category in (None, one["category"])
        and ask.words.lower() in f"{one['number']} {one['name']} {one['category']}".lower()
    ]
    return sorted(fits, key=lambda number: str(number) != ask.words)


def test_parts_follow_one_another_and_end_with_the_last():
    lines = {n: LineUpChannel(n, "", "music", frozenset()) for n in range(1, 26)}
    roll = Roll(Expectation(lines, {}))
    parts = [roll.part(Ask(first=first), 10) for first in (0, 10, 20, 999)]
    assert [(part.first, part.numbers[0], part.numbers[-1], part.found) for part in parts] == [
        (0, 1, 10, 25),
        (10, 11, 20, 25),
        (20, 21, 25, 25),
        (20, 21, 25, 25),
    ]
    assert roll.part(Ask("none such"), 10) == ([], 0, 0)
    assert roll.between(20, 99, None, 3) == ([20, 21, 22], 6)
    assert roll.between(20, 99, "talk", 3) == ([], 0)
    assert roll.ends == (1, 25)
