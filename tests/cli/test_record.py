"""`satdiag record` asked for what cannot be done: exit code 2, one clear message, nothing made and nothing changed.

What it does when all is well is tested in processes of its own, in tests/recorder/test_record_*.py.
"""

import os
import shutil
import sys

import pytest

from satdiag.cli import run
from satdiag.recorder.profile import profile_text
from satdiag.store import create_job_file
from satdiag.store.medium import _SERVICES
from tests.helpers import make_job
from tests.store.files import read_only, small_disk, sql

posix = pytest.mark.skipif(sys.platform == "win32", reason="links and mounts as POSIX has them")
AT_ONCE = ("--for", "0", "--no-hand")  # were it not refused, it would end at once
NOBODY = "serial:socket://127.0.0.1:1?profile=bench-lines"


@pytest.fixture(autouse=True)
def own_user_folder(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path_factory.mktemp("user")))


@pytest.fixture
def place(tmp_path):
    create_job_file(tmp_path / "job.satjob", make_job("0:00 account service confirmed"))
    return tmp_path / "job.satjob"


def content_of(folder):
    """Everything in a folder, byte for byte."""
    return {str(path): path.is_file() and path.read_bytes() for path in sorted(folder.rglob("*"))}


def refused(capsys, folder, *words):
    """What is said of a command line that cannot be done, after which the folder is as it was before."""
    before = content_of(folder)
    code = run(["record", *AT_ONCE, *map(str, words)])
    out, err = capsys.readouterr()
    assert (code, out) == (2, ""), err
    assert "Traceback" not in err
    assert content_of(folder) == before, err
    return err


@pytest.mark.parametrize(
    ("spec", "why"),
    [
        ("usb:stick", "'usb' is no kind of source. Write serial:PORT-OR-URL?profile=NAME-OR-FILE or gnss:"),
        ("/dev/ttyUSB0", "is no kind of source"),
        ("serial:?profile=bench-lines", "does not say where"),
        ("serial:COM3", "does not say what the lines mean"),
        ("serial:COM3?profile=", "is blank: name one"),
        ("serial:COM3?profile=bench-line", "no line profile 'bench-line'. Known: bench-lines, json-lines"),
        ("serial:COM3?profile=mine.toml", "mine.toml"),
        ("serial:spy://COM3?profile=bench-lines", "'spy' is not a kind of port"),
        ("serial:socket://localhost?profile=bench-lines", "the port number is missing"),
        ("gnss:COM3?baud=fast", "is not a speed"),
        ("replay:not-there.satjob", "not-there.satjob: nothing there"),
        ("replay:old?speed=0", "is not a speed"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["job.satjob", "new.satjob"])
def test_a_source_that_cannot_be_is_refused_before_anything_is_made(place, capsys, spec, why, name):
    err = refused(capsys, place.parent, place.parent / name, "--from", NOBODY, "--from", spec)
    assert why in err
    assert err.count("\n") == 1


def test_a_vehicle_is_not_polled(place, capsys, tmp_path):
    profile = tmp_path / "readout.toml"
    profile.write_text(profile_text("polled-meter")[0].replace('kind = "bench"', 'kind = "vehicle"', 1), "utf-8")
    spec = f"serial:COM3?profile={profile}"
    assert "nothing is ever sent to a vehicle" in refused(capsys, tmp_path, place, "--poll", "--from", spec)
    assert "nothing is ever sent to a vehicle" in refused(
        capsys, tmp_path, tmp_path / "n.satjob", "--poll", "--from", spec
    )


def test_without_a_source_there_is_nothing_to_record(capsys, tmp_path):
    assert "Name a source with --from SPEC" in refused(capsys, tmp_path, tmp_path / "new.satjob")


@pytest.mark.parametrize("seconds", ["-1", "soon", "nan"])
def test_a_time_is_a_number_of_seconds(capsys, tmp_path, seconds):
    assert "--for" in refused(capsys, tmp_path, tmp_path / "new.satjob", "--from", NOBODY, "--for", seconds)


# --- where to record into ------------------------------------------------------------------------------------------


def test_a_folder_is_not_recorded_into(capsys, tmp_path):
    (tmp_path / "my-job").mkdir()
    err = refused(capsys, tmp_path, tmp_path / "my-job", "--from", NOBODY)
    assert f"`satdiag import {tmp_path / 'my-job'} NAME.satjob`" in err


@pytest.mark.parametrize(
    "data", [b"", b"hello", b"SQLite format 3\0" + bytes(4080)], ids=["empty", "text", "database"]
)
def test_what_is_no_job_file_is_left_alone(capsys, tmp_path, data):
    (tmp_path / "notes.satjob").write_bytes(data)
    err = refused(capsys, tmp_path, tmp_path / "notes.satjob", "--from", NOBODY)
    assert "notes.satjob: " in err
    assert ("not a job file" if data else "the file is empty") in err


def test_a_job_file_of_a_newer_format_is_only_read(capsys, place):
    sql(place, "PRAGMA user_version=99")
    err = refused(capsys, place.parent, place, "--from", NOBODY)
    assert "99" in err
    assert "Update satdiag" in err


def test_a_damaged_job_file_is_left_alone(capsys, place):
    sql(place, "UPDATE observations SET value = 'rejected'")
    err = refused(capsys, place.parent, place, "--from", NOBODY)
    assert "job.satjob: " in err


@pytest.mark.parametrize("name", ["job", "job.txt", "job.csv"])
def test_a_new_job_file_is_named_like_one(capsys, tmp_path, name):
    assert "job.satjob" in refused(capsys, tmp_path, tmp_path / name, "--from", NOBODY)


def test_a_folder_that_is_not_there_is_not_taken_for_one_that_may_not_be_written(capsys, tmp_path):
    err = refused(capsys, tmp_path, tmp_path / "no-such" / "new.satjob", "--from", NOBODY)
    assert str(tmp_path / "no-such") in err
    assert "you may not write" not in err


@pytest.mark.parametrize("name", ["old.satjob", "new.satjob"])
def test_a_folder_that_a_service_keeps_in_step_is_refused(capsys, place, name):
    shutil.copy(place, place.parent / "old.satjob")
    (place.parent / next(service.markers[0] for service in _SERVICES if service.markers)).mkdir()
    err = refused(capsys, place.parent, place.parent / name, "--from", NOBODY)
    assert "keeps in step" in err
    assert err.count("\n") == 1


@posix
def test_a_file_with_a_second_name_is_refused(capsys, place):
    os.link(place, place.parent / "twin.satjob")
    assert "a second name" in refused(capsys, place.parent, place, "--from", NOBODY)


@posix
@pytest.mark.parametrize("name", ["job.satjob", "new.satjob"])
def test_a_medium_that_can_only_be_read_is_said_to_be_one(capsys, tmp_path, name):
    with small_disk(tmp_path) as folder:
        create_job_file(folder / "job.satjob", make_job("0:00 account service confirmed"))
        read_only(folder)
        err = refused(capsys, folder, folder / name, "--from", NOBODY)
    assert "its medium can only be read" in err
