"""What the store does on systems and media that are not this one, asked by handing it what they would say."""

import errno
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from types import SimpleNamespace

import pytest

from satdiag.errors import SatdiagError, StoreProblem
from satdiag.folder import bytes_of, unknown_files
from satdiag.store import create_job_file, live, lock, medium, open_live, prepare
from satdiag.store.connect import look
from tests.helpers import make_job


@pytest.fixture
def place(tmp_path):
    create_job_file(tmp_path / "demo.satjob", make_job("0:00 note x first"))
    return tmp_path / "demo.satjob"


def test_the_mounts_of_macos_are_asked_of_its_own_program(monkeypatch):
    asked = []

    def ran(command, **_):
        asked.append(command)
        return SimpleNamespace(stdout="//guest@server/share on /Volumes/share (smbfs, nodev)\n")

    monkeypatch.setattr(subprocess, "run", ran)
    assert (
        medium.network_drive("/Volumes/share/x", medium._mounts("darwin"), "darwin") == "smbfs, //guest@server/share"
    )
    assert asked == [["/sbin/mount"]]


def test_without_that_program_nothing_is_claimed(monkeypatch):
    def ran(*_, **__):
        raise FileNotFoundError

    monkeypatch.setattr(subprocess, "run", ran)
    assert medium._mounts("darwin") == ""
    assert medium._mounts("freebsd14") == ""


def test_a_windows_drive_is_asked_for_its_type():
    asked = []
    assert medium.windows_share("Z:\\jobs\\x", lambda root: asked.append(root) or 4) == "drive Z:"
    assert medium.windows_share("C:\\jobs\\x", lambda root: asked.append(root) or 3) is None
    assert asked == ["Z:\\", "C:\\"]
    if sys.platform != "win32":
        assert medium.windows_share("Z:\\jobs\\x") is None  # where no system can be asked, nothing is claimed


def test_on_windows_no_folder_is_taken_for_one_that_can_only_be_read(monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "platform", "win32")
    assert not medium._is_read_only(tmp_path)


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(StoreProblem, match="is not there"):
        medium.check_writable(tmp_path / "none" / "x.satjob")


def test_a_folder_that_may_not_be_looked_into_holds_no_marker(monkeypatch, tmp_path):
    def glob(*_):
        raise PermissionError

    monkeypatch.setattr(type(tmp_path), "glob", glob)
    assert not medium._holds(tmp_path, ".stfolder")


@pytest.mark.parametrize("error", [OSError(errno.EIO, "no"), ValueError("embedded null byte")])
def test_a_path_that_cannot_be_asked_for_is_told(monkeypatch, tmp_path, error):
    def is_file(_):
        raise error

    monkeypatch.setattr(type(tmp_path), "is_file", is_file)
    with pytest.raises(StoreProblem, match="cannot be read"):
        look(tmp_path / "x.satjob")


def test_a_lock_that_the_system_refuses_is_told_and_leaves_nothing_open(monkeypatch, tmp_path):
    def seize(*_, **__):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(lock, "_seize", seize)
    before = len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else None
    with pytest.raises(StoreProblem, match=r"cannot be locked \(No locks available\)"):
        lock.take(tmp_path / "x.satjob", "trying")
    if before is not None:
        assert len(os.listdir("/proc/self/fd")) == before


def test_a_lock_that_was_given_up_says_nothing_more(tmp_path):
    held = lock.take(tmp_path / "x.satjob", "first")
    held.release()
    held.say("second")
    held.release()
    assert list(tmp_path.iterdir()) == []


def test_a_lock_whose_name_was_taken_by_another_file_leaves_that_file(tmp_path):
    held = lock.take(tmp_path / "x.satjob", "first")
    path = lock.lock_path(tmp_path / "x.satjob")
    path.unlink()
    path.write_bytes(b"another")
    held.release()
    assert path.read_bytes() == b"another"


def test_whoever_holds_it_is_unknown_where_that_cannot_be_asked(monkeypatch, tmp_path):
    def refused(*_, **__):
        raise PermissionError

    monkeypatch.setattr(os, "open", refused)
    assert lock.holder_of(tmp_path / "x.satjob") == lock.Holder()


def test_a_medium_without_a_write_ahead_log_is_not_recorded_into(monkeypatch, place):
    """As a file system without shared memory has it: the mode stays what it was."""
    before = open_rows(place)
    monkeypatch.setattr(live, "connect", lambda *args: _NoLog(connect(*args)))
    connect = _CONNECT
    with pytest.raises(StoreProblem, match="takes no write-ahead log"):
        open_live(place)
    assert open_rows(place) == before


@pytest.mark.skipif(sys.platform == "win32", reason="a way of opening files that Unix alone has")
def test_such_a_medium_is_refused_before_anything_is_changed(monkeypatch, place):
    """SQLite's 'unix-none' has no shared memory (https://sqlite.org/vfs.html), so no such log by itself."""

    def connect(place, mode):
        return sqlite3.connect(f"file://{place}?mode={mode}&vfs=unix-none", uri=True, isolation_level=None)

    before = place.read_bytes()
    monkeypatch.setattr(live, "connect", connect)
    with pytest.raises(StoreProblem, match="takes no write-ahead log"):
        open_live(place)
    assert place.read_bytes() == before
    assert [path.name for path in place.parent.iterdir()] == [place.name]
    monkeypatch.undo()
    with open_live(place) as opened:  # where there is one, the header gains its columns
        assert opened.job.header.endswith(",id")
    assert place.read_bytes() != before


def test_a_file_that_cannot_be_brought_up_to_date_is_one_file_again(monkeypatch, place):
    def full(*_):
        raise sqlite3.OperationalError("database or disk is full")

    before = open_rows(place)
    monkeypatch.setattr(prepare, "change_header", full)
    with pytest.raises(StoreProblem, match="disk is full"):
        open_live(place)
    assert open_rows(place) == before
    assert place.read_bytes()[18:20] == b"\x01\x01"  # no log (https://sqlite.org/fileformat2.html, 1.3.3)
    assert [path.name for path in place.parent.iterdir()] == [place.name]


def test_a_change_by_another_program_between_two_looks_is_seen(monkeypatch, place):
    def begin(connection, place):
        began(connection, place)
        with closing(sqlite3.connect(place)) as other, other:
            other.execute("UPDATE meta SET value = 'x' WHERE key = 'rows_sha256'")

    began = prepare._begin_log
    monkeypatch.setattr(prepare, "_begin_log", begin)
    with pytest.raises(StoreProblem, match="another program has changed it"):
        open_live(place)


_CONNECT = live.connect


class _NoLog:
    """A connection that keeps the mode it has."""

    def __init__(self, connection):
        self._connection = connection

    def execute(self, statement, *more):
        if statement == "PRAGMA journal_mode=WAL":
            statement = "PRAGMA journal_mode"
        return self._connection.execute(statement, *more)

    def __getattr__(self, name):
        return getattr(self._connection, name)


def test_only_what_grows_may_grow_and_nothing_is_nothing(place):
    with open_live(place) as opened:
        opened.begin("r1", "2031-05-03T14:00:00Z")
        with pytest.raises(ValueError, match="not a document that grows"):
            opened.append([], [("lineup.csv", b"x")])
        opened.append([])
        with pytest.raises(ValueError, match="not a document that grows"):
            opened.append([], [("../raw.jsonl", b"x")])
    assert len(open_rows(place)) == 1


def open_rows(place):
    from satdiag.store import read_job_file

    return read_job_file(place).rows


def test_a_folder_that_cannot_be_listed_or_read_is_told(monkeypatch, tmp_path):
    def refused(_):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(type(tmp_path), "iterdir", refused)
    with pytest.raises(SatdiagError, match=r"cannot be read \(Permission denied\)"):
        unknown_files(tmp_path)
    monkeypatch.setattr(type(tmp_path), "read_bytes", refused)
    with pytest.raises(SatdiagError, match=r"cannot be read \(Permission denied\)"):
        bytes_of(tmp_path / "job.toml")
