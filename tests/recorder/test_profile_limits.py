"""Line profiles at the limits of what is taken, and records of raw lines that the recorder cannot have written."""

import json

import pytest

from satdiag.errors import BadInput, SatdiagError
from satdiag.recorder.profile import load_profile, parse_profile
from satdiag.recorder.profile_pattern import compile_pattern
from satdiag.recorder.raw_lines import RawLine, decode_document, encode

SOUND = """\
name = "demo-box"
kind = "bench"

[line]
part = "words"
names = ["path", "level"]

[[reading]]
kind = "signal"
subject = {field = "path"}
value = {field = "level"}
unit = "dB"
"""
NAMES = 'names = ["path", "level"]'
PATTERN = SOUND.replace('part = "words"\n' + NAMES, 'part = "pattern"\npattern = WHAT')
ONE = "'(?P<path>[a-z]+) (?P<level>[0-9.]+)'"


def listed(texts):
    return "[" + ", ".join(f'"{text}"' for text in texts) + "]"


def test_the_most_names_and_patterns_are_taken():
    assert parse_profile(SOUND.replace(NAMES, f"names = {listed(['path', 'level', *map(str, range(254))])}"), "x")
    assert parse_profile(PATTERN.replace("WHAT", f"[{', '.join([ONE] * 20)}]"), "x")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (SOUND.replace(NAMES, f"names = {listed(map(str, range(257)))}"), "has more than 256 names"),
        (PATTERN.replace("WHAT", f"[{', '.join([ONE] * 21)}]"), "does not hold one to twenty patterns"),
        (PATTERN.replace("WHAT", "[]"), "does not hold one to twenty patterns"),
        (".".join(["a"] * 150) + " = 1\n" + SOUND, "a key has a hundred parts or more"),
        (SOUND + f"# {'x' * 1_000_000}\n", "the file is larger than 1 MB"),
        (SOUND.replace('unit = "dB"', f"unit = {'[' * 5000}"), "it is nested too deeply"),
        (SOUND.replace('unit = "dB"', "unit = 1" + "0" * 5000), "a number that is too long"),
        (SOUND.replace('unit = "dB"', "unit = 0x1" + "0" * 5000), "a very long number"),
    ],
    ids=lambda value: value[-40:],
)  # fmt: skip
def test_more_is_refused_with_a_plain_word(text, says):
    with pytest.raises(BadInput) as caught:
        parse_profile(text, "demo-box.toml")
    assert says in str(caught.value)
    assert len(str(caught.value)) < 2000


def test_a_vehicle_is_never_sent_anything_not_by_a_handshake_either():
    vehicle = SOUND.replace('kind = "bench"', 'kind = "vehicle"')
    assert parse_profile(vehicle.replace("[line]", '[port]\nhandshake = "none"\n\n[line]'), "x").kind == "vehicle"
    for handshake in ("rtscts", "xonxoff"):
        with pytest.raises(BadInput, match=r"a profile of kind vehicle has a handshake.*nothing is ever sent"):
            parse_profile(vehicle.replace("[line]", f'[port]\nhandshake = "{handshake}"\n\n[line]'), "x")


def test_a_profile_whose_name_no_file_can_have_is_not_there():
    for name in ("x" * 5000, "a\0b"):
        with pytest.raises(SatdiagError, match="profile"):
            load_profile(name)


@pytest.mark.parametrize(
    ("pattern", "taken", "not_taken"),
    [
        ("(?>ab|a)c{0}d+", "abdd", "acd"),
        ("(?:(?>a)|b)+,", "abba,", "abc,"),
        ("[^,]+x{0}(?:)?,", "a b,", ",,"),
        ("(?:$|a)", "", "b"),
        ("[^,;]*[,;]", "a b;", ";;"),
        (r"(?:\ba )+b", "a a b", "aa b"),
    ],
)
def test_atomic_groups_and_parts_that_stand_never_are_understood(pattern, taken, not_taken):
    """As Python's own `re` has them since 3.11 (https://docs.python.org/3/library/re.html)."""
    found = compile_pattern(pattern)
    assert found.fullmatch(taken)
    assert not found.fullmatch(not_taken)


@pytest.mark.parametrize("pattern", ["(?:^|a)(?:^|a)+b", "(?:(?>a|a?)b?)+c", "(?:x{0}){2}"])
def test_repeats_of_what_may_be_empty_are_refused(pattern):
    with pytest.raises(ValueError, match="may be empty"):
        compile_pattern(pattern)


LINE = RawLine("raw-r1.jsonl", 1, "2031-05-03T14:00:00.000000Z", "0.500000", "serial:x", b"a", ("r1-1",))


@pytest.mark.parametrize(
    "change",
    [
        {"n": True},
        {"n": 1.0},
        {"rows": "r1-1"},
        {"rows": [1]},
        {"time": 5},
        {"of": ["raw-r1.jsonl", "1"]},
        {"why": 1},
    ],
    ids=str,
)
def test_a_raw_line_with_another_type_in_it_was_not_written_by_the_recorder(change):
    good = encode(LINE)
    bad = json.dumps({**json.loads(good), **change}).encode() + b"\n"
    assert next(decode_document("raw-r1.jsonl", good)) == LINE
    with pytest.raises(BadInput, match=r"raw-r1\.jsonl, line 2: .* is not a line that the recorder writes"):
        list(decode_document("raw-r1.jsonl", good + bad))
