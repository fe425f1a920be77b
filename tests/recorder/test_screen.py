"""The screen of a recording: what a person must see is there, first, in words, at every width."""

import io

import pytest
from rich.console import Console

from satdiag.recorder.screen import PLAIN_EVERY_S, PlainLines, duration, headline, render
from satdiag.recorder.status import LevelNow, SourceStatus, Status

WIDTHS = (40, 50, 80, 120)


def source(name="serial:bench-lines", state="listening", **more):
    """One source that was heard half a second ago."""
    plain = {"where": "/dev/ttyDEMO0", "trouble": "", "age_s": 0.5, "lines": 8123, "rows": 7990}
    plain |= {"not_understood": 0, "lost_lines": 0, "summary": ""}
    return SourceStatus(name=name, state=state, **{**plain, **more})


def status(**more):
    """A recording in which all is well."""
    plain = {
        "job": "demo-0007",
        "run": "r1",
        "seconds": 740.0,
        "sources": (source(), source("gnss", summary="9 seen")),
    }
    plain |= {"rows_written": 9654, "held": 0, "room": 200_000, "commit_age_s": 0.2, "store_trouble": ""}
    plain |= {"levels": (LevelNow("satellite:east", "11.2", "dB", 0.5), LevelNow("repeater", "0.4", "dB", 412.0))}
    plain |= {"authorised": 112, "refused": 31, "other": 4, "expected": 150}
    plain |= {"exposure_s": 840.0, "exposure_max_s": 1205.0, "answer": "written: channel 31 refused (r1-77)"}
    return Status(**{**plain, **more})


LOST = source(state="lost", trouble="unplugged; trying again", age_s=412.0)
SILENT = source("serial:volt-amp-meter", "silent", trouble="no line for 30 s", age_s=44.0)
FULL = status(store_trouble="demo.satjob: the disk is full.", held=312)


def shown(what, width=80, typed="", cursor=0, choices=(), recent=(), **console):
    """The screen as the lines that a terminal of this width gets."""
    out = io.StringIO()
    Console(file=out, width=width, **console).print(render(what, typed, cursor, choices, width, recent))
    return out.getvalue().splitlines()


def words(lines):
    """The lines as one run of words, wherever they were broken."""
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize("width", WIDTHS)
def test_the_first_sentence_says_how_it_stands(width):
    assert words(shown(status(), width)).startswith("Recording since 12 min: 2 of 2 sources heard.")
    lost = words(shown(status(sources=(LOST, SILENT, source("gnss"))), width))
    assert lost.startswith(
        "Recording since 12 min: 1 of 3 sources heard; serial:bench-lines not heard, serial:volt-amp"
    )
    assert headline(status(sources=())) == "Recording since 12 min: what you type."


@pytest.mark.parametrize("width", WIDTHS)
def test_the_first_line_is_loud_when_nothing_can_be_written(width):
    lines = shown(FULL, width)
    assert lines[0].startswith("NOT BEING WRITTEN: demo.satjob: the disk")
    assert "312 rows and lines are held (room for 200,000)" in words(lines)


def test_one_is_said_to_be_one():
    one = source(lines=1, rows=1, lost_lines=1)
    assert "heard 0 s ago 1 line, 1 row" in words(shown(status(sources=(one,))))
    assert "written 1 row, the last" in words(shown(status(rows_written=1)))
    told = headline(status(sources=(one,), store_trouble="The disk is full.", held=1))
    assert told.endswith("1 row or line is held (room for 200,000); 1 line is LOST.")
    plain = PlainLines()
    plain.of(status(store_trouble="The disk is full."))
    assert plain.of(status(sources=(one,)))[0] == "It is being written again; 1 line was LOST."
    (line,) = plain.of(status(rows_written=1, seconds=3600.0))
    assert " 1 row. Channels: " in line


@pytest.mark.parametrize("width", WIDTHS[1:])
def test_everything_is_there_at_every_width(width):
    found = words(shown(status(sources=(LOST, source("gnss", summary="9 satellites, fix"))), width))
    for text in (
        "9,654 rows",
        "satellite:east 11.2 dB",
        "repeater 0.4 dB (6 min ago)",
        "112 play of 150 expected, 31 refused, 4 not judged",
        "receiving 14 min at least, 20 min at most",
        "NOT HEARD 6 min ago",
        "unplugged; trying again",
        "9 satellites, fix",
        "written: channel 31 refused (r1-77)",
    ):
        assert text in found


@pytest.mark.parametrize("width", WIDTHS)
def test_no_line_is_wider_than_the_terminal(width):
    wide = source("serial:" + "x" * 200, trouble="y" * 300)
    for lines in (shown(status(sources=(wide, LOST)), width, "note " + "z" * 200, 5), shown(FULL, width)):
        assert max(map(len, lines)) <= width


def test_the_line_being_typed_is_seen_on_a_low_screen_beside_a_long_answer():
    many = tuple(source(f"serial:bench-lines/{n}", "lost", trouble="unplugged") for n in range(20))
    lines = shown(status(sources=many, answer="one\n" * 8), 80, "channel 31 re", 13, recent=("said",) * 4)
    assert any("what you see> channel 31 re" in line for line in lines[:22])


def test_the_cursor_and_the_choices_are_shown():
    out = io.StringIO()
    console = Console(file=out, width=80, force_terminal=True, color_system="standard")
    console.print(render(status(), "tune 31", 5, ("refused", "requested"), 80))
    assert "tune \x1b[7m3\x1b[0m1" in out.getvalue()
    assert "refused  requested" in out.getvalue()


def test_without_a_keyboard_there_is_no_prompt():
    assert "what you see>" not in words(shown(status(), typed=None))


def test_what_is_not_known_is_said_so():
    bare = status(
        sources=(source(state="opening", age_s=None, lines=0, rows=0),),
        rows_written=0,
        commit_age_s=None,
        levels=(LevelNow("any", "unreadable", "", None),),
        authorised=0,
        refused=0,
        other=0,
        expected=None,
        exposure_s=None,
        exposure_max_s=None,
        answer="",
    )
    found = words(shown(bare))
    for text in (
        "nothing yet",
        "any unreadable (never)",
        "none checked yet",
        "not looked at yet",
        "being opened never",
    ):
        assert text in found


def test_lost_lines_and_lines_not_understood_are_told():
    found = words(shown(status(sources=(source(not_understood=12, lost_lines=3000),))))
    assert "12 not understood; 3,000 LOST, no room" in found


def test_nothing_depends_on_colour(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    lines = "\n".join(shown(status(sources=(LOST, SILENT)), force_terminal=True, color_system="truecolor"))
    codes = {part.split("m")[0] for part in lines.split("\x1b[")[1:]}
    assert codes <= {"0", "1", "7", "1;7"}  # bold and reverse only (ECMA-48, 8.3.117)
    assert "NOT HEARD" in lines
    assert "SILENT" in lines


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (59.9, "59 s"),
        (60, "1 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (3660, "1 h 1 min"),
        (90000, "25 h"),
    ],
)
def test_durations(seconds, text):
    assert duration(seconds) == text


def test_plain_lines_say_what_changes_and_sum_up_now_and_then():
    plain = PlainLines()
    assert plain.of(status(seconds=1.0)) == []
    assert plain.of(status(seconds=2.0, store_trouble="the disk is full.", held=5))[0].startswith("NOT BEING WRITTEN")
    assert plain.of(status(seconds=3.0, store_trouble="the disk is full.", held=9)) == []
    assert "written again" in plain.of(status(seconds=4.0))[0]
    found = [line for second in range(5, 125) for line in plain.of(status(seconds=float(second)))]
    assert len(found) == 120 // PLAIN_EVERY_S
    assert "9,654 rows. Channels: 112 play" in found[0]
