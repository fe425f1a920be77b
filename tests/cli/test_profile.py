"""`satdiag profile`: what a profile makes of a sample, line by line; the list; a profile to start from."""

import json

import click
import pytest

from satdiag.cli.profile_cmd import profile
from satdiag.errors import SatdiagError
from satdiag.recorder.profile import parse_profile

SAMPLE = b"""\
signal satellite:east 11.2 dB\r
; warming up

bias current -- mA
lock any maybe
lock any
signal satellite:east 60 percent
clock recorder 3 s
caf\xe9
site vehicle yard
supply receiver 12.8 V"""


@pytest.fixture
def sample(tmp_path, monkeypatch):
    """A sample of bench lines; the user folder is an empty one."""
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "mine"))
    place = tmp_path / "sample.txt"
    place.write_bytes(SAMPLE)
    return place


@pytest.fixture
def run(sample, capsys):
    """Runs one command line; returns the exit code, what was printed, and the error."""

    def run(*words):
        error = ""
        try:
            code = profile.main(args=list(map(str, words)), prog_name="satdiag profile", standalone_mode=False) or 0
        except SatdiagError as caught:
            code, error = 2, str(caught)
        return code, capsys.readouterr().out, error

    return run


def test_check_says_what_each_line_becomes(run, sample):
    code, out, _ = run("check", "bench-lines", sample)
    assert code == 1
    assert out.splitlines() == [
        "line 1: signal satellite:east 11.2 dB",
        "line 2: no reading: '; warming up'",
        "line 3: no reading: ''",
        "line 4: bias current unreadable",
        "line 5: NOT UNDERSTOOD: 'maybe' is not a state of lock: 'lock any maybe'",
        "line 6: NOT UNDERSTOOD: it has no field 'value': 'lock any'",
        "line 7: NOT UNDERSTOOD: satellite:east was in dB before and is in percent here, within one visit: "
        "'signal satellite:east 60 percent'",
        "line 8: NOT UNDERSTOOD: 'clock' is written by the recorder alone, and not taken from a device: "
        "'clock recorder 3 s'",
        r"line 9: NOT UNDERSTOOD: the byte 0xe9 in it is not ascii: 'caf\xe9'",
        "line 10: site vehicle yard",
        "line 11: supply receiver 12.8 V",
        "11 lines: 4 understood (4 readings), 2 without a reading, 5 not understood.",
    ]


def test_check_as_json_is_one_object_that_says_the_same(run, sample):
    code, out, _ = run("check", "--json", "bench-lines", sample)
    found = json.loads(out)
    assert code == 1
    assert (found["profile"], found["sample"]) == ("bench-lines", str(sample))
    assert found["counts"] == {
        "lines": 11,
        "understood": 4,
        "without_reading": 2,
        "not_understood": 5,
        "readings": 4,
    }
    assert [line["line"] for line in found["lines"]] == list(range(1, 12))
    assert found["lines"][0] == {
        "line": 1,
        "text": "signal satellite:east 11.2 dB",
        "readings": [{"kind": "signal", "subject": "satellite:east", "value": "11.2", "unit": "dB"}],
        "why": "",
    }
    assert found["lines"][3]["readings"] == [{"kind": "bias", "subject": "current", "value": "unreadable"}]


def test_check_of_lines_that_are_all_understood_is_code_0(run, sample):
    sample.write_bytes(b"U=12.81V I=0.412A\nU=--V I=0.412A\n")
    code, out, _ = run("check", "volt-amp-meter", sample)
    assert code == 0
    assert out.splitlines()[-1] == "2 lines: 2 understood (4 readings), 0 without a reading, 0 not understood."
    sample.write_bytes(b"")
    assert run("check", "volt-amp-meter", sample)[:2] == (
        0,
        "0 lines: 0 understood (0 readings), 0 without a reading, 0 not understood.\n",
    )


def test_a_line_that_is_too_long_is_one_line_that_is_not_understood(run, sample):
    sample.write_bytes(b"lock any yes\n" + b"x" * 1_000_000 + b"\nlock any no\n")
    code, out, _ = run("check", "bench-lines", sample)
    lines = out.splitlines()
    assert code == 1
    assert lines[1].startswith("line 2: NOT UNDERSTOOD: it is too long for a line: 'xxxxx")
    assert len(lines[1]) < 200
    assert lines[2] == "line 3: lock any no"


def test_notes_and_times_are_shown(run, sample):
    sample.write_bytes(
        b'{"kind": "lock", "subject": "any", "value": "yes", "time": "2031-05-03T14:00:00", "note": "x y"}'
    )
    assert run("check", "json-lines", sample)[1].splitlines()[0] == (
        "line 1: lock any yes note='x y' time='2031-05-03T14:00:00'"
    )


def test_a_profile_of_ones_own_is_found_by_name_and_by_path(run, sample, tmp_path):
    folder = tmp_path / "mine" / "profiles"
    folder.mkdir(parents=True)
    text = run("show", "bench-lines")[1].replace('name = "bench-lines"', 'name = "demo-box"')
    (folder / "demo-box.toml").write_text(text, encoding="utf-8")
    (folder / "broken.toml").write_text("name = 3\n", encoding="utf-8")
    assert run("check", "demo-box", sample)[0] == 1
    assert run("check", folder / "demo-box.toml", sample)[0] == 1
    code, out, _ = run("list")
    assert code == 0
    names = [line for line in out.splitlines() if not line.startswith(" ")]
    assert names == ["bench-lines", "json-lines", "polled-meter", "volt-amp-meter", "broken", "demo-box"]
    assert "cannot be used: " in out
    assert run("show", "demo-box")[1] == text


def test_what_cannot_be_read_is_bad_input(run, sample, tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text('name = "x"\nkind = "car"\n', encoding="utf-8")
    code, out, error = run("check", bad, sample)
    assert (code, out) == (2, "")
    assert f"{bad}, line 2, column 'kind': kind: 'car' is not one of bench, vehicle." in error
    code, _, error = run("check", "nobody", sample)
    assert code == 2
    assert "There is no line profile 'nobody'. Known: bench-lines," in error
    code, _, error = run("check", "bench-lines", tmp_path / "none.txt")
    assert code == 2
    assert "none.txt: it cannot be read" in error
    assert run("check", "bench-lines", tmp_path)[0] == 2


def test_what_show_prints_is_a_profile(run):
    for name in ("bench-lines", "json-lines", "polled-meter", "volt-amp-meter"):
        assert parse_profile(run("show", name)[1], "x").name == name
    with pytest.raises(click.UsageError):
        run("show")
