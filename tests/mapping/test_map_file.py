"""Maps: what they say, and every way in which they may be wrong."""

from contextlib import suppress
from dataclasses import fields
from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.mapping import parse_map
from satdiag.mapping.keys import KEYS, TABLES, keys_of
from satdiag.mapping.map_file import FileForm, TimeForm

TIME = '[time]\ncolumns = "t"\nformat = "iso"\n'
ROW = '[[row]]\nkind = "supply"\nsubject = "receiver"\nvalue_column = "V"\nunit = "V"\n'

FULL = """
[file]
encoding = "cp1252"
separator = "tab"
decimal = ","
thousands = "."
header_line = 0
columns = [" Day", "Clock", "a", "b", "c", "d"]
skip_lines = 2
remarks_start_with = "#"
trailing_separator = true

[time]
columns = ["Day", "Clock "]
format = "%d.%m.%Y %H:%M"
zone = "America/Chicago"
fold = "first"

[[row]]
kind = "signal"
subject_column = "a"
subject_words = { "E " = "east", "W" = "west" }
subject_prefix = "satellite:"
value_column = "b"
value_words = { "max" = "20" }
value_suffix = "dB"
scale = 0.1
offset = -3
unit_column = "c"
unit_words = { "db" = "dB" }
unreadable = [" -- ", "ERR"]
absent = ["n/a"]
when = { "d" = ["x", "y "], "a" = "E" }
note_column = " d"
source = "serial:old"
span_s = 0.5

[[row]]
kind = "reset"
subject = "receiver"
value = "seen"
when = { "d" = "boot" }
"""


def test_every_key_is_read():
    made = parse_map(FULL, "m.toml")
    assert made.file == FileForm("cp1252", "\t", ",", ".", 0, ("Day", "Clock", "a", "b", "c", "d"), 2, "#", True)
    assert made.time == TimeForm(("Day", "Clock"), "%d.%m.%Y %H:%M", ZoneInfo("America/Chicago"), "first")
    first, second = made.rows
    assert (first.nth, first.kind, first.source, first.span_s) == (1, "signal", "serial:old", "0.5")
    assert (first.subject.column, first.subject.prefix) == ("a", "satellite:")
    assert first.subject.words == {"E": "east", "W": "west"}
    assert (first.value.column, first.value.words, first.suffix) == ("b", {"max": "20"}, "dB")
    assert (first.scale, first.offset) == (Decimal("0.1"), Decimal(-3))
    assert (first.unit.column, first.unit.words) == ("c", {"db": "dB"})
    assert (first.unreadable, first.absent) == ({"--", "ERR"}, {"n/a"})
    assert first.when == (("d", {"x", "y"}), ("a", {"E"}))
    assert first.note_column == "d"
    assert (second.nth, second.subject.text, second.value.text, second.unit.text) == (2, "receiver", "seen", "")
    assert (second.source, second.span_s, second.scale) == ("import", "", 1)


def test_the_full_map_above_holds_every_key_but_those_that_exclude_each_other():
    for key in KEYS:
        assert f"{key.name} = " in FULL or key.name == "unit"
    assert {key.table for key in KEYS} == set(TABLES)
    assert set(keys_of("file")) == {field.name for field in fields(FileForm)}
    assert set(keys_of("time")) == {field.name for field in fields(TimeForm)}


def test_what_is_left_out_is_plain():
    made = parse_map(TIME + ROW)
    assert made.file == FileForm("utf-8", ",", ".", "", 1, (), 0, "", False)
    assert made.time == TimeForm(("t",), "iso", None, "refuse")
    assert parse_map(TIME + 'zone = "-05:00"\n' + ROW).time.zone.utcoffset(None) == timedelta(hours=-5)


def row(text):
    """A map with one [[row]]."""
    return TIME + "[[row]]\n" + text.replace("; ", "\n") + "\n"


LEVEL = 'kind = "signal"; subject = "any"; value_column = "v"'
BAD = {
    "not TOML": ("[time", "not valid TOML"),
    "unknown table": (TIME + ROW + "[rows]\nx = 1\n", "unknown table or key 'rows'"),
    "no row": (TIME, "no [[row]]"),
    "row is no list": (TIME + "[row]\nkind = 1\n", "no [[row]]"),
    "no time": (ROW, "'columns' is missing in [time]"),
    "time is a list": ("[[time]]\n" + ROW, "'time' is not a table"),
    "unknown key": ("[file]\nseperator = ';'\n" + TIME + ROW, "m.toml, line 2, column 'seperator': unknown key"),
    "encoding": ("[file]\nencoding = 'utf-32'\n" + TIME + ROW, "'utf-32' is not one of"),
    "separator": ("[file]\nseparator = ':'\n" + TIME + ROW, "':' is not one of"),
    "decimal": ("[file]\ndecimal = ''\n" + TIME + ROW, "'' is not one of"),
    "header": ("[file]\nheader_line = -1\n" + TIME + ROW, "'-1' is not a whole number"),
    "header is a flag": ("[file]\nheader_line = true\n" + TIME + ROW, "'True' is not a whole number"),
    "flag": ("[file]\ntrailing_separator = 1\n" + TIME + ROW, "is not true or false"),
    "thousands": ("[file]\ndecimal = ','\nthousands = ','\n" + TIME + ROW, "it is the decimal mark too"),
    "columns and header": ("[file]\ncolumns = ['t', 'V']\n" + TIME + ROW, "the file has a header"),
    "no columns": ("[file]\nheader_line = 0\n" + TIME + ROW, "no header and no list of columns"),
    "columns twice": ("[file]\nheader_line = 0\ncolumns = ['t', 't ']\n" + TIME + ROW, "'t' stands twice"),
    "format": (TIME.replace("iso", "%d.%m.%Y") + ROW, "must name the hour once"),
    "no zone": (TIME.replace("iso", "%d.%m.%Y %H:%M") + ROW, "no zone is named"),
    "two zones": (TIME.replace("iso", "unix-s") + 'zone = "Z"\n' + ROW, "says its offset itself"),
    "unknown zone": (TIME + 'zone = "Demo/Nowhere"\n' + ROW, "neither an IANA time zone"),
    "zone is a number": (TIME + "zone = -5\n" + ROW, "neither an IANA time zone"),
    "zone climbs out": (TIME + 'zone = "../../etc"\n' + ROW, "neither an IANA time zone"),
    "fold alone": (TIME + 'fold = "first"\n' + ROW, "no zone whose clocks"),
    "fold": (TIME + 'fold = "guess"\nzone = "Z"\n' + ROW, "'guess' is not one of"),
    "kind": (row('kind = "level"; subject = "any"; value_column = "v"'), "'level' is not one of"),
    "withdraw": (row('kind = "withdraw"; subject = "row"; value_column = "v"'), "'withdraw' is not one of"),
    "subject": (row(LEVEL.replace("any", "roof")), "'roof' is not a subject of 'signal'"),
    "no subject": (row('kind = "signal"; value_column = "v"'), "neither subject nor subject_column"),
    "two subjects": (row(LEVEL + '; unit = "dB"; subject_column = "s"'), "it stands beside subject"),
    "no value": (row('kind = "signal"; subject = "any"'), "neither value nor value_column"),
    "two values": (row(LEVEL + '; value = "3"'), "it stands beside value"),
    "value everywhere": (row('kind = "reset"; subject = "receiver"; value = "seen"'), "written for every line"),
    "state": (row('kind = "reset"; subject = "receiver"; value = "yes"; when = { a = "b" }'), "'yes' is not a state"),
    "words": (
        row('kind = "lock"; subject = "any"; value_column = "v"; value_words = { a = "on" }'),
        "'on' is not a st",
    ),
    "no words": (row('kind = "lock"; subject = "any"; value_column = "v"; value_words = {}'), "not a table of words"),
    "no unit": (row(LEVEL), "signal any needs a unit, and none is given"),
    "unit": (row(LEVEL + '; unit = "dBm"'), "'dBm' is not a unit of signal any"),
    "unit words": (row(LEVEL + '; unit_column = "u"; unit_words = { a = "dBm" }'), "column 'unit_words': 'dBm'"),
    "words alone": (row(LEVEL + '; unit = "dB"; unit_words = { a = "dB" }'), "there is no unit_column"),
    "prefix alone": (row(LEVEL + '; unit = "dB"; subject_prefix = "satellite:"'), "there is no subject_column"),
    "scale of states": (
        row('kind = "lock"; subject = "any"; value_column = "v"; scale = 2'),
        "lock takes no numbers",
    ),
    "scale 0": (row(LEVEL + '; unit = "dB"; scale = 0'), "every reading 0"),
    "scale nan": (row(LEVEL + '; unit = "dB"; scale = nan'), "'nan' is not a number"),
    "scale inf": (row(LEVEL + '; unit = "dB"; scale = inf'), "outside"),
    "scale alone": (
        row('kind = "supply"; subject = "receiver"; unit = "V"; value = "12"; scale = 2; when = { a = "b" }'),
        "there is no value_column",
    ),
    "two meanings": (row(LEVEL + '; unit = "dB"; absent = ["-"]; unreadable = ["- "]'), "given two meanings"),
    "note": (row('kind = "note"; subject = "x"; value_column = "v"; unreadable = ["-"]'), "note knows no unreadable"),
    "source": (row(LEVEL + '; unit = "dB"; source = "an old logger"'), "'an old logger' is not a source name"),
    "span": (row(LEVEL + '; unit = "dB"; span_s = -1'), "outside 0 .."),
    "when": (row(LEVEL + '; unit = "dB"; when = { a = 1 }'), "not a table of columns and texts"),
    "texts": (row(LEVEL + '; unit = "dB"; absent = "-"'), "not a list of texts"),
    "huge number": ("[file]\nskip_lines = 0x" + "f" * 5000 + "\n" + TIME + ROW, "a very long number is not a whole"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_wrong_is_named(name):
    text, found = BAD[name]
    with pytest.raises(BadInput) as caught:
        parse_map(text, "m.toml")
    assert found in str(caught.value)
    assert str(caught.value).startswith("m.toml")


def test_all_problems_are_told_at_once_with_their_lines():
    text = '[file]\nencoding = "x"\n[time]\ncolumns = "t"\nformat = "%H"\n' + ROW + ROW.replace("supply", "power")
    with pytest.raises(BadInput) as caught:
        parse_map(text)
    assert [(each.line, each.column) for each in caught.value.problems] == [
        (2, "encoding"),
        (5, "format"),
        (15, "unit"),
    ]


@given(st.text(max_size=200))
def test_any_text_is_a_map_or_bad_input(text):
    for tried in (text, TIME + ROW + text, FULL.replace('"b"', text)):
        with suppress(BadInput):
            parse_map(tried)
