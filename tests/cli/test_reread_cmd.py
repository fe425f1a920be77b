"""`satdiag reread`: what it says, what it writes, and what it refuses."""

import json

import pytest

from satdiag.cli import run
from satdiag.folder import export_files, write_folder
from satdiag.opening import add_rows, open_job
from satdiag.recorder.heard import SourceEnded
from satdiag.recorder.loop import Recorder
from satdiag.recorder.profile import load_profile
from satdiag.rows import Row
from satdiag.store import check_job_file
from tests.recorder.devices import until
from tests.recorder.recording import new_job_file
from tests.recorder.scripted import Scripted, SetClock

METER = """
name = "my-meter"
kind = "bench"
[line]
part = "pattern"
pattern = 'I=(?P<amperes>-?[0-9.]+)A?'
[[reading]]
kind = "bias"
subject = "current"
value = {field = "amperes"}
unit = "mA"
"""
MENDED = METER.replace('unit = "mA"', 'unit = "mA"\nscale = 1000')


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with the profile as it was and mended; the user folder is an empty one."""
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "mine"))
    (tmp_path / "first.toml").write_text(METER)
    (tmp_path / "mended.toml").write_text(MENDED)
    (tmp_path / "other.toml").write_text(MENDED.replace("my-meter", "other-meter"))
    return tmp_path


@pytest.fixture
def place(folder):
    """A job into which two such meters were recorded with the first profile."""
    place, clock = new_job_file(folder / "job.satjob"), SetClock()
    used = load_profile(str(folder / "first.toml"))
    sources = [Scripted(clock, name) for name in ("serial:my-meter", "serial:my-meter/2")]
    for source, texts in zip(sources, ((b"I=0.031A", b"I=0.032A", b"I=?A"), (b"I=0.040A",)), strict=True):
        source.script.extend([*((text, *used.read_line(text)) for text in texts), SourceEnded])
    recorder = Recorder(place, sources, clock)
    recorder.start()
    try:
        assert until(lambda: recorder.sources_ended)
    finally:
        recorder.stop()
    return place


def values(place):
    return sorted(open_job(place).log["value"])


def test_it_says_what_would_change_and_writes_nothing(place, folder, capsys):
    old = place.read_bytes()
    assert run(["reread", str(place), "--profile", str(folder / "mended.toml")]) == 0
    assert place.read_bytes() == old
    assert sorted(path.name for path in folder.iterdir()) == ["first.toml", "job.satjob", "mended.toml", "other.toml"]
    text = capsys.readouterr().out
    assert "Lines read again: 4; as before: 1; changed: 3." in text
    assert "Not understood, wholly or in part: 1." in text
    assert "'I=0.031A'\n    no longer: bias current 0.031 mA\n    now: bias current 31 mA\n" in text
    assert "Nothing was written. With --write, rows withdrawn: 3; rows added: 3." in text


def test_it_writes_what_the_analysis_then_reads_and_only_once(place, folder, capsys):
    words = ["reread", str(place), "--profile", str(folder / "mended.toml"), "--write"]
    assert run(words) == 0
    assert f"{place}: written as run r2; rows withdrawn: 3; rows added: 3." in capsys.readouterr().out
    assert values(place) == ["31", "32", "40"]
    assert check_job_file(place) == []
    assert run(["analyse", str(place), "--json"]) in (0, 1)
    assert json.loads(capsys.readouterr().out)["wiring"]["bias"]["current_ma"] == pytest.approx(32)
    new = place.read_bytes()
    assert run(words) == 0
    assert "There is nothing to write." in capsys.readouterr().out
    assert place.read_bytes() == new


def test_without_a_profile_each_source_goes_with_the_one_of_its_name(place, folder, capsys):
    assert run(["reread", str(place)]) == 2
    assert "There is no line profile 'my-meter'" in capsys.readouterr().err
    (folder / "mine" / "profiles").mkdir(parents=True)
    (folder / "mine" / "profiles" / "my-meter.toml").write_text(MENDED)
    assert run(["reread", str(place), "--write"]) == 0
    assert values(place) == ["31", "32", "40"]


def test_one_source_only(place, folder, capsys):
    mended = ["--profile", str(folder / "mended.toml")]
    assert run(["reread", str(place), *mended, "--source", "serial:my-meter/2", "--write"]) == 0
    assert "Left as they are: the lines of serial:my-meter." in capsys.readouterr().out
    assert values(place) == ["0.031", "0.032", "40"]
    assert run(["reread", str(place), *mended, "--source", "serial:your-meter"]) == 2
    text = capsys.readouterr().err
    assert "No line of serial:your-meter is there. There are lines of serial:my-meter, serial:my-meter/2." in text


def test_a_profile_of_another_name_needs_a_source(place, folder, capsys):
    other = ["--profile", str(folder / "other.toml")]
    assert run(["reread", str(place), *other]) == 2
    text = capsys.readouterr().err
    assert (
        "No source goes with a profile of that name: there are lines of serial:my-meter, serial:my-meter/2." in text
    )
    assert "--source" in text
    assert run(["reread", str(place), *other, "--source", "serial:my-meter", "--write"]) == 0
    assert values(place) == ["0.040", "31", "32"]
    assert set(open_job(place).log["source"]) == {"serial:my-meter", "serial:my-meter/2"}


def test_it_says_what_was_withdrawn_by_hand(place, folder, capsys):
    first = open_job(place).rows[0]
    add_rows(place, [Row(first.time, "withdraw", "row", first.id, source="hand")])
    assert run(["reread", str(place), "--profile", str(folder / "mended.toml"), "--write"]) == 0
    assert "Withdrawn by hand, and not brought back: 1." in capsys.readouterr().out
    assert len(values(place)) == 2


def test_what_differs_in_its_time_or_note_alone_is_shown(place, folder, capsys):
    (folder / "noted.toml").write_text(METER + 'note = "clamp"\n')
    assert run(["reread", str(place), "--profile", str(folder / "noted.toml")]) == 0
    text = capsys.readouterr().out
    assert "no longer: bias current 0.031 mA\n    now: bias current 0.031 mA note=clamp\n" in text


def test_a_folder_is_looked_at_and_not_written(place, folder, capsys):
    write_folder(export_files(open_job(place)), folder / "job")
    before = {path.name: path.read_bytes() for path in (folder / "job").iterdir()}
    words = ["reread", str(folder / "job"), "--profile", str(folder / "mended.toml")]
    assert run(words) == 0
    assert "changed: 3." in capsys.readouterr().out
    assert run([*words, "--write"]) == 2
    assert f"`satdiag import {folder / 'job'} NAME.satjob`" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in (folder / "job").iterdir()} == before
    made = folder / "made.satjob"
    assert run(["import", str(folder / "job"), str(made)]) == 0  # the way that the message names
    assert run(["reread", str(made), *words[2:], "--write"]) == 0
    assert values(made) == ["31", "32", "40"]


def test_a_file_being_recorded_is_refused_and_says_by_whom(place, folder, capsys):
    recorder = Recorder(place, [])
    recorder.start()
    try:
        assert run(["reread", str(place), "--profile", str(folder / "mended.toml"), "--write"]) == 2
    finally:
        recorder.stop()
    assert "it is being recorded into by process" in capsys.readouterr().err
    assert values(place) == ["0.031", "0.032", "0.040"]


def test_what_is_no_job_or_holds_no_lines_is_named(folder, capsys):
    assert run(["reread", str(folder / "none.satjob")]) == 2
    assert "nothing there" in capsys.readouterr().err
    assert run(["reread", str(new_job_file(folder / "bare.satjob"))]) == 2
    assert "it holds no lines as they were received" in capsys.readouterr().err
