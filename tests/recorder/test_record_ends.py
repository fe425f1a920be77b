"""However a recording ends, it leaves one file at rest and says what it came to."""

import re
import signal
import subprocess
import sys
import time
from contextlib import ExitStack

import pytest

from satdiag.store import check_job_file, create_job_file, read_job_file
from tests.helpers import make_job
from tests.recorder.devices import TcpDevice, until
from tests.recorder.recording import AFTER_OPENING_S, BENCH, Recording, Talker, at_rest, mode_of, new_job_file
from tests.recorder.rigs import sentence

posix = pytest.mark.skipif(sys.platform == "win32", reason="these signals and terminals are POSIX")
SLOWLY = 40  # lines a second


def ended_well(place, recording, run="r1"):
    """One file at rest and sound, a summary that tells the truth, nothing acknowledged missing; the job."""
    assert at_rest(place), recording.messages
    assert check_job_file(place) == []
    job = read_job_file(place)
    rows = [row for row in job.rows if row.run.partition(".")[0] == run]
    assert re.search(
        rf"^{place}: {len(rows):,} rows written in .* \(run {run}\)\.$", recording.messages, re.MULTILINE
    )
    assert recording.messages.endswith(f"Next: satdiag analyse {place}\n")
    assert "Traceback" not in recording.messages
    assert set(recording.acknowledged) <= {row.id for row in rows}
    return job


@posix
def test_a_signal_ends_it_in_good_order(tmp_path):
    names = ("SIGINT", "SIGTERM", "SIGHUP")
    places = {name: new_job_file(tmp_path / f"{name}.satjob") for name in names}
    with ExitStack() as stack:
        talkers = [stack.enter_context(Talker(SLOWLY)) for _ in names]
        specs = dict(zip(names, (talker.spec for talker in talkers), strict=True))
        recordings = {
            name: stack.enter_context(Recording(place, "--from", specs[name])) for name, place in places.items()
        }
        for name, recording in recordings.items():
            recording.wait_for(5)
            assert mode_of(places[name]) == 2
            assert recording.stop(getattr(signal, name)) == 0, name
    for name, recording in recordings.items():
        job = ended_well(places[name], recording)
        heard = [int(row.value) for row in job.rows if row.kind == "signal"]
        assert heard == list(range(heard[0], heard[0] + len(heard)))
        assert len(recording.acknowledged) == len(job.rows)
        of_the_source = r"^  serial:bench-lines \(socket://\S+, bench-lines\): [\d,]+ lines, "
        assert re.search(of_the_source, recording.messages, re.MULTILINE)


def test_the_end_of_a_pipe_ends_what_has_no_other_source(tmp_path):
    place = tmp_path / "made.satjob"
    with Recording(place, stdin=subprocess.PIPE) as recording:
        recording.enter("power awake", "channel 31 refused")
        recording.process.stdin.write(b"note the last words")
        recording.process.stdin.close()
        assert recording.finish() == 0
    job = ended_well(place, recording)
    assert [" ".join(row[1:4]) for row in job.rows] == [
        "power receiver awake", "channel 31 refused", "note  the last words",
    ]  # fmt: skip
    assert len(recording.acknowledged) == 3


def test_it_ends_by_itself_when_all_its_sources_have(tmp_path):
    rows = "\n".join(f"{number // 60}:{number % 60:02} signal any {number} dB" for number in range(3000))
    create_job_file(tmp_path / "old.satjob", make_job(rows))
    sentences = b"".join(sentence(number) + b"\r\n" for number in range(3000))
    (tmp_path / "walk.nmea").write_bytes(sentences)
    place = new_job_file(tmp_path / "job.satjob")
    sources = ("--from", f"replay:{tmp_path / 'old.satjob'}?speed=max", "--from", f"gnss:{tmp_path / 'walk.nmea'}")
    with Recording(place, *sources) as recording:
        assert recording.finish() == 0
    assert at_rest(place)
    assert check_job_file(place) == []
    job = read_job_file(place)
    played = [row for row in job.rows if row.kind == "signal"]
    assert [row.value for row in played] == [str(number) for number in range(3000)]
    assert [row.id for row in job.rows] == recording.acknowledged
    assert job.documents["gnss-r1.nmea"] == sentences


def test_it_ends_after_the_time_it_was_given(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    begun_s = time.monotonic()
    with Talker(SLOWLY) as talker, Recording(place, "--from", talker.spec, "--for", "0.5") as recording:
        assert recording.finish() == 0
    assert time.monotonic() - begun_s > 0.5
    job = ended_well(place, recording)
    assert job.rows
    assert float(job.rows[-1].elapsed_s) < 60


@posix
def test_it_goes_on_when_nobody_reads_what_it_says(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    with TcpDevice() as device, Recording(place, "--from", f"serial:{device.where}{BENCH}") as recording:
        recording.wait_for_words("listening")
        time.sleep(AFTER_OPENING_S)
        device.say(b"signal any 1 dB\n")
        recording.wait_for(1)
        recording.stop_reading_messages()
        device.hang_up()  # something to tell, twice: that it is gone, and that it is heard again
        said = talk_until(device, lambda: len(recording.acknowledged) > 1)
        code = recording.stop()
    assert at_rest(place)
    assert check_job_file(place) == []
    first, *others = (int(row.value) for row in read_job_file(place).rows if row.kind == "signal")
    assert first == 1
    assert others == list(range(others[0], said + 1))
    assert code == 0


def talk_until(device, heard):
    """Count up from 2 until something is heard: what comes while a port is being opened is not. How far."""
    said = 1

    def talk():
        nonlocal said
        said += 1
        device.say(b"signal any %d dB\n" % said)
        return until(heard, 0.1)

    assert until(talk, 60.0)
    return said
