"""The line-up, the horizon and the obstacles."""

from random import Random

import pytest

from satdiag.errors import BadInput
from satdiag.tables import (
    HorizonPoint,
    LineUpChannel,
    Obstacle,
    parse_horizon,
    parse_lineup,
    parse_obstacles,
)

LINEUP = (
    'channel,name,category,packages\n0,"Zero, the first",music,\n31,North,talk,music talk\n9999999,Open,news,open\n'
)


def test_lineup():
    channels = parse_lineup(LINEUP)
    assert channels == (
        LineUpChannel(0, "Zero, the first", "music", frozenset()),
        LineUpChannel(31, "North", "talk", frozenset({"music", "talk"})),
        LineUpChannel(9_999_999, "Open", "news", frozenset({"open"})),
    )
    assert [channel.is_open for channel in channels] == [False, False, True]


@pytest.mark.parametrize("channel", ["-1", "01", "10000000", "1.0", "", "٣"])
def test_channel_numbers(channel):
    with pytest.raises(BadInput, match="channel number"):
        parse_lineup(f"channel,name,category,packages\n{channel},a,b,c\n")


@pytest.mark.parametrize("packages", ["Music", "a  b", " a", "a,b", "a;b", "a_b"])
def test_package_words(packages):
    with pytest.raises(BadInput, match="list of words"):
        parse_lineup(f'channel,name,category,packages\n1,a,b,"{packages}"\n')


def test_every_second_line_of_a_channel_is_named():
    with pytest.raises(BadInput) as caught:
        parse_lineup("channel,name,category,packages\n1,a,b,c\n2,a,b,c\n1,a,b,c\n1,a,b,c\n")
    assert [(problem.line, problem.column) for problem in caught.value.problems] == [(4, "channel"), (5, "channel")]


def test_horizon_and_obstacles():
    assert parse_horizon("azimuth_deg,elevation_deg\n0,-10\n360,90\n") == (
        HorizonPoint(0, -10),
        HorizonPoint(360, 90),
    )
    text = 'azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n350,10,12.5,-1,"wall, left"\n'
    assert parse_obstacles(text) == (Obstacle(350, 10, 12.5, -1, "wall, left"),)
    assert parse_horizon("azimuth_deg,elevation_deg\n") == ()


def test_all_bad_fields_are_told_at_once():
    with pytest.raises(BadInput) as caught:
        parse_obstacles("azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n-1,361,0,x,\n1,2\n")
    found = [(problem.line, problem.column) for problem in caught.value.problems]
    assert found == [(2, "azimuth_from_deg"), (2, "azimuth_to_deg"), (2, "distance_m"), (2, "height_m"), (3, None)]


@pytest.mark.parametrize("seed", range(40))
def test_a_plain_line_up_is_read_as_with_care(seed, monkeypatch):
    """Lines of every kind: whatever the quick way reads, the careful one reads too, and with the same result."""
    draw = Random(seed)
    odd = seed % 4 == 0
    names = ["", "Demo", "Démo 'x'", "a;b", "\x0b", " "] + (['"Demo, one"', "a,b", 'a"b'] if odd else [])
    packages = ["", "full", "full open", "x-1"] + (["Full", "a  b", " a"] if odd else [])
    numbers = draw.sample(range(30), 8) + ([draw.randrange(30), "01", ""] if odd else [])
    lines = [f"{n},{draw.choice(names)},{draw.choice(['music', ''])},{draw.choice(packages)}" for n in numbers]
    text = "\n".join(["channel,name,category,packages", *lines]) + draw.choice(["", "\n", "\n\n" if odd else "\n"])
    quick = told(text)
    monkeypatch.setattr("satdiag.tables._plain_lineup", lambda text: None)
    assert quick == told(text)
    assert odd or len(quick) == 8


def told(text):
    """What is read, or what is said to be wrong."""
    try:
        return parse_lineup(text)
    except BadInput as error:
        return str(error)
