"""A medium that is really full while `satdiag record` writes to it, and what becomes of what it could not write."""

import csv
import re
import signal
import sys
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest

from satdiag.job import Job, with_rows
from satdiag.recorder.raw_lines import decode_document
from satdiag.rows import Row
from satdiag.store import read_job_file
from tests.recorder.devices import TcpDevice, until
from tests.recorder.recording import BENCH, Recording, Talker, at_rest, command, new_job_file, raw_lines
from tests.recorder.rigs import sentence
from tests.store.files import small_disk

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux has tmpfs")
SIZE = "6M"
"""The ballast takes what is free; a busy computer needs several times the 0.5 MB of an idle one."""
LINES_PER_S = 300
SENTENCES = b"".join(sentence(number) + b"\r\n" for number in range(400))
NOBODY = f"serial:socket://127.0.0.1:1{BENCH}"


@contextmanager
def full(folder):
    """A medium without any room left."""
    ballast = folder / "ballast"
    with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
        fill_up(file)
    try:
        yield
    finally:
        ballast.unlink()


def fill_up(file):
    while True:
        file.write(b"\0" * 4096)


def numbers(rows):
    """What a counting device said."""
    return [int(row.value) for row in rows if row.kind == "signal"]


def without_a_hole(found):
    """True if it counts on by one."""
    return found == list(range(found[0], found[0] + len(found)))


class Stopped(NamedTuple):
    """A recording on a medium that was full: what it said and left, with room again."""

    code: int
    messages: str
    acknowledged: list[str]
    check: tuple[int, str, str]
    job: Job
    after_the_next: tuple[bool, int]
    """After another recording: the file is at rest, and the exit code of `satdiag check`."""


def ask(recording):
    """SIGTERM."""
    recording.process.send_signal(signal.SIGTERM)


def ask_unheard(recording):
    """As a window that is closed: nobody reads any more."""
    recording.stop_reading_messages()
    recording.process.send_signal(signal.SIGHUP)


def insist(recording):
    """Ctrl-C, and again if it has not given up a little later."""

    def has_given_up():
        return recording.process.poll() is not None or "could not be written" in recording.messages

    while not has_given_up():
        recording.process.send_signal(signal.SIGINT)
        until(has_given_up, 2.0)


def talking(place, how):
    """Record a talking device until the medium is full, and stop in some way."""
    with Talker(LINES_PER_S) as talker, Recording(place, "--from", talker.spec) as recording:
        recording.wait_for(20)
        with full(place.parent):
            recording.wait_for_words("NOT BEING WRITTEN")
            how(recording)
            recording.finish()
        return recording


def gnss(place, how):
    """The same with a GNSS receiver, of which sentences are kept and no rows are made."""
    with TcpDevice() as device, Recording(place, "--from", f"gnss:{device.where}") as recording:
        recording.wait_for_words("listening")
        with full(place.parent):
            device.say(SENTENCES)
            recording.wait_for_words("NOT BEING WRITTEN")
            how(recording)
            recording.finish()
        return recording


def helped(place, how):
    """The same, but room is made in time."""
    with Talker(LINES_PER_S) as talker, Recording(place, "--from", talker.spec) as recording:
        recording.wait_for(20)
        with full(place.parent):
            recording.wait_for_words("NOT BEING WRITTEN")
            stuck, sent = len(recording.acknowledged), talker.sent
            recording.until(lambda: talker.sent > sent + 2 * LINES_PER_S)  # it is tried again every second
            assert [row.id for row in read_job_file(place).rows] == recording.acknowledged
            assert len(recording.acknowledged) == stuck
            held_to = talker.sent
        recording.wait_for_words("It is being written again")
        recording.until(lambda: len(recording.acknowledged) > stuck + 2 * LINES_PER_S)
        how(recording)
        recording.finish()
        assert numbers(read_job_file(place).rows)[-1] > held_to - LINES_PER_S
        return recording


RUNS = {
    "helped": (helped, ask),
    "asked": (talking, ask),
    "unheard": (talking, ask_unheard),
    "insisted": (talking, insist),
    "gnss": (gnss, ask),
}


@pytest.fixture(scope="module")
def stopped(tmp_path_factory):
    """Recordings on media that are full, stopped in several ways, side by side, as most wait for 10 s.

    Each by its name, and the folder where rows go that could not be written.
    """
    folder = tmp_path_factory.mktemp("full")
    with pytest.MonkeyPatch.context() as patch, ExitStack() as mounted, ThreadPoolExecutor(len(RUNS)) as pool:
        patch.setenv("SATDIAG_USER_FOLDER", str(folder / "user"))
        places = {name: folder / name / f"{name}.satjob" for name in RUNS}
        for place in places.values():
            place.parent.mkdir()
            mounted.enter_context(small_disk(place.parent, SIZE))
            new_job_file(place)
        futures = {name: pool.submit(act, places[name], how) for name, (act, how) in RUNS.items()}
        wait(futures.values())
        found = {name: looked_at(futures[name].result(), place) for name, place in places.items()}
        return found, folder / "user" / "unwritten"


def looked_at(recording, place):
    """What a recording left, also after another one."""
    check, job = command("check", place), read_job_file(place)
    code, _, err = command("record", place, "--from", NOBODY, "--no-hand", "--for", "0")
    assert code == 0, err
    later = (at_rest(place), command("check", place)[0])
    return Stopped(recording.process.returncode, recording.messages, recording.acknowledged, check, job, later)


def rescued_rows(place):
    """The rows of a rescue file."""
    with place.open(newline="", encoding="utf-8") as file:
        header, *lines = csv.reader(file)
    assert ",".join(header) == "time,kind,subject,value,unit,source,note,span_s,run,elapsed_s,id"
    return [Row(*line) for line in lines]


def all_is_there(found, rescued):
    """What is in the file and what was rescued follow each other without a hole, and can be put together again."""
    assert [row.id for row in found.job.rows] == found.acknowledged
    assert rescued
    both = [*found.job.rows, *rescued]
    assert without_a_hole(numbers(both))
    assert [row.id for row in both] == [f"r1-{number}" for number in range(1, len(both) + 1)]
    assert list(with_rows(found.job, rescued).rows) == both


def test_what_finds_no_room_is_held_and_written_when_there_is_some(stopped):
    found = stopped[0]["helped"]
    assert found.code == 0
    assert found.messages.count("NOT BEING WRITTEN") == 1
    assert "The medium is full: free some space on it." in found.messages
    assert found.messages.count("It is being written again; nothing was lost.") == 1
    assert [row.id for row in found.job.rows] == found.acknowledged
    assert len(set(found.acknowledged)) == len(found.acknowledged)
    assert without_a_hole(numbers(found.job.rows))
    assert found.check[0] == 0


def test_what_cannot_be_written_before_the_stop_goes_elsewhere_and_is_said(stopped):
    found = stopped[0]["asked"]
    assert found.code == 2
    count, place = told(found, "rows?")
    assert place == stopped[1] / "asked-unwritten.csv"
    rescued = rescued_rows(place)
    assert len(rescued) == count
    all_is_there(found, rescued)
    count, place = told(found, r"lines? of raw-r1\.jsonl")
    lines = list(decode_document("raw-r1.jsonl", place.read_bytes()))
    assert len(lines) == count
    assert [name for line in lines for name in line.rows] == [row.id for row in rescued]
    numbered = [line.n for line in (*raw_lines(found.job), *lines)]
    assert numbered == list(range(1, len(numbered) + 1))


def told(found, what):
    """How much of something could not be written, and where it is, as the recording said it."""
    words = rf"^([\d,]+) {what} could not be written into the job file\. They are in (.*)\.$"
    ((count, place),) = re.findall(words, found.messages, re.MULTILINE)
    return int(count.replace(",", "")), Path(place)


@pytest.mark.parametrize("name", RUNS)
def test_a_file_on_a_medium_that_was_full_is_sound(stopped, name):
    found = stopped[0][name]
    assert [row.id for row in found.job.rows] == found.acknowledged
    code, out, err = found.check
    assert err == ""
    if code:  # that it was not closed is all that may be said against it
        assert code == 1
        assert re.fullmatch(r".*ended without being closed; everything that was committed is there\. .*\n", out)
    assert found.after_the_next == (True, 0)


def test_what_cannot_be_written_goes_elsewhere_when_nobody_listens_any_more(stopped):
    found = stopped[0]["unheard"]
    all_is_there(found, rescued_rows(stopped[1] / "unheard-unwritten.csv"))
    assert found.code == 2


def test_a_second_ctrl_c_does_not_drop_rows_in_silence(stopped):
    found = stopped[0]["insisted"]
    all_is_there(found, rescued_rows(stopped[1] / "insisted-unwritten.csv"))
    assert found.code in (130, -signal.SIGINT)  # one more as it ends: a shell calls both 130


def test_sentences_that_cannot_be_written_go_elsewhere_too(stopped):
    found = stopped[0]["gnss"]
    assert found.code == 2
    count, place = told(found, r"lines? of gnss-r1\.nmea")
    assert count > 0
    assert place.read_bytes().count(b"\n") == count
    assert found.job.documents.get("gnss-r1.nmea", b"") + place.read_bytes() == SENTENCES
