"""What profiles make of lines: partings, absent, unreadable and zero, numbers, words, JSON; each packaged profile."""

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.recorder.heard import Reading
from satdiag.recorder.profile import load_profile, parse_profile
from satdiag.rows import parse_number
from tests.steps import steps

BARE = 'name = "demo-box"\nkind = "bench"\n'


def profile_of(line, *readings, port=""):
    """A profile with this [line] table and these [[reading]] tables."""
    return parse_profile("\n".join([BARE, port, "[line]", line, *(f"[[reading]]\n{each}" for each in readings)]), "x")


def level_of(keys, line='part = "words"\nnames = ["v"]'):
    """A profile of one level in the field v."""
    return profile_of(line, f'kind = "signal"\nsubject = "any"\nvalue = {{field = "v"}}\nunit = "dB"\n{keys}')


def said(profile, data):
    """What a line says, as (the readings' texts, why)."""
    understood = profile.read_line(data)
    return [tuple(text for text in reading if text) for reading in understood.readings], understood.why


# --- absent, unreadable, zero -----------------------------------------------------------------------------------


def test_absent_unreadable_and_zero_are_three_different_things():
    profile = level_of('absent = ["n/a"]\nunreadable = ["--", "ERR"]')
    assert said(profile, b"n/a") == ([], "")
    assert said(profile, b"--") == ([("signal", "any", "unreadable")], "")
    assert said(profile, b"ERR") == ([("signal", "any", "unreadable")], "")
    assert said(profile, b"0") == ([("signal", "any", "0", "dB")], "")
    assert said(profile, b"err") == ([("signal", "any", "err", "dB")], "")


def test_they_stay_apart_where_numbers_are_reckoned_with():
    profile = level_of('absent = ["n/a"]\nunreadable = ["--"]\nscale = 2\noffset = 1')
    assert said(profile, b"n/a") == ([], "")
    assert said(profile, b"--") == ([("signal", "any", "unreadable")], "")
    assert said(profile, b"0") == ([("signal", "any", "1", "dB")], "")
    assert said(profile, b"n.a.") == ([], "'n.a.' is not a number")


def test_an_empty_field_is_not_understood_unless_the_profile_says_what_it_means():
    line = 'part = "delimited"\nnames = ["t", "v"]'
    assert said(level_of("", line), b"x,") == ([], "the field 'v' is empty")
    assert said(level_of('absent = [""]', line), b"x,") == ([], "")
    assert said(level_of('unreadable = [""]', line), b"x,") == ([("signal", "any", "unreadable")], "")


def test_one_absent_reading_does_not_hide_the_others():
    profile = profile_of(
        'part = "words"\nnames = ["u", "i"]',
        'kind = "supply"\nsubject = "receiver"\nvalue = {field = "u"}\nunit = "V"\nabsent = ["-"]',
        'kind = "bias"\nsubject = "current"\nvalue = {field = "i"}\nunit = "mA"\nscale = 1',
    )
    assert said(profile, b"- 5") == ([("bias", "current", "5", "mA")], "")
    assert said(profile, b"12 x") == ([("supply", "receiver", "12", "V")], "'x' is not a number")


# --- numbers ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["11.2", "+1.28100E+01", "-0", "007", ".5", "7.", "1e2"])
def test_without_arithmetic_a_number_stays_as_it_came(text):
    assert said(level_of(""), text.encode()) == ([("signal", "any", text, "dB")], "")


@pytest.mark.parametrize(
    ("keys", "text", "value"),
    [
        ("scale = 1000", "0.412", "412"),
        ("scale = 0.001", "412", "0.412"),
        ("scale = 0.1", "0.3", "0.03"),  # 0.3 * 0.1 in binary is 0.03 with an odd tail
        ("scale = -1", "0", "0"),
        ("offset = -273.15", "300.15", "27"),
        ("scale = 1.8\noffset = 32", "-40", "-40"),
        ("decimals = 1", "2.25", "2.2"),  # a half goes to the even digit
        ("decimals = 1", "2.35", "2.4"),
        ("decimals = 0", "11", "11"),
        ("decimals = 1", "-0.04", "0.0"),
        ("decimals = 3", "1e-9", "0.000"),
        ("decimals = 2", "7", "7.00"),
        ("scale = 1e12", "1e12", "1E+24"),
        ("scale = 1", "0.00", "0"),
        ("decimal_comma = true", "12,81", "12.81"),
        ("decimal_comma = true", "-1,5E+1", "-1.5E+1"),
        ("decimal_comma = true", "12", "12"),
        ("decimal_comma = true\nscale = 10", "1,25", "12.5"),
        ("unreadable_beyond = 9.9e37", "9.8E37", "9.8E37"),
    ],
)
def test_numbers_are_reckoned_with_in_decimal(keys, text, value):
    (texts,), why = said(level_of(keys), text.encode())
    assert (texts[2], why) == (value, "")


@pytest.mark.parametrize("text", ["9.9E37", "+9.90000000E+37", "9.91E37", "-9.9E37", "1e300"])
def test_numbers_beyond_a_bound_are_unreadable(text):
    assert said(level_of("unreadable_beyond = 9.9e37"), text.encode()) == ([("signal", "any", "unreadable")], "")


# Texts that float() or int() take and that are no numbers here, and some that neither takes.
NO_NUMBERS = [
    "1_000",
    "nan",
    "inf",
    "-Infinity",
    "1e400",
    "0x10",
    "1,5",
    "--1",
    "1e",
    "12V",
    "\u0661\u0662",
    "½",
    "−1",
]


@pytest.mark.parametrize("text", NO_NUMBERS)
def test_what_is_no_plain_number_is_never_reckoned_with(text):
    profile = profile_of(
        'part = "words"\nnames = ["v"]',
        'kind = "signal"\nsubject = "any"\nvalue = {field = "v"}\nunit = "dB"\nscale = 2',
        port='[port]\nencoding = "utf-8"',
    )
    assert said(profile, text.encode()) == ([], f"'{text}' is not a number")


@pytest.mark.parametrize(
    ("text", "why"), [("1.5", "holds a point"), ("1.234,5", "holds a point"), ("1,2,3", "number")]
)
def test_a_decimal_comma_leaves_no_doubt(text, why):
    readings, found = said(level_of("decimal_comma = true"), text.encode())
    assert readings == []
    assert why in found


@given(st.decimals(-(10**9), 10**9, places=6), st.decimals(-1000, 1000, places=3).filter(bool))
@settings(max_examples=100, deadline=None)
def test_arithmetic_gives_a_number_of_the_log_and_the_right_one(number, scale):
    (texts,), why = said(level_of(f"scale = {scale:f}"), f"{number:f}".encode())
    assert why == ""
    assert parse_number(texts[2]) == pytest.approx(float(number) * float(scale), rel=1e-12, abs=1e-12)


# --- partings ---------------------------------------------------------------------------------------------------


def test_words_are_parted_at_blanks_and_tabs_alone():
    profile = profile_of(
        'part = "words"\nnames = ["a", "b"]',
        'kind = "note"\nsubject = {field = "a"}\nvalue = {field = "b"}',
        port='[port]\nencoding = "latin-1"',
    )
    assert said(profile, b"  one \t two ") == ([("note", "one", "two")], "")
    assert said(profile, b"one\xa0x two") == ([("note", "one\xa0x", "two")], "")
    assert said(profile, b"one") == ([], "it has no field 'b'")
    assert said(profile, b"one two three") == ([], "it has 3 fields, more than 2")


def test_fields_without_names_are_numbered_and_further_ones_do_not_matter():
    profile = profile_of('part = "words"', 'kind = "note"\nsubject = {field = 1}\nvalue = {field = "3"}')
    assert said(profile, b"one two three four") == ([("note", "one", "three")], "")
    assert said(profile, b"one two") == ([], "it has no field '3'")
    assert said(profile, b"x " * 257) == ([], "it has 257 fields, more than 256")


def test_delimited_fields():
    reading = 'kind = "note"\nsubject = {field = "a"}\nvalue = {field = "b"}\nabsent = [""]'
    profile = profile_of('part = "delimited"\nnames = ["a", "b"]\nseparator = ";"', reading)
    assert said(profile, b" one ; two ") == ([("note", "one", "two")], "")
    assert said(profile, b'"a;b') == ([("note", '"a', "b")], "")
    tabs = profile_of('part = "delimited"\nnames = ["a", "b"]\nseparator = "\\t"', reading)
    assert said(tabs, b"one\t") == ([], "")
    assert said(tabs, b"one") == ([], "it has no field 'b'")


def test_quoted_fields_hold_the_separator():
    reading = 'kind = "note"\nsubject = {field = "a"}\nvalue = {field = "b"}'
    profile = profile_of('part = "delimited"\nnames = ["a", "b"]\nquote = \'"\'', reading)
    assert said(profile, b'one, "two, ""three"""') == ([("note", "one", 'two, "three"')], "")
    for broken in (b'one,"two', b'one,"two"x'):
        assert said(profile, broken) == ([], 'a " is opened and not closed properly')


def test_a_pattern_matches_the_whole_line_and_the_first_of_several_counts():
    profile = profile_of(
        "part = \"pattern\"\npattern = ['L(?P<v>[0-9]+)( at (?P<t>[0-9TZ:-]+))?', 'M(?P<m>[0-9]+)']",
        'kind = "signal"\nsubject = "any"\nvalue = {field = "v"}\nunit = "percent"\ntime = {field = "t"}',
        'kind = "signal"\nsubject = "repeater"\nvalue = {field = "m"}\nunit = "percent"',
    )
    assert said(profile, b"L12") == ([("signal", "any", "12", "percent")], "")
    assert profile.read_line(b"L12 at 2031-05-03T14:00:00Z").readings[0].time == "2031-05-03T14:00:00Z"
    assert said(profile, b"M7") == ([("signal", "repeater", "7", "percent")], "")
    for odd in (b"L12x", b"xL12", b"l12", b"L12 at "):
        assert said(profile, odd) == ([], "it does not match the pattern")
    assert said(profile, b"L" + b"1" * 1000) == ([], "it is longer than 1000 characters")


def test_remarks_and_blank_lines_mean_nothing():
    profile = level_of("", 'part = "words"\nnames = ["v"]\nignore = ["#", "//"]\nignore_pattern = "OK|[-=]+"')
    for line in (b"", b" \t ", b"\r", b"# hello", b"  // x y z", b"OK", b"====--"):
        assert said(profile, line) == ([], "")
    assert said(profile, b"OK then")[1]


def test_a_reading_is_made_of_lines_of_its_kind_alone():
    profile = profile_of(
        'part = "words"\nnames = ["type", "v"]',
        'kind = "signal"\nsubject = "any"\nvalue = {field = "v"}\nunit = "dB"\nwhen = {field = "type", is = "SIG"}',
        'kind = "lock"\nsubject = "any"\nvalue = {field = "v", words = {"1" = "yes", "0" = "no"}}\n'
        'when = {field = "type", is = ["LCK", "LOCK"]}',
    )
    assert said(profile, b"SIG 11") == ([("signal", "any", "11", "dB")], "")
    assert said(profile, b"LOCK 1") == ([("lock", "any", "yes")], "")
    assert said(profile, b"LCK 0") == ([("lock", "any", "no")], "")
    assert said(profile, b"LCK 2") == ([], "'2' in the field 'v' is none of its words")
    assert said(profile, b"XYZ 2") == ([], "no [[reading]] of the profile is made of such a line")


def test_words_may_stand_for_kinds_and_subjects_and_for_unreadable():
    profile = profile_of(
        'part = "words"\nnames = ["k", "s", "v"]',
        'kind = {field = "k", words = {"L" = "lock"}}\nsubject = {field = "s", words = {"E" = "satellite:east"}}\n'
        'value = {field = "v", words = {"+" = "yes", "?" = "unreadable"}}',
    )
    assert said(profile, b"L E +") == ([("lock", "satellite:east", "yes")], "")
    assert said(profile, b"L E ?") == ([("lock", "satellite:east", "unreadable")], "")
    assert said(profile, b"L W +") == ([], "'W' in the field 's' is none of its words")


def test_a_fixed_value_needs_no_field():
    profile = profile_of(
        "part = \"pattern\"\npattern = '(?P<what>BOOT) .*'", 'kind = "reset"\nsubject = "receiver"\nvalue = "seen"'
    )
    assert said(profile, b"BOOT 1.2") == ([("reset", "receiver", "seen")], "")


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"a\x00b", "the character 0x00 stands in it, which is no text"),
        (b"a\x1cb", "the character 0x1c stands in it, which is no text"),
        (b"caf\xe9", "the byte 0xe9 in it is not ascii"),
        (b"1" * 4097, "it is longer than 4096 characters"),
    ],
)
def test_bytes_that_are_no_text_are_named(data, why):
    assert said(level_of(""), data) == ([], why)


def test_an_encoding_is_used():
    for encoding in ("utf-8", "latin-1", "cp1252", "cp437"):
        profile = profile_of(
            'part = "words"\nnames = ["v"]',
            'kind = "note"\nsubject = "x"\nvalue = {field = "v"}',
            port=f'[port]\nencoding = "{encoding}"',
        )
        assert said(profile, "café".encode(encoding)) == ([("note", "x", "café")], "")
    assert said(profile, b"\xef\xbb\xbfabc") == ([("note", "x", "abc")], "")


# --- JSON -------------------------------------------------------------------------------------------------------

JSON_LEVEL = 'kind = "signal"\nsubject = "any"\nvalue = {field = "v"}\nunit = {field = "u"}\nnote = {field = "n"}'


def test_json_numbers_keep_their_text_and_true_is_none():
    profile = profile_of('part = "json"', JSON_LEVEL)
    assert said(profile, b'{"v": 11.20, "u": "dB"}') == ([("signal", "any", "11.20", "dB")], "")
    assert said(profile, b'{"v": -1.50E+1, "u": "dB", "more": [1, {}]}') == (
        [("signal", "any", "-1.50E+1", "dB")],
        "",
    )
    assert said(profile, b'{"v": true}') == ([("signal", "any", "true")], "")
    assert said(profile, b'{"v": "true"}') == ([("signal", "any", "true")], "")


def test_json_null_is_unreadable_as_a_value_and_left_out_elsewhere():
    profile = profile_of('part = "json"', JSON_LEVEL)
    assert said(profile, b'{"v": null, "u": "dB"}') == ([("signal", "any", "unreadable")], "")
    assert said(profile, b'{"v": 1, "u": null, "n": null}') == ([("signal", "any", "1")], "")
    assert said(profile, b'{"u": "dB"}') == ([], "it has no field that holds a value")
    absent = profile_of('part = "json"', JSON_LEVEL + '\nabsent = ["null"]')
    assert said(absent, b'{"v": null}') == ([], "")


def test_json_fields_may_lie_deeper():
    profile = profile_of('part = "json"', JSON_LEVEL.replace('"v"', '"sat.levels.2"').replace('"u"', '"a.b"'))
    assert said(profile, b'{"sat": {"levels": [1, 22]}, "a.b": "dB"}') == ([("signal", "any", "22", "dB")], "")
    assert said(profile, b'{"sat": {"levels": [1]}}')[1] == "it has no field that holds a value"
    assert said(profile, b'{"sat": {"levels": [1, [2]]}}')[1] == "'sat.levels.2' is a list, not a value"
    assert said(profile, b'{"sat": {"levels": [1, {}]}}')[1] == "'sat.levels.2' is a JSON object, not a value"


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b'{"v": NaN}', "NaN is no number in JSON"),
        (b'{"v": -Infinity}', "-Infinity is no number in JSON"),
        (b'{"v": 1e999}', "'1e999' is no number that can be held"),
        (b'{"v": 1' + b"0" * 3000 + b"}", "is no number that can be held"),
        (b'{"v": 1, "v": 2}', "'v' stands in it twice"),
        (b'{"x": {"y": 1, "y": 1}}', "'y' stands in it twice"),
        (b"[" * 4000, "nested too deeply"),
        (b'{"v":' * 800, "is no JSON"),
        (b"11.2", "it is no JSON object {...}"),
        (b'[{"v": 1}]', "it is no JSON object {...}"),
        (b'{"v": 1', "it is no JSON: expecting ',' delimiter at character 8"),
        (b'{"v": 1} {"v": 2}', "it is no JSON: extra data at character 10"),
        (b'{"v": 01}', "it is no JSON"),
        (b"{'v': 1}", "it is no JSON"),
    ],
)
def test_json_that_is_none_is_named(data, why):
    readings, found = said(profile_of('part = "json"', JSON_LEVEL), data)
    assert readings == []
    assert why in found


# --- the packaged profiles --------------------------------------------------------------------------------------


def test_bench_lines():
    profile = load_profile("bench-lines")
    assert (profile.kind, profile.port.baud, profile.port.line_end, profile.port.encoding) == (
        "bench",
        115200,
        None,
        "ascii",
    )
    for line, reading in {
        b"signal satellite:east 11.2 dB": Reading("signal", "satellite:east", "11.2", "dB"),
        b"lock any yes": Reading("lock", "any", "yes"),
        b"channel 31 refused": Reading("channel", "31", "refused"),
        b"bias current 34.5 mA": Reading("bias", "current", "34.5", "mA"),
        b"bias current --": Reading("bias", "current", "unreadable"),
        b"bias current -- mA": Reading("bias", "current", "unreadable"),
        b"supply receiver 12.8 V": Reading("supply", "receiver", "12.8", "V"),
        b"power receiver awake": Reading("power", "receiver", "awake"),
        b"reset receiver seen": Reading("reset", "receiver", "seen"),
        b"signal any 0 percent": Reading("signal", "any", "0", "percent"),
    }.items():
        assert profile.read_line(line) == ((reading,), "")
    for nothing in (b"", b"; a remark", b";"):
        assert profile.read_line(nothing) == ((), "")
    for odd in (b"signal", b"lock any", b"signal any 1 dB extra", b"lock any y\xe9s"):
        assert said(profile, odd)[0] == []
        assert said(profile, odd)[1]


def test_json_lines():
    profile = load_profile("json-lines")
    line = {"kind": "lock", "subject": "any", "value": "yes", "time": "2031-05-03T14:00:00Z", "note": "by eye"}
    assert profile.read_line(json.dumps(line).encode()).readings == (
        Reading("lock", "any", "yes", note="by eye", time="2031-05-03T14:00:00Z"),
    )
    assert said(
        profile, b'{"kind": "supply", "subject": "receiver-minimum", "value": 9.80, "unit": "V", "span_s": 60}'
    ) == (
        [("supply", "receiver-minimum", "9.80", "V", "60")],
        "",
    )
    assert said(profile, b'{"kind": "bias", "subject": "current", "value": null, "unit": "mA"}') == (
        [("bias", "current", "unreadable")],
        "",
    )
    for name in ("kind", "subject", "value"):
        less = {key: value for key, value in line.items() if key != name}
        assert said(profile, json.dumps(less).encode()) == ([], f"it has no field '{name}'")


def test_volt_amp_meter():
    profile = load_profile("volt-amp-meter")
    supply = ("supply", "receiver", "12.81", "V")
    assert said(profile, b"U=12.81V I=0.412A\r") == ([supply, ("bias", "current", "412", "mA")], "")
    assert said(profile, b"U=12.81V I=0.0415A") == ([supply, ("bias", "current", "41.5", "mA")], "")
    assert said(profile, b"U=12.81V I=0.000A") == ([supply, ("bias", "current", "0", "mA")], "")
    assert said(profile, b"U=12.81V I=--A") == ([supply, ("bias", "current", "unreadable")], "")
    for odd in (b"U=12.81V", b"U=12.81V I=0.4", b"U=1.2.3V I=0.4A", b"U=12,81V I=0,4A", b"12.81 0.412"):
        assert said(profile, odd) == ([], "it does not match the pattern")


def test_polled_meter():
    profile = load_profile("polled-meter")
    assert profile.poll == ("MEAS:VOLT:DC?\n", 1.0)
    # IEEE 488.2 numbers NR1, NR2, NR3; SCPI-1999: 9.9E37 is infinity, 9.91E37 is not a number (from memory).
    for text in ("+1.28100E+01", "12.81", "-0", "5"):
        assert said(profile, text.encode()) == ([("bias", "voltage", text, "V")], "")
    for text in ("9.9E37", "+9.90000000E+37", "-9.9E+37", "9.91E37"):
        assert said(profile, text.encode()) == ([("bias", "voltage", "unreadable")], "")
    assert said(profile, b"OVLD") == ([], "'OVLD' is not a number")
    assert said(profile, b"") == ([], "")


def test_each_line_is_as_little_work_as_the_first():
    """`scripts/benchmark.py record` measures how quick it is."""
    rng = random.Random(3)
    profile = load_profile("bench-lines")
    lines = [f"signal satellite:east {rng.uniform(0, 15):.1f} dB".encode() for _ in range(1000)]
    found = []
    few = steps(lambda: found.extend(profile.read_line(line) for line in lines[:100]))
    all_of_them = steps(lambda: found.extend(profile.read_line(line) for line in lines))
    assert all(len(each.readings) == 1 for each in found)
    assert few < 100 * 150  # measured: 66 lines of Python a line of the port
    assert all_of_them < 10.5 * few
