"""Pasted channel lists: every usual way to write one, nothing guessed, nothing that does harm."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.live.lineups import Marks, lineup_bytes
from satdiag.live.pasted import MAX_LINES, read_channels
from satdiag.tables import parse_lineup

TWO = [(31, "Alpha", "Rock"), (32, "80s on 8", "News")]


def short(text):
    """The channels of a text without their packages."""
    return [channel[:3] for channel in read_channels(text).channels]


@pytest.mark.parametrize(
    "text",
    [
        "number,name,category\n31,Alpha,Rock\n32,80s on 8,News\n",
        "Genre;Name;No.\nRock;Alpha;31\n\nNews;80s on 8;32",
        "Alpha\t31\tRock\r\n80s on 8\t32\tNews\r\n",
        "Ch\tChannel\tGenre\t\r31\tAlpha\tRock\t\r32\t80s on 8\tNews\t",
        "1\t31\tAlpha\tRock\n2\t32\t80s on 8\tNews",
        "| # | Title | Type |\n|---|---|---|\n| 31 | Alpha | Rock |\n| 32 | 80s on 8 | News |",
        "Rock\n31\tAlpha\nNews\n32\t80s on 8",
        "31   Alpha     Rock\n32   80s on 8  News",
        "Rock (12)\n31 Alpha\nNews (3 channels)\n32 80s on 8",
        "Rock\n31 Alpha\n\nNews\n32 80s on 8",
        "Rock:\n31. Alpha\n== News ==\n032) 80s on 8",
        "[Rock]\n31 - Alpha\n--- News ---\n32 – 80s on 8",
        "# Rock\n- 31: Alpha\n# News\n- 32: 80s on 8",
        "Rock\nAlpha - 31\nNews\n80s on 8 - 32\nRock",
        "Rock:\nAlpha ch. 31\nNews:\n80s on 8 #32",
        "Ch. 31: Alpha (Rock)\nChannel 32: 80s on 8 (News)",
        "Alpha (Rock) - 31\n80s on 8 (News): 32",
        "\ufeff31 Alpha\u00a0(Rock)\n\u200b32\u200980s on 8 (News)",
    ],
)
def test_every_usual_way_to_write_a_list(text):
    assert short(text) == TWO


def test_columns_without_a_head_line_are_told_apart_by_what_stands_in_them():
    found = read_channels("Rock,31,Alpha\nNews,32,80s on 8\nRock,7,Beta")
    assert [channel[:3] for channel in found.channels] == [*TWO, (7, "Beta", "Rock")]
    assert found.how == (
        "Read as a table parted by commas, column 2 as the number, column 3 as the name, column 1 as the category: "
        "3 channels."
    )


def test_our_own_table_keeps_its_packages():
    text = 'channel,name,category,packages\n4,"a, ""b""",Rock,music all\n5,c,,\n6,d,News,open\n'
    found = read_channels(text.replace("\n", "\r\n"))
    assert found.channels == ((4, 'a, "b"', "Rock", "music all"), (5, "c", "", ""), (6, "d", "News", "open"))
    assert found.how == "Read as lineup.csv, packages kept: 3 channels."
    doubled = read_channels(text + "4,again,Rock,all\n")
    assert doubled.channels == found.channels
    assert doubled.left_out == ((5, "4,again,Rock,all", "channel 4 stands in line 2 already; the first is kept"),)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("80s on 8", "no channel number"),
        ("100-110 Sports", "a range"),
        ("Sports 100–110", "a range"),
        ("Channels 100 to 110", "a range"),
        ("100 - 110 Sports", "two numbers"),
        ("54 Street - 31", "two numbers"),
        ("12:30 at noon", "no channel number"),
        ("31: Alpha, 32: Beta", "several channels"),
        ("12345678 Much", "seven digits"),
        ("Ch. 77", "name is missing"),
        ("9 " + "x" * 400, "too long"),
    ],
)
def test_what_is_left_out_and_why(line, why):
    found = read_channels(line)
    assert found.channels == ()
    assert [(left.line, why in left.why) for left in found.left_out] == [(1, True)]
    assert found.how == "No channel was found: a line needs a number and a name."


def test_the_sure_lines_tell_at_which_end_the_number_stands():
    assert short("1 - Alpha\n54 Street - 31\n3 - 90 Minutes\n2 - Beta") == [
        (1, "Alpha", ""), (54, "Street - 31", ""), (3, "90 Minutes", ""), (2, "Beta", ""),
    ]  # fmt: skip
    assert short("Alpha - 1\n54 Street - 31") == [(1, "Alpha", ""), (31, "54 Street", "")]
    assert short("31 24/7 Talk") == [(31, "24/7 Talk", "")]


def test_a_bracket_is_a_category_only_where_that_is_the_way_of_the_list():
    assert short("1 Alpha\n2 Beta (live)\n3 Gamma") == [(1, "Alpha", ""), (2, "Beta (live)", ""), (3, "Gamma", "")]


def test_a_number_that_stands_twice_and_a_lone_word():
    found = read_channels("31 Alpha\nEnd of part\n\n31 Beta\nThanks")
    assert found.channels == ((31, "Alpha", "", ""),)
    assert [left[:2] for left in found.left_out] == [(2, "End of part"), (4, "31 Beta"), (5, "Thanks")]
    assert "line 1 already" in found.left_out[1].why


def test_a_line_behind_each_channel_is_no_category():
    found = read_channels("1 Alpha\nAll the hits\n2 Beta\nAll the talk\n3 Gamma\nAll the rest")
    assert [channel.category for channel in found.channels] == ["", "", ""]
    assert [left.line for left in found.left_out] == [2, 4, 6]


def test_a_row_with_a_field_too_many_is_not_cut_in_silence():
    found = read_channels("Channel,Name\n31,Alpha\n32,Beta, live")
    assert [channel.name for channel in found.channels] == ["Alpha"]
    assert [(left.line, "more fields" in left.why) for left in found.left_out] == [(3, True)]


def test_too_much_is_left_out_and_said():
    found = read_channels("\n".join(f"{number} Name" for number in range(1, MAX_LINES + 9)))
    assert len(found.channels) == MAX_LINES
    assert found.left_out[-1][:1] == (MAX_LINES + 1,)
    assert "more than 5000 lines" in found.left_out[-1].why
    found = read_channels("\n".join(f"{number} {'é' * 90}" for number in range(1000, 3000)))
    assert 1000 < len(found.channels) < 200_000 / 184
    assert "larger than 200 kB" in found.left_out[-1].why


@pytest.mark.parametrize(
    "text",
    [
        "1" * 200_000, "1 " * 100_000, "(" * 200_000, "a-" * 100_000, "=" * 200_000, "\n" * 200_000, '"' * 200_000,
        "1-2 " * 50_000, "\t" * 190_000 + "\n" + "1\ta\n" * 2400, ("- " * 149 + "\n") * 660, ("=" * 299 + "\n") * 660,
        ("ch " * 99 + "1x\n") * 660, "1,a\n" * 50_000, "\ud800\x00\u202e31 x", ("(" * 149 + ")" * 149 + "\n") * 660,
    ],
    ids=lambda text: repr(text[:12]),
)  # fmt: skip
def test_hostile_texts_are_read_to_their_end(text):
    """What grows with the square of such a length takes longer than the limit that pytest sets for a test."""
    found = read_channels(text)
    assert all(name.isprintable() for _, name, _, _ in found.channels)


def test_marks_that_cannot_be_seen_are_taken_out():
    assert short("31 A\x00l\u202epha\x1b") == [(31, "Alpha", "")]


@pytest.mark.parametrize("mark", ["\x00", "\x1b", "\u202e", "\ud800", "\u200b\u200b"])
def test_two_numbers_never_become_one(mark):
    numbers = [number for number, _, _ in short(f"3{mark}1 Alpha\n7 Beta")]
    assert 31 not in numbers
    assert 7 in numbers


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet=st.sampled_from("0123 9aZ\t\n\r,;|\"'-–:.()[]=#é\x00\ud800\u2028"), max_size=120) | st.text())
def test_any_text_is_read_without_an_error_and_makes_a_line_up(text):
    found = read_channels(text)
    numbers = [channel.number for channel in found.channels]
    assert len(set(numbers)) == len(numbers)
    for channel in found.channels:
        assert channel.name.isprintable()
        assert set(channel.name) <= {*text, " ", "(", ")"}, "nothing is made up"
        assert f"{channel.number}" in text
    again = parse_lineup(lineup_bytes(found.channels, Marks(), "music").decode())
    assert [(line.channel, line.name, line.category) for line in again] == [one[:3] for one in found.channels]


@pytest.mark.parametrize(
    "text",
    [
        "31 Alpha\n5 Preview (open)",
        "31 Alpha\n5 Preview [Open]",
        "Alpha - 31\nPreview (free) - 5",
        "31: Alpha (Rock)\n32: Beta (Rock)\n5: Preview (abierto)",
        "number,name,category,open\n31,Alpha,Rock,no\n5,Preview,Rock,yes",
        "No.;Name;Genre;Access\n31;Alpha;Rock;subscription\n5;Preview;Rock;open",
        "number,name,ouvert\n31,Alpha,\n5,Preview,x",
        "Rock\n31 Alpha\n\nOpen\n5 Preview",
    ],
)
def test_a_channel_that_plays_without_an_account_can_be_marked(text):
    found = {one.number: one for one in read_channels(text).channels}
    assert (found[5].name, found[5].packages) == ("Preview", "open")
    assert (found[31].name, found[31].packages) == ("Alpha", "")
    lines = lineup_bytes(found.values(), Marks(), "music").decode()
    assert {line.channel: line.is_open for line in parse_lineup(lines)} == dict.fromkeys(found, False) | {5: True}


@pytest.mark.parametrize("name", ["Open Road", "The Open", "Radio Free", "Alpha (openers)"])
def test_a_name_that_only_sounds_open_marks_nothing(name):
    assert read_channels(f"5 {name}\n31 Alpha").channels[0] == (5, name, "", "")
