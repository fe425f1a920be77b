"""Two recordings of one file or one port, readers beside a recording, and what a recording never does to its file."""

import json
import re
import subprocess
import sys
import time
from datetime import datetime

import pytest

from satdiag.store import check_job_file, read_job_file
from tests.recorder.devices import PtyDevice
from tests.recorder.recording import (
    AFTER_OPENING_S,
    BENCH,
    Recording,
    Talker,
    at_rest,
    command,
    new_job_file,
)
from tests.store.files import sql

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals and signals are POSIX")
NOBODY = f"serial:socket://127.0.0.1:1{BENCH}"


def numbers(place):
    """What a counting device said, as it stands in the job."""
    return [int(row.value) for row in read_job_file(place).rows if row.kind == "signal"]


def without_a_hole(found):
    """True if it counts on by one."""
    return found == list(range(found[0], found[0] + len(found)))


# --- one file ------------------------------------------------------------------------------------------------------


@posix
def test_one_writes_and_the_others_are_told_who_does_or_read_what_was_acknowledged(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    with Talker(200) as talker, Recording(place, "--from", talker.spec) as recording:
        recording.wait_for(20)
        with Recording(place, "--from", NOBODY) as second:
            read_along(recording, place, tmp_path / "copy")
            assert second.finish() == 2
        holder = f"{place}: it is being recorded into by process {recording.process.pid}, since 2"
        assert second.messages.startswith(holder)
        assert second.messages.count("\n") == 1
        assert second.acknowledged == []
        code, out, err = command("note", place, "power", "receiver", "awake")
        assert (code, out) == (2, "")
        assert err.startswith(holder)
        assert "Type remarks into that window" in err
        read_along(recording, place, tmp_path / "another-copy")
        recording.wait_for(len(recording.acknowledged) + 20)
        assert recording.stop() == 0
    assert at_rest(place)
    assert check_job_file(place) == []
    rows = read_job_file(place).rows
    assert [row.id for row in rows] == recording.acknowledged
    assert without_a_hole(numbers(place))
    assert {row.source for row in rows} == {"serial:bench-lines"}


def read_along(recording, place, folder):
    """Check, export and analyse a job while it is recorded: everything acknowledged before is seen."""
    sure = len(recording.acknowledged)
    code, out, err = command("check", place)
    assert code == 0, out + err
    assert int(re.search(r"no problem found in ([\d,]+) observations", out)[1].replace(",", "")) >= sure
    sure = len(recording.acknowledged)
    code, out, err = command("export", place, folder)
    assert code == 0, err
    lines = (folder / "observations.csv").read_text().splitlines()[1:]
    assert [line.rpartition(",")[2] for line in lines[:sure]] == recording.acknowledged[:sure]
    assert without_a_hole([int(line.split(",")[3]) for line in lines])
    code, out, err = command("check", folder)
    assert code == 0, out + err
    sure = recording.acknowledged[-1]
    code, out, err = command("analyse", place, "--json")
    assert code == 0, err
    row = next(row for row in read_job_file(place).rows if row.id == sure)
    assert moment(json.loads(out)["to"]) >= moment(row.time) - 0.001


def moment(text):
    """A time as seconds since 1970."""
    return datetime.fromisoformat(text).timestamp()


@posix
def test_a_foreign_program_that_writes_ends_it_and_what_was_held_is_kept(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))
    place = new_job_file(tmp_path / "job.satjob")
    with Talker(200) as talker, Recording(place, "--from", talker.spec) as recording:
        recording.wait_for(20)
        sql(
            place,
            "UPDATE observations SET value = '-1' WHERE id = 'r1-1'",
            "UPDATE meta SET value = 'x' WHERE key = 'rows_sha256'",
        )
        assert recording.finish() == 2
    assert "another program has changed it meanwhile; nothing more is added." in recording.messages
    kept = (tmp_path / "user" / "unwritten" / "job-unwritten.csv").read_text().splitlines()[1:]
    ids = [*recording.acknowledged, *(line.rpartition(",")[2] for line in kept)]
    assert ids == [f"r1-{number}" for number in range(1, len(ids) + 1)]
    assert f"{len(kept):,} rows could not be written into the job file." in recording.messages
    assert command("check", place)[0] == 1


# --- one port ------------------------------------------------------------------------------------------------------


@posix
def test_a_port_that_another_recording_has_is_said_to_be_busy_and_waited_for(tmp_path):
    one, two = new_job_file(tmp_path / "one.satjob"), new_job_file(tmp_path / "two.satjob")
    with PtyDevice(tmp_path) as device:
        spec = f"serial:{device.where}{BENCH}"
        with Recording(one, "--from", spec) as first, Recording(two, "--from", spec) as second:
            heard, waiting = first, second
            until_one_listens(first, second)
            if "another program has it open" in first.messages:
                heard, waiting = second, first
            waiting.wait_for_words("not heard: .*another program has it open. Close that program.")
            said = talk_for(device, 0.8)  # it tries again after 0.2 and 0.4 s
            heard.wait_for(said)
            assert waiting.acknowledged == []
            assert heard.stop() == 0
            waiting.wait_for_words("(heard|open) again")
            time.sleep(AFTER_OPENING_S)
            device.say(b"signal any -1 dB\n")
            waiting.wait_for(1)
            assert waiting.stop() == 0
    assert waiting.messages.count("another program has it open") == 1
    assert "not heard" not in heard.messages
    first_job, second_job = (one, two) if heard is first else (two, one)
    assert numbers(first_job) == list(range(said))
    assert numbers(second_job) == [-1]
    (gap,) = (row for row in read_job_file(second_job).rows if row.kind == "gap")
    assert float(gap.span_s) > 0.8
    assert "another program has it open" in gap.note
    assert at_rest(one)
    assert at_rest(two)


def until_one_listens(first, second):
    """Wait until one of the two has the port and the other one knows."""
    both = [first, second]
    first.until(lambda: all("listening" in each.messages or "not heard" in each.messages for each in both))
    time.sleep(AFTER_OPENING_S)


def talk_for(device, seconds):
    """Count up for so long; how far."""
    count, end = 0, time.monotonic() + seconds
    while time.monotonic() < end:
        device.say(b"signal any %d dB\n" % count)
        count += 1
        time.sleep(0.01)
    return count


# --- its own file --------------------------------------------------------------------------------------------------

WATCH = """
import os, sys

PLACE = os.environ["WATCHED"]
FORBIDDEN = [PLACE, PLACE + "-wal", PLACE + "-shm", PLACE + "-journal"]

def watch(event, arguments):
    if event != "open" or not isinstance(arguments[0], (str, bytes, os.PathLike)):
        return
    path = os.path.realpath(os.fsdecode(arguments[0]))
    if path in FORBIDDEN:
        os.write(2, f"OPENED BESIDE THE STORE: {path}\\n".encode())
        os._exit(99)
    if path == PLACE + ".lock":
        os.write(2, b"the hook sees what is opened\\n")

sys.addaudithook(watch)
"""
WAYS = (
    "open(path).close()",
    "os.close(os.open(path, os.O_RDONLY))",
    "pathlib.Path(path).read_bytes()",
    "shutil.copyfile(path, path + '.copy')",
    "open(path + '-wal', 'ab').close()",
    "open(os.path.relpath(path).encode()).close()",
    "threading.Thread(target=open, args=(path,)).start()",
)


@posix
def test_its_own_job_file_is_never_opened_beside_the_store(tmp_path, monkeypatch):
    """On POSIX, closing any descriptor of a file gives up the process's locks on it (man 2 fcntl; wal.html)."""
    place = new_job_file(tmp_path / "job.satjob")
    (tmp_path / "hook").mkdir()
    (tmp_path / "hook" / "sitecustomize.py").write_text(WATCH)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path / "hook"))
    monkeypatch.setenv("WATCHED", str(place.resolve()))
    with Talker(300) as talker:
        for end in ("kill", "stop"):
            with Recording(place, "--from", talker.spec, stdin=subprocess.PIPE) as recording:
                recording.enter("channel 31 refused")
                recording.wait_for(50)
                code = recording.kill() if end == "kill" else recording.stop()
            assert "OPENED" not in recording.messages
            assert "the hook sees what is opened" in recording.messages
    assert code == 0
    assert at_rest(place)
    for way in WAYS:
        code = f"import os, pathlib, shutil, threading\npath = {str(place)!r}\n{way}\n"
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path)
        assert (done.returncode, done.stderr) == (99, f"OPENED BESIDE THE STORE: {path_in(done.stderr)}\n"), way


def path_in(text):
    """The path that was named."""
    return text.removeprefix("OPENED BESIDE THE STORE: ").rstrip("\n")
