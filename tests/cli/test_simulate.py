"""`satdiag simulate`: a live device in a process of its own, a job folder, the list, and what is refused."""

from __future__ import annotations

import re
import shlex
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from satdiag.cli.simulate_cmd import UPSETS, simulate
from satdiag.errors import SatdiagError
from satdiag.opening import open_job
from satdiag.simulate import make_job, scenarios
from satdiag.simulate.device import Device
from satdiag.simulate.upset import KINDS

ALONE = "from satdiag.cli.simulate_cmd import simulate; simulate()"
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo terminals here")
needs_signals = pytest.mark.skipif(sys.platform == "win32", reason="a signal cannot be sent like this here")


@contextmanager
def running(*words: str):
    """The command in a process of its own, with what it printed on its first five lines."""
    process = subprocess.Popen(
        [sys.executable, "-c", ALONE, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait(60)
        process.stdout.close()
        process.stderr.close()


def refused(*words: str) -> str:
    """What a command line that cannot be done says."""
    result = CliRunner().invoke(simulate, list(words), standalone_mode=False)
    assert isinstance(result.exception, (SatdiagError, click.UsageError)), result
    assert result.stdout == ""
    error = result.exception
    return error.format_message() if isinstance(error, click.UsageError) else str(error)


def test_it_says_first_where_it_listens_and_what_to_copy():
    with running("filling", "--seed", "3", "--serve", "socket://127.0.0.1:0", "--speed", "100") as process:
        where, to_copy, made_up, account, _ = (process.stdout.readline() for _ in range(5))
        found = re.fullmatch(r"Listening on (socket://127\.0\.0\.1:(\d+))\n", where)
        assert to_copy.startswith("satdiag record ")
        assert shlex.split(to_copy)[-2:] == ["--from", f"serial:{found[1]}?profile=bench-lines"]
        assert "Simulated data" in made_up
        assert "log it by hand: account confirmed" in account
        with socket.create_connection(("127.0.0.1", int(found[2])), 5.0) as reader, reader.makefile("rb") as lines:
            heard = [next(lines) for _ in range(100)]
    said = [line.encode() + b"\r\n" for _, line in Device("filling", 3).lines_until(2000.0)]
    assert any(said[place : place + 100] == heard for place in range(len(said)))


@needs_pty
@needs_signals
@pytest.mark.parametrize("number", ["SIGTERM", "SIGINT"])
def test_it_stops_cleanly_and_leaves_nothing(number):
    """SIGTERM: exit code 0. Ctrl-C: Abort, which click alone turns into 1, and satdiag into 130. No folder stays."""
    with running("complete", "--serve", "pty", "--upset", "noise", "--verbose") as process:
        path = Path(process.stdout.readline().split()[-1])
        process.stdout.readline()
        with path.open("rb", buffering=0) as port:
            assert port.read(1)
        process.send_signal(getattr(signal, number))
        _, err = process.communicate(timeout=60)
    assert process.returncode == (0 if number == "SIGTERM" else 1)
    assert "a reader has come" in err
    assert "Traceback" not in err
    assert not path.parent.exists()


def test_it_stops_after_so_many_seconds_and_tells_what_was_upset():
    words = [
        "complete",
        "--serve",
        "socket://127.0.0.1:0",
        "--speed",
        "50",
        "--for",
        "1.3",
        "--verbose",
        "--seed",
        "8",
    ]
    done = subprocess.run(
        [sys.executable, "-c", ALONE, *words, "--upset", "noise", "--upset", "half-lines"],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert done.stdout.startswith("Listening on socket://127.0.0.1:")
    assert re.search(r"^\d\.\d s: noise ", done.stderr, re.MULTILINE)


def test_a_job_folder_is_written(tmp_path):
    folder = tmp_path / "made"
    result = CliRunner().invoke(simulate, ["antenna-open", "--to", str(folder), "--seed", "5"])
    assert result.exit_code == 0
    assert "simulated" in result.stdout
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == make_job("antenna-open", 5).files
    assert len(open_job(folder).rows) > 40


def test_what_is_there_is_not_overwritten(tmp_path):
    (tmp_path / "mine.csv").write_text("mine")
    assert "there already" in refused("filling", "--to", str(tmp_path))
    assert "there already" in refused("filling", "--to", str(tmp_path / "mine.csv"))
    assert "satdiag import" in refused("filling", "--to", str(tmp_path / "a.satjob"))
    assert "cannot be written" in refused("filling", "--to", str(tmp_path / "mine.csv" / "below"))
    assert [path.name for path in tmp_path.iterdir()] == ["mine.csv"]


@pytest.mark.parametrize("words", [[], ["--list"]])
def test_the_scenarios_are_listed(words):
    result = CliRunner().invoke(simulate, words)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert [line.split()[0] for line in lines[: len(scenarios())]] == scenarios()
    assert all(len(line.split()) > 4 for line in lines[: len(scenarios())])


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["filing", "--serve", "pty"], "Did you mean filling?"),
        (["filling"], "--serve socket://127.0.0.1:0"),
        (["filling", "--list"], "--list alone"),
        (["--serve", "pty"], "Name a SCENARIO"),
        (["filling", "--serve", "pty", "--to", "x"], "either --serve"),
        (["filling", "--to", "x", "--upset", "noise"], "go with --serve"),
        (["filling", "--to", "x", "--speed", "2"], "go with --serve"),
        (["filling", "--serve", "socket://192.0.2.1:5000"], "heard outside this computer"),
        (["filling", "--serve", "COM3"], "nothing to serve on"),
        (["filling", "--serve", "pty", "--upset", "storm"], "'storm' is not one of"),
        (["filling", "--serve", "pty", "--speed", "0"], "0.01"),
        (["filling", "--serve", "pty", "--speed", "nan"], "take a number"),
        (["filling", "--serve", "pty", "--for", "-1"], "x>=0"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_what_cannot_be_done_is_said(words, why):
    assert why in refused(*words)


def test_a_port_in_use_is_said():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        text = refused("filling", "--serve", f"socket://127.0.0.1:{other.getsockname()[1]}")
    assert text.startswith("Cannot serve on socket://127.0.0.1:")
    assert "choose another port" in text


def test_the_upsets_offered_are_those_there_are():
    assert UPSETS == KINDS


def test_nothing_heavy_is_imported_for_the_help():
    code = (
        "import sys, satdiag.cli.simulate_cmd; print(*(m for m in sys.modules if m.startswith('satdiag.simulate')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120)
    assert done.stdout.strip() == ""
