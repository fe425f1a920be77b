"""A job from beginning to end, as a person lives it: made, recorded, cut off, recorded on, checked and analysed.

What records is the real command in a process of its own; the devices are a simulated receiver in another process and
a pseudo-terminal that is unplugged.
"""

import json
import re
import subprocess
import sys
import time
from contextlib import contextmanager
from datetime import datetime

import pytest

from satdiag.store import read_job_file
from tests.recorder.devices import PtyDevice
from tests.recorder.recording import AFTER_OPENING_S, BENCH, Recording, at_rest, command, mode_of, raw_lines

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals and signals are POSIX")

SHEET = (
    *("--site", "depot,33.9147,-84.4631,299", "--reason", "just-installed", "--package", "music"),
    *("--level-scale", "bars/5", "--lead", "single", "--bias-nominal-v", "5", "--bias-normal-ma", "15,80"),
)  # what the simulated receiver of scenario antenna-open, seed 0, reads out: bars/5, one lead, a feed of 5 V
BY_HAND = ("site depot", "place open-sky", "listing yes", "account submitted", "account confirmed")


def satdiag(*words):
    """A command that must do what it is asked; its standard output."""
    code, out, err = command(*words)
    assert code == 0, out + err
    return out


@contextmanager
def simulated_receiver():
    """A receiver whose antenna lead is open, a minute of its life in a second; yields the SPEC to record it with."""
    words = ["antenna-open", "--serve", "socket://127.0.0.1:0", "--speed", "60"]
    alone = [sys.executable, "-m", "satdiag", "simulate", *words]
    with subprocess.Popen(alone, stdout=subprocess.PIPE, text=True) as process:
        try:
            where = re.fullmatch(r"Listening on (socket://\S+)\n", process.stdout.readline())[1]
            yield f"serial:{where}{BENCH}"
        finally:
            process.kill()


def moment(row):
    """A row's time, seconds since 1970."""
    return datetime.fromisoformat(row.time).timestamp()


def test_a_job_is_made_recorded_cut_off_recorded_on_and_analysed(tmp_path):
    place = tmp_path / "demo.satjob"
    satdiag("new", place, *SHEET)
    with simulated_receiver() as receiver, PtyDevice(tmp_path) as meter:
        sources = ("--from", receiver, "--from", f"serial:{meter.where}{BENCH}")
        with Recording(place, *sources, stdin=subprocess.PIPE) as recording:
            away = unplugged_for_a_while(recording, meter, place)
            recording.enter(*BY_HAND)
            enough = len(recording.acknowledged) + 100
            recording.wait_for(enough)
            half_way = exported(place, tmp_path / "half-way", recording)
            recording.kill()
        acknowledged = list(recording.acknowledged)
        killed_s = time.time()
        with Recording(place, *sources, stdin=subprocess.PIPE) as recording:
            recording.wait_for_words(r"r1\) ended without closing")
            recording.enter("channel 31 no-signal")
            recording.wait_for(200)
            assert recording.stop() == 0, recording.messages
        acknowledged += recording.acknowledged
    assert at_rest(place)
    assert "no problem found" in satdiag("check", place)
    job = read_job_file(place)
    ids = [row.id for row in job.rows]
    assert len(ids) == len(set(ids))
    assert set(acknowledged) <= set(ids)
    assert set(half_way) <= set(ids)
    check_the_unplugging(job, away)
    check_the_kill(job, killed_s)
    check_the_lines(job)
    typed = [" ".join(row[1:4]) for row in job.rows if row.source == "hand"]
    assert typed == [
        *("site vehicle depot", "place vehicle open-sky", "listing source yes", "account service submitted"),
        *("account service confirmed", "channel 31 no-signal"),
    ]
    verdict = json.loads(satdiag("analyse", place, "--json"))["verdict"]
    assert (verdict["state"], verdict["class"], verdict["fault"]) == ("fault", "antenna", "antenna-open")
    last_s = max(moment(row) for row in job.rows)
    assert datetime.fromisoformat(verdict["as_of"]).timestamp() == pytest.approx(last_s, abs=0.001)


def unplugged_for_a_while(recording, meter, place):
    """Let the meter speak, pull it out in the middle of a line, put it back, let it speak again.

    Returns bounds [s since 1970] of when the gap began and of when it ended.
    """
    recording.wait_for_words(r"serial:bench-lines/2 \(.*\): listening")
    time.sleep(AFTER_OPENING_S)
    meter.say(b"supply receiver 13.40 V\r\nsupply recei")
    recording.until(lambda: "13.40" in values(place))  # so the half line behind it in one piece has come, too
    recording.until(lambda: unread_bytes(meter) == 0)  # what nobody has read when it is unplugged is lost
    before_s = time.time()
    meter.unplug()
    recording.wait_for_words(r"serial:bench-lines/2 \(.*\): not heard: ")
    noticed_s = time.time()
    others = len(recording.acknowledged)
    recording.wait_for(others + 60)  # the receiver beside it is heard on
    back_s = time.time()
    meter.replug()
    recording.wait_for_words(r"serial:bench-lines/2 \(.*\): (heard|open) again")
    heard_s = time.time()
    time.sleep(AFTER_OPENING_S)
    meter.say(b"supply receiver 13.41 V\r\n")
    recording.wait_for(len(recording.acknowledged) + 60)
    return (before_s, noticed_s), (back_s, heard_s)


def exported(place, folder, recording):
    """Write the job out while it is recorded, see that it is sound, and return what was acknowledged before."""
    acknowledged = list(recording.acknowledged)
    assert mode_of(place) == 2
    satdiag("export", place, folder)
    assert "no problem found" in satdiag("check", folder)
    assert "no problem found" in satdiag("check", place)
    assert recording.process.poll() is None
    written = (folder / "observations.csv").read_text()
    assert all(f",{name}\n" in written for name in acknowledged)
    return acknowledged


def values(place):
    """The values that are in the job so far."""
    return {row.value for row in read_job_file(place).rows}


def unread_bytes(device):
    """How many bytes of a pseudo-terminal nobody has read yet."""
    import fcntl
    import termios

    return int.from_bytes(fcntl.ioctl(device._slave, termios.FIONREAD, bytes(4)), sys.byteorder)


def check_the_unplugging(job, away):
    """The gap spans the time between the plug pulled and the plug put back, and the half line is kept, not read."""
    (before_s, noticed_s), (back_s, heard_s) = away
    gaps = [row for row in job.rows if row[1:4] == ("gap", "serial:bench-lines/2", "lost") and row.run == "r1"]
    starts = [moment(row) - float(row.span_s) for row in gaps]
    assert before_s - 0.001 <= starts[0] <= noticed_s
    assert back_s <= moment(gaps[-1]) <= heard_s
    assert moment(gaps[-1]) - starts[0] == pytest.approx(sum(float(row.span_s) for row in gaps), abs=0.002)
    (half,) = (line for line in raw_lines(job) if line.data == b"supply recei")
    assert half.source == "serial:bench-lines/2"
    assert half.rows == ()
    assert "end never came" in half.why
    assert [row.value for row in job.rows if row.source == half.source] == ["13.40", "13.41"]
    assert [
        row.subject for row in job.rows if row.kind == "gap" and "/2" not in row.subject and row.run == "r1"
    ] == []


def check_the_kill(job, killed_s):
    """From the last row of the run that was killed to the beginning of the next one nothing was heard, as is said."""
    heard_s = [moment(row) for row in job.rows if row.run == "r1"]
    begun_s = min(moment(row) for row in job.rows if row.run == "r2")
    gaps = [row for row in job.rows if "ended without closing" in row.note]
    assert {row[1:4] for row in gaps} == {("gap", f"serial:bench-lines{end}", "lost") for end in ("", "/2")}
    assert len(gaps) == 2
    for gap in gaps:
        assert moment(gap) == begun_s
        since_s = moment(gap) - float(gap.span_s)
        assert heard_s[-1] - 0.002 <= since_s <= max(heard_s) + 0.002  # two sources: their last rows may be crossed
    assert max(heard_s) <= killed_s <= begun_s


def check_the_lines(job):
    """Each row of a device was made of one line that was kept, and of none twice."""
    named = [name for line in raw_lines(job) for name in line.rows]
    assert sorted(named) == sorted(row.id for row in job.rows if row.source.startswith("serial:"))
    assert {line.source for line in raw_lines(job)} == {"serial:bench-lines", "serial:bench-lines/2"}
