"""`satdiag try`: what is printed of what is heard. Run as the click command itself, over real ports."""

import os
import re
import signal
import subprocess
import sys
import threading
import time

import pytest
from click.testing import CliRunner

from satdiag.cli.try_cmd import Trial, try_
from satdiag.errors import NotAJob, SatdiagError
from satdiag.recorder.heard import Line, Moment, Reading, Source
from satdiag.store import create_job_file
from tests.helpers import make_job
from tests.recorder.devices import PtyDevice, TcpDevice, at_some_pace, until
from tests.recorder.rigs import sentence

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals and SIGINT to a child are POSIX")
BENCH = "?profile=bench-lines"


@pytest.fixture(autouse=True)
def own_user_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))


def tried(*words):
    """Run it to its end: exit code, standard output, standard error."""
    result = CliRunner().invoke(try_, list(words), standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.return_value, result.stdout, result.stderr


def after(seconds, call, *arguments):
    """Call something a little later, in a thread that is joined by the caller."""
    timer = threading.Timer(seconds, call, arguments)
    timer.start()
    return timer


def test_each_line_is_printed_with_what_becomes_of_it_or_why_not(tmp_path):
    at_some_pace(lambda slowly: lines_are_printed(tmp_path, slowly))


def lines_are_printed(tmp_path, slowly):
    with TcpDevice() as device:
        said = b"signal satellite:east 11.2 dB\n; warm\nnonsense\nsignal any 9 furlongs\nlock any \x1b[31m\n"
        saying = after(0.15 * slowly, device.say, said)
        code, out, err = tried(f"serial:{device.where}{BENCH}", "--for", str(0.45 * slowly))
        saying.join()
    lines = [re.sub(r"^\d\d:\d\d:\d\d\.\d{3}", "TIME", line) for line in out.splitlines()]
    assert lines == [
        f"serial:bench-lines: {device.where}, bench-lines. Ctrl-C ends it.",
        "Listening.",
        "TIME  signal satellite:east 11.2 dB",
        "    becomes: signal satellite:east 11.2 dB",
        "TIME  ; warm",
        "    says nothing for the log",
        "TIME  nonsense",
        lines[7],
        "TIME  signal any 9 furlongs",
        "    refused: signal any 9 furlongs ('furlongs' is not a unit of signal any)",
        r"TIME  lock any \x1b[31m",
        lines[11],
        "5 lines heard, 2 not understood; 2 readings, 1 of them refused by the log.",
    ]
    assert lines[7].startswith("    not understood: ")
    assert lines[11].startswith("    not understood: ")
    assert "\x1b" not in out
    assert (code, err) == (0, "")
    assert list(tmp_path.iterdir()) == []  # nothing is written anywhere


def test_exit_code_1_if_no_line_was_understood():
    at_some_pace(no_line_is_understood)


def no_line_is_understood(slowly):
    with TcpDevice() as device:
        saying = after(0.2 * slowly, device.say, b"\xff\xfe\x00garbage\n")
        code, out, _ = tried(f"serial:{device.where}{BENCH}", "--for", str(0.6 * slowly))
        saying.join()
        assert code == 1
        assert r"\xff\xfe\x00garbage" in out
        code, out, _ = tried(f"serial:{device.where}{BENCH}", "--for", "0.1")
    assert code == 1
    assert out.endswith("0 lines heard, 0 not understood; 0 readings.\n")


@posix
def test_trouble_is_said_once_and_it_is_tried_again(tmp_path):
    at_some_pace(lambda slowly: trouble_is_said(tmp_path, slowly))


def trouble_is_said(tmp_path, slowly):
    with PtyDevice(tmp_path) as device:
        device.unplug()
        steps = [
            after(0.4 * slowly, device.replug),
            after(0.9 * slowly, device.say, b"lock any yes\n"),
            after(1.1 * slowly, device.unplug),
        ]
        code, out, err = tried(f"serial:{device.where}{BENCH}", "--for", str(1.7 * slowly))
        for step in steps:
            step.join()
    assert code == 0
    assert out.count("Listening") == 1
    assert "becomes: lock any yes" in out
    troubles = err.splitlines()
    assert [("there is no such port" in line, "connection is gone" in line) for line in troubles] == [
        (True, False),
        (False, True),
        (True, False),
    ]


@posix
def test_nothing_is_sent_without_poll(tmp_path):
    with PtyDevice(tmp_path) as device:
        assert tried(f"serial:{device.where}?profile=polled-meter", "--for", "0.25")[0] == 1
        assert device.written() == b""
        at_some_pace(lambda slowly: once_it_is_asked(device, slowly))


def once_it_is_asked(device, slowly):
    """Once a second, as the profile says."""
    begin = time.monotonic()
    tried(f"serial:{device.where}?profile=polled-meter", "--for", str(0.3 * slowly), "--poll")
    asked = device.written().splitlines(keepends=True)
    assert set(asked) == {b"MEAS:VOLT:DC?\n"}
    assert len(asked) <= 1 + int(time.monotonic() - begin)


@posix
def test_ctrl_c_ends_it_with_the_counts(tmp_path):
    code = "import sys; from satdiag.cli.try_cmd import try_; sys.exit(try_.main(standalone_mode=False))"
    with PtyDevice(tmp_path) as device, open(tmp_path / "out", "w+", encoding="utf-8") as out:
        process = subprocess.Popen(
            [sys.executable, "-c", code, f"serial:{device.where}{BENCH}"], stdout=out, stderr=out
        )
        try:
            assert until(lambda: "Listening" in (tmp_path / "out").read_text("utf-8"), 60)
            time.sleep(0.1)
            device.say(b"lock any yes\nlock any n")
            assert until(lambda: "becomes" in (tmp_path / "out").read_text("utf-8"))
            os.kill(process.pid, signal.SIGINT)
            assert process.wait(60) == 130
        finally:
            process.kill()
            process.wait()
    text = (tmp_path / "out").read_text("utf-8")
    assert "lock any n\n    not understood: its end never came" in text
    assert text.endswith("\nStopped. 2 lines heard, 1 not understood; 1 reading.\n")
    assert "Traceback" not in text


def test_a_replay_ends_by_itself(tmp_path):
    create_job_file(tmp_path / "x.satjob", make_job("0:00 power receiver awake\n0:01 note any 'a, b' span_s=5"))
    code, out, _ = tried(f"replay:{tmp_path / 'x.satjob'}?speed=max")
    assert code == 0
    assert "becomes: note any a, b time=2031-05-03T14:00:01Z span_s=5" in out
    assert out.endswith("Nothing more comes.\n2 lines heard, 0 not understood; 2 readings.\n")


def test_gnss_sentences_are_told_together(tmp_path):
    (tmp_path / "demo.nmea").write_bytes(b"".join(sentence(number) + b"\r\n" for number in range(3)) + b"\xff\xff\n")
    code, out, _ = tried(f"gnss:{tmp_path / 'demo.nmea'}")
    assert code == 0
    assert out.count("together: no fix") == 1
    assert "says nothing" not in out
    assert out.endswith("4 lines heard, 1 not understood; 0 readings.\n")


def test_what_cannot_be_a_source_is_refused_at_once():
    with pytest.raises(SatdiagError, match="no kind of source"):
        tried("COM3")
    with pytest.raises(NotAJob):
        tried("replay:/no/such/job")
    assert CliRunner().invoke(try_, ["x", "--for", "0"]).exit_code == 2


class Silent(Source):
    """A source for the printing alone."""

    name = "serial:demo"

    def open(self):
        """Nothing to open."""

    def read(self):
        """Nothing."""
        return []

    def close(self):
        """Nothing."""
        return []


@pytest.mark.parametrize(
    ("reading", "printed"),
    [
        (Reading("site", "vehicle", "yard"), "    becomes: site vehicle yard"),
        (Reading("withdraw", "row", "r1-5"), "    becomes: withdraw row r1-5"),
        (Reading("power", "receiver", "on"), "    refused: power receiver on ('on' is not a state of power)"),
        (Reading("lock", "any", "yes", time="noon"), "    refused: lock any yes time=noon ('noon' is not a time)"),
        (Reading("gap", "gnss", "lost"), "    refused: gap gnss lost ('gap' is written by the recorder alone"),
    ],
)
def test_what_the_log_would_refuse_is_told(capsys, reading, printed):
    Trial(Silent()).show([Line(Moment(0, 0), b"x", (reading,))])
    assert capsys.readouterr().out.splitlines()[1].startswith(printed)


def test_a_unit_that_changes_is_told(capsys):
    trial = Trial(Silent())
    for unit in ("dB", "percent"):
        trial.show([Line(Moment(0, 0), b"x", (Reading("signal", "any", "5", unit),))])
    assert "signal any 5 percent (any was in dB before" in capsys.readouterr().out
    assert str(trial) == "2 lines heard, 0 not understood; 2 readings, 1 of them refused by the log."


def test_a_line_understood_in_part_shows_both(capsys):
    trial = Trial(Silent())
    trial.show([Line(Moment(0, 0), b"x", (Reading("lock", "any", "yes"),), "its current is no number")])
    assert capsys.readouterr().out.splitlines() == [
        "00:00:00.000  x",
        "    becomes: lock any yes",
        "    not understood: its current is no number",
    ]
    assert (trial.lines, trial.good, trial.readings) == (1, 0, 1)
