"""Line profiles as files: every key is checked, every trouble named with its line and how to mend it."""

import re
import tomllib

import pytest

from satdiag.errors import BadInput, SatdiagError
from satdiag.recorder.profile import load_profile, packaged_profiles, parse_profile
from satdiag.recorder.profile_keys import ENCODINGS, TABLES, profile_keys_markdown

SOUND = """\
name = "demo-box"
kind = "bench"

[port]
baud = 9600

[line]
part = "words"
names = ["type", "path", "level"]

[[reading]]
kind = "signal"
subject = {field = "path", words = {"E" = "satellite:east", "R" = "repeater"}}
value = {field = "level"}
unit = "dB"
when = {field = "type", is = "SIG"}

[[reading]]
kind = "lock"
subject = "any"
value = {field = "level", words = {"1" = "yes", "0" = "no"}}
when = {field = "type", is = ["LCK", "LOCK"]}
"""


def problems(text, file="demo-box.toml"):
    """What is wrong with a profile."""
    with pytest.raises(BadInput) as caught:
        parse_profile(text, file)
    return caught.value.problems


def changed(old, new, text=SOUND):
    assert old in text
    return text.replace(old, new, 1)


def test_a_sound_profile_says_how_to_listen():
    profile = parse_profile(SOUND, "demo-box.toml")
    assert (profile.name, profile.kind, profile.about, profile.poll) == ("demo-box", "bench", "", None)
    port = profile.port
    assert (port.baud, port.data_bits, port.parity, port.stop_bits) == (9600, 8, "none", 1)
    assert (port.handshake, port.line_end, port.encoding, port.silent_after_s) == ("none", None, "ascii", None)
    assert profile.silent_after_s is None


def test_every_key_of_the_port_and_of_polling_arrives():
    text = changed(
        "baud = 9600",
        'baud = 300\ndata_bits = 7\nparity = "even"\nstop_bits = 1.5\nhandshake = "rtscts"\nline_end = "cr"\n'
        'encoding = "latin-1"\nsilent_after_s = 2.5\n[poll]\ntext = "READ?\\r\\n"\nperiod_s = 0.25',
    )
    profile = parse_profile(text, "x")
    port = profile.port
    assert (port.baud, port.data_bits, port.parity, port.stop_bits) == (300, 7, "even", 1.5)
    assert (port.handshake, port.line_end, port.encoding) == ("rtscts", b"\r", "latin-1")
    assert profile.silent_after_s == 2.5
    assert profile.poll == ("READ?\r\n", 0.25)
    assert [type(number) for number in (port.stop_bits, profile.silent_after_s, profile.poll.period_s)] == [float] * 3
    assert profile.framer().feed(b"a\rb\n") == [(b"a", "")]


def test_encodings_are_those_of_the_standard_library():
    for encoding in ENCODINGS:
        assert parse_profile(changed("baud = 9600", f'encoding = "{encoding}"'), "x").port.encoding == encoding
        assert "a\n".encode(encoding) == b"a\n"


# old text, new text, line of the problem, what it says
WRONG = [
    ('name = "demo-box"\n', "", None, "'name' is missing"),
    ('"demo-box"', '"demo box"', 1, "'demo box' is not a plain name"),
    ('"demo-box"', '"../box"', 1, "is not a plain name"),
    ('"demo-box"', "7", 1, "name: 7 is not a plain name"),
    ('kind = "bench"', 'kind = "car"', 2, "'car' is not one of bench, vehicle"),
    ('kind = "bench"', 'kind = "bench"\nspeed = 3', 3, "unknown key 'speed' in the profile"),
    ("baud = 9600", "baud = true", 5, "is not a whole number"),
    ("baud = 9600", "baud = 9600.0", 5, "is not a whole number"),
    ("baud = 9600", "baud = 1", 5, "is outside 50"),
    ("baud = 9600", "stop_bits = true", 5, "is not one of"),
    ("baud = 9600", "silent_after_s = nan", 5, "is not a number"),
    ("baud = 9600", "silent_after_s = inf", 5, "is not a number"),
    ("baud = 9600", "silent_after_s = 0", 5, "is outside"),
    ("baud = 9600", 'encoding = "utf-16"', 5, "is not one of ascii"),
    ("baud = 9600", 'parity = "maybe"', 5, "is not one of none"),
    ("baud = 9600", 'baud = 9600\n[poll]\ntext = ""\nperiod_s = 1', 7, "text: '' is empty"),
    ("baud = 9600", 'baud = 9600\n[poll]\ntext = "?"', 6, "'period_s' is missing"),
    ("baud = 9600", 'baud = 9600\n[poll]\ntext = "é?"\nperiod_s = 1', 7, "cannot be written in ascii"),
    ("[port]", "[[port]]", None, "'port' is not a table"),
    ('[line]\npart = "words"\nnames = ["type", "path", "level"]\n', "", None, "the table [line] is missing"),
    ('part = "words"', 'part = "magic"', 8, "is not one of words, delimited, pattern, json"),
    ('part = "words"', 'part = "json"', 9, "'names' means nothing where lines are parted by 'json'"),
    ('part = "words"', 'part = "words"\nseparator = ";"', 9, "'separator' means nothing"),
    ('part = "words"', 'part = "delimited"\nseparator = "\\u001f"', 9, "no line can hold"),
    ('part = "words"', 'part = "delimited"\nseparator = "ab"\nquote = "|"', 9, "the separator must be one character"),
    ('part = "words"', 'part = "delimited"\nquote = ","', 9, "is the separator as well"),
    ('part = "words"', 'part = "delimited"\nquote = "ab"', 9, "is not a single character"),
    ('["type", "path", "level"]', '["type", "type"]', 9, "names a field twice"),
    ('["type", "path", "level"]', "[]", 9, "is empty"),
    ('["type", "path", "level"]', '"type"', 9, "is not a list of texts"),
    ('["type", "path", "level"]', '["type", "path"]', 14, "there is no field 'level'"),
    ('names = ["type", "path", "level"]', "", 13, "without 'names' fields are numbered"),
    ('part = "words"', 'part = "words"\nrequired = ["odd"]', 9, "there is no field 'odd'"),
    ('part = "words"', 'part = "words"\nignore = [""]', 9, "every line begins with that"),
    ('part = "words"', "part = \"words\"\nignore_pattern = '(a+)+'", 9, "may try too many ways"),
    ('kind = "signal"\n', "", 11, "'kind' is missing"),
    ('kind = "signal"', 'kind = "sginal"', 12, "'sginal' is not a kind of observation"),
    ('kind = "signal"', 'kind = "clock"', 12, "'clock' is written by the recorder alone"),
    ('kind = "signal"', 'kind = "gap"', 12, "'gap' is written by the recorder alone"),
    ('kind = "signal"', 'kind = ""', 12, "is neither text nor a field"),
    ('"satellite:east"', '"east"', 13, "'east' is not a subject of 'signal'"),
    ('subject = "any"', 'subject = "nowhere"', 20, "'nowhere' is not a subject of 'lock'"),
    ('"0" = "no"', '"0" = "maybe"', 21, "'maybe' is not a state of lock any"),
    (
        'subject = {field = "path", words = {"E"',
        'subject = {words = {"E"',
        13,
        "'field' is missing in subject = {...}",
    ),
    ('{field = "path", words', '{field = "path", odd = 1, words', 13, "unknown key 'odd' in subject = {...}"),
    ('words = {"1" = "yes", "0" = "no"}', 'words = {"1" = 1}', 21, "is not a table of words"),
    ('value = {field = "level"}', "value = 11", 14, "is neither text nor a field"),
    ('is = "SIG"', "is = 3", 16, "is neither text nor a list of texts"),
    ('when = {field = "type", is = "SIG"}', 'when = "SIG"', 16, "is not a condition"),
    ('when = {field = "type", is = "SIG"}', 'when = {field = "kind", is = "SIG"}', 16, "there is no field 'kind'"),
    ('unit = "dB"', 'unit = "dB"\ntime = "2031-05-03T14:00:00Z"', 16, "a fixed time"),
    ('unit = "dB"', 'unit = "dB"\nscale = 0', 16, "is zero"),
    ('unit = "dB"', 'unit = "dB"\ndecimals = 1.5', 16, "is not a whole number"),
    ('unit = "dB"', 'unit = "dB"\nabsent = ["-"]\nunreadable = ["-"]', 16, "cannot both be absent and unreadable"),
    ('"no"}}', '"no"}}\nscale = 2', 22, "'scale' and 'words' both say what the value becomes"),
    (
        'value = {field = "level", words = {"1" = "yes", "0" = "no"}}',
        'value = "yes"\nabsent = ["x"]',
        22,
        "fixed value",
    ),
]


@pytest.mark.parametrize(("old", "new", "line", "what"), WRONG)
def test_a_wrong_key_is_named_with_its_line(old, new, line, what):
    found = problems(changed(old, new))
    assert any(what in str(problem) and problem.line == line for problem in found), [str(each) for each in found]
    assert all(problem.file == "demo-box.toml" and problem.mend for problem in found)


def test_a_fixed_unit_must_be_one_that_the_subject_takes():
    fixed = changed('{field = "path", words = {"E" = "satellite:east", "R" = "repeater"}}', '"any"')
    found = problems(changed('unit = "dB"', 'unit = "furlong"', fixed))
    assert [(problem.line, problem.what) for problem in found] == [(15, "'furlong' is not a unit of signal any")]
    found = problems(changed('unit = "dB"\n', "", fixed))
    assert [problem.what for problem in found] == ["'' is not a unit of signal any"]


def test_a_vehicle_is_never_asked():
    text = changed('kind = "bench"', 'kind = "vehicle"')
    assert parse_profile(text, "x").kind == "vehicle"
    (found,) = problems(changed("[line]", '[poll]\ntext = "?"\nperiod_s = 1\n\n[line]', text))
    assert found.line == 7
    assert "[poll]" in found.what
    assert "nothing is ever sent to a vehicle" in found.mend


def test_every_problem_is_named_at_once_in_the_order_of_the_file():
    found = problems(changed("9600", "1", changed('kind = "bench"', 'kind = "x"', changed('"SIG"', "1"))))
    assert [problem.line for problem in found] == [2, 5, 16]


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ('name = "x"\nkind = bench\n', 2, "not valid TOML"),
        ('name = "x"\nname = "y"\n', 2, "not valid TOML"),
        ("a = " + "9" * 5000, None, "number that is too long"),
        ("a = 1e" + "9" * 30, None, "number that is too long"),
        ("# " + "x" * 1_000_001, None, "larger than 1 MB"),
        ("", None, "'name' is missing"),
        ("line = 3\n", 1, "'line' is not a table"),
        ("reading = 3\n", 1, "there is no [[reading]]"),
        ("name = 1979-05-27\n", 1, "is not a plain name"),
        ('name = "x"\nbaud.x = 1\n', 2, "unknown key 'baud'"),
    ],
)
def test_what_is_no_profile_is_bad_input(text, line, what):
    found = problems(text)
    assert any(what in problem.what and problem.line == line for problem in found), [str(each) for each in found]


def test_a_text_nested_too_deeply_is_bad_input():
    (found,) = problems("a = " + "[" * 50_000)
    assert "nested" in found.what


# --- where profiles are -----------------------------------------------------------------------------------------


def test_profiles_are_found_by_name_in_folders_and_by_path(tmp_path):
    (tmp_path / "demo-box.toml").write_text(SOUND, encoding="utf-8")
    (tmp_path / "with-bom.toml").write_bytes(b"\xef\xbb\xbf" + SOUND.replace("\n", "\r\n").encode())
    assert load_profile("demo-box", [tmp_path / "none", tmp_path]).name == "demo-box"
    assert load_profile(str(tmp_path / "demo-box.toml")).name == "demo-box"
    assert load_profile("with-bom", [tmp_path]).name == "demo-box"
    assert load_profile("bench-lines", [tmp_path]).name == "bench-lines"


@pytest.mark.parametrize("name", ["demo-bax", "", "../demo-box", "a\x00b", "x" * 5000, "\ud800", "."])
def test_an_unknown_profile_lists_the_known_ones_and_how_to_write_one(name, tmp_path):
    (tmp_path / "demo-box.toml").write_text(SOUND, encoding="utf-8")
    with pytest.raises(SatdiagError) as caught:
        load_profile(name, [tmp_path])
    text = str(caught.value)
    assert "Known: bench-lines, demo-box, json-lines, polled-meter, volt-amp-meter." in text
    assert "satdiag profile show bench-lines" in text
    assert f"NAME.toml into {tmp_path}" in text
    text.encode()


@pytest.mark.parametrize(
    ("data", "what"),
    [(b"name = '\xff'\n", "not UTF-8"), (b"#" * 1_000_001, "larger than 1 MB"), (b"\x00", "not valid TOML")],
)
def test_a_file_that_is_no_text_is_bad_input(data, what, tmp_path):
    place = tmp_path / "odd.toml"
    place.write_bytes(data)
    with pytest.raises(BadInput, match=what) as caught:
        load_profile("odd", [tmp_path])
    assert caught.value.problems[0].file == str(place)


def test_packaged_profiles_are_called_as_their_files_are():
    assert list(packaged_profiles()) == ["bench-lines", "json-lines", "polled-meter", "volt-amp-meter"]
    for name, about in packaged_profiles().items():
        assert load_profile(name).name == name
        assert len(about) > 40


# --- the documentation ------------------------------------------------------------------------------------------


def test_the_documentation_names_every_key_that_the_check_knows():
    sections = profile_keys_markdown().split("### ")[1:]
    assert len(sections) == len(TABLES)
    for section, keys in zip(sections, TABLES.values(), strict=True):
        rows = [line for line in section.splitlines() if line.startswith("| `")]
        assert [row.split("`")[1] for row in rows] == list(keys)
        for row, key in zip(rows, keys.values(), strict=True):
            assert row.count("|") == 5
            assert ("must be there" in row) == (key.default is None)


def test_defaults_in_the_documentation_are_those_of_the_port():
    port = parse_profile(SOUND.replace("baud = 9600", ""), "x").port
    for name in ("baud", "data_bits", "parity", "stop_bits", "handshake", "encoding"):
        assert TABLES["port"][name].default == str(getattr(port, name))


def test_examples_in_the_documentation_are_sound_toml():
    for example in re.findall(r"`(\{[^`]*\})`", profile_keys_markdown()):
        assert tomllib.loads(f"x = {example}")["x"]
