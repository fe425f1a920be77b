"""One writer at a time: who comes second is told who is there; nobody is kept out by a writer that died."""

import errno
import json
import os
import subprocess
import sys
import threading
import time
from types import SimpleNamespace

import pytest

from satdiag import store
from satdiag.errors import StoreProblem
from satdiag.store import append_rows, check_job_file, create_job_file, open_live, read_job_file
from satdiag.store.lock import Holder, holder_of, lock_path, take
from tests.helpers import make_job, make_row
from tests.store.files import ROOT, Writer, names, recorded

NOTE = make_row("2:00:00 power receiver off")


@pytest.fixture
def place(tmp_path):
    create_job_file(tmp_path / "demo.satjob", make_job("0:00 account service confirmed"))
    return tmp_path / "demo.satjob"


def test_the_lock_says_who_holds_it_and_is_gone_afterwards(place):
    assert holder_of(place) is None
    lock = take(place, "trying")
    found = json.loads(lock_path(place).read_text())
    assert (found["pid"], found["what"]) == (os.getpid(), "trying")
    assert holder_of(place) == Holder(os.getpid(), "trying", found["since"], found["computer"])
    assert names(place) == ["demo.satjob", "demo.satjob.lock"]
    lock.release()
    lock.release()
    assert holder_of(place) is None
    assert names(place) == ["demo.satjob"]


def test_a_second_process_is_told_who_records(place):
    with Writer(place, pause_s=0.02) as writer:
        writer.until(1)
        pid = writer.process.pid
        for attempt in (open_live, lambda path: append_rows(path, [NOTE])):
            with pytest.raises(StoreProblem) as caught:
                attempt(place)
            said = str(caught.value)
            assert f"it is being recorded into by process {pid}, since 2" in said
            assert "Type remarks into that window, enter them on its page, or end that recording first." in said
        assert recorded(read_job_file(place)) >= 1  # readers go on
        assert check_job_file(place) == []
        before = writer.acked
        writer.until(before + 1)  # and so does the recording
        writer.kill()
    assert recorded(read_job_file(place)) >= writer.acked > before


def test_what_a_killed_process_left_is_taken_over(place):
    with Writer(place) as writer:
        writer.until(1)
        writer.kill()
    assert "demo.satjob.lock" in names(place)
    assert holder_of(place) is None
    append_rows(place, [NOTE])
    assert names(place) == ["demo.satjob"]
    assert len(read_job_file(place).rows) == 2 + recorded(read_job_file(place))


@pytest.mark.parametrize("text", [b"", b"\xff\xfe", b"[1, 2]", b'{"pid": 1}', b'{"pid": true' + b" " * 9000])
def test_whatever_stands_in_the_lock_file_it_is_the_lock_that_counts(place, text):
    lock_path(place).write_bytes(text)
    append_rows(place, [NOTE])
    assert names(place) == ["demo.satjob"]
    lock = take(place, "trying")
    lock_path(place).write_bytes(text)
    assert holder_of(place) == Holder()
    with pytest.raises(StoreProblem, match="another program is writing to it"):
        append_rows(place, [NOTE])
    lock.release()


def test_a_holder_on_another_computer_is_named_with_it(place):
    lock = take(place, "adding rows")
    text = {"pid": 77, "what": "adding rows", "since": "2031-05-03T14:00:00Z", "computer": "demo-bench"}
    lock_path(place).write_text(json.dumps(text))
    with pytest.raises(StoreProblem, match=r"by process 77 on the computer demo-bench, since 2031.*adding rows"):
        open_live(place)
    lock.release()


def test_looking_does_not_open_the_file_for_writing_while_it_is_held(place, monkeypatch):
    """A left-over journal is undone by whoever looks first; never while someone writes."""
    opened = []
    connect = store.connect.connect
    monkeypatch.setattr(store.connect, "connect", lambda path, mode: opened.append(mode) or connect(path, mode))
    journal = place.with_name("demo.satjob-journal")
    journal.write_bytes(b"")
    lock = take(place, "trying")
    read_job_file(place)
    assert opened == ["ro"]
    lock.release()
    read_job_file(place)
    assert opened == ["ro", "rw", "ro"]


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_lock_file_that_is_a_link_is_not_followed(place, tmp_path):
    victim = tmp_path / "victim"
    victim.write_bytes(b"precious")
    lock_path(place).symlink_to(victim)
    with pytest.raises(StoreProblem, match="cannot be locked"):
        open_live(place)
    assert victim.read_bytes() == b"precious"


def test_a_lock_on_a_file_that_was_removed_meanwhile_is_none(place, monkeypatch):
    """Whoever waits may get the lock of a file that the holder before has just removed: nobody else would see it."""
    before = take(place, "ending")
    seize = store.lock._seize

    def seize_late(handle, only_look=False):
        before.release()
        seize(handle, only_look)

    monkeypatch.setattr(store.lock, "_seize", seize_late)
    lock = take(place, "beginning")
    monkeypatch.undo()
    assert holder_of(place).what == "beginning"
    with pytest.raises(StoreProblem, match="beginning"):
        append_rows(place, [NOTE])
    lock.release()
    assert names(place) == ["demo.satjob"]


@pytest.fixture
def pauses(monkeypatch):
    """Pauses between two looks at the lock, without their time; what `act` does is done in each, with its number."""
    made = SimpleNamespace(count=0, act=lambda number: None)

    def pause(seconds):
        made.count += 1
        made.act(made.count)

    monkeypatch.setattr(store.lock, "time", SimpleNamespace(sleep=pause, monotonic=time.monotonic))
    return made


@pytest.mark.skipif(sys.platform == "win32", reason="locks are not shared there")
@pytest.mark.parametrize("left", [b"", b'{"pid": 1, "what": "recording", "since": "2031", "computer": "demo"}'])
def test_whoever_only_looks_is_waited_for_longer_than_a_writer(place, pauses, left):
    """Looking takes the lock for an instant, longer on a busy computer; what a killed writer left says nothing."""
    lock_path(place).write_bytes(left)
    handle = os.open(lock_path(place), os.O_RDWR)
    store.lock._seize(handle, only_look=True)
    pauses.act = lambda number: os.close(handle) if number == 5 * store.lock._TRIES else None
    append_rows(place, [NOTE])
    assert pauses.count == 5 * store.lock._TRIES
    assert len(read_job_file(place).rows) == 2


def test_a_writer_is_told_at_once_and_not_waited_for(place, pauses):
    lock = take(place, "recording")
    with pytest.raises(StoreProblem, match=f"recorded into by process {os.getpid()}"):
        take(place, "adding rows")
    lock.release()
    assert pauses.count == store.lock._TRIES


@pytest.mark.skipif(sys.platform == "win32", reason="locks are not shared there")
def test_whoever_looks_on_and_on_is_not_waited_for_without_end(place, monkeypatch):
    monkeypatch.setattr(store.lock, "PASSING_S", 0.0)
    lock_path(place).write_bytes(b"")
    handle = os.open(lock_path(place), os.O_RDWR)
    store.lock._seize(handle, only_look=True)
    with pytest.raises(StoreProblem, match="another program is writing to it"):
        append_rows(place, [NOTE])
    os.close(handle)
    append_rows(place, [NOTE])


@pytest.mark.skipif(sys.platform == "win32", reason="it plays a scanner of Windows")
def test_a_lock_file_that_a_scanner_has_open_is_waited_for(place, pauses, monkeypatch):
    """On Windows a file that another program opened without sharing, or that is being removed, cannot be opened."""
    opened, refusals = os.open, [PermissionError(errno.EACCES, "Permission denied")] * 3

    def refused(path, *more):
        if str(path).endswith(".lock") and refusals:
            raise refusals.pop()
        return opened(path, *more)

    monkeypatch.setattr(store.lock.sys, "platform", "win32")
    monkeypatch.setattr(store.lock.os, "open", refused)
    lock = take(place, "trying")
    monkeypatch.undo()
    lock.release()
    assert (refusals, pauses.count) == ([], 3)
    assert names(place) == ["demo.satjob"]


def test_never_two_at_once_however_often_the_file_is_removed(place):
    """Threads take and give up the lock as fast as they can: each removes the file that others wait for."""
    inside, most, taken = [0], [0], [0]
    guard = threading.Lock()

    def many():
        for _ in range(150):
            try:
                lock = take(place, "trying")
            except StoreProblem:
                continue
            with guard:
                inside[0] += 1
                most[0] = max(most[0], inside[0])
                taken[0] += 1
            with guard:
                inside[0] -= 1
            lock.release()

    threads = [threading.Thread(target=many) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most[0] == 1
    assert taken[0] > 100
    assert names(place) == ["demo.satjob"]


COUNTS = """
import sys
from satdiag.errors import StoreProblem
from satdiag.store.lock import take
from pathlib import Path
place, number = Path(sys.argv[1]), Path(sys.argv[2])
done = 0
while done < 30:
    try:
        lock = take(place, "counting")
    except StoreProblem:
        continue
    number.write_text(str(int(number.read_text()) + 1))
    lock.release()
    done += 1
"""


def test_processes_that_count_in_turns_lose_no_count(place, tmp_path):
    number = tmp_path / "number"
    number.write_text("0")
    command = [sys.executable, "-c", COUNTS, str(place), str(number)]
    running = [subprocess.Popen(command, cwd=ROOT) for _ in range(2)]
    assert [process.wait(60) for process in running] == [0, 0]
    assert number.read_text() == "60"
