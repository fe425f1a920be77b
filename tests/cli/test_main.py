"""The command line as a whole: instant help, exit codes, one line for an error of our own."""

import os
import select
import signal
import subprocess
import sys
from contextlib import suppress

import pytest

import satdiag.cli
from satdiag.cli import COMMANDS, run
from tests.bad_folders import BAD, SOUND, spoiled, write

FILES = {name: text.encode() for name, text in SOUND.items()}

HELPS = """
import contextlib, io, sys
from satdiag.cli import COMMANDS, run
heavy = {"numpy", "pandas", "scipy", "plotly", "rich", "jinja2"}
for words in [["--help"], *([name, "--help"] for name in COMMANDS)]:
    with contextlib.redirect_stdout(io.StringIO()) as out:
        code = run(words)
    found = heavy & {name.partition(".")[0] for name in sys.modules}
    print(code, len(out.getvalue()) > 150, sorted(found), *words)
"""


def test_no_help_imports_anything_heavy():
    found = subprocess.run([sys.executable, "-c", HELPS], capture_output=True, text=True, timeout=120, check=True)
    lines = found.stdout.splitlines()
    assert len(lines) == 1 + len(COMMANDS)
    for line in lines:
        assert line.startswith("0 True [] "), line


def test_help_names_every_command(capsys):
    assert run(["--help"]) == 0
    text = capsys.readouterr().out
    assert all(f"\n  {name} " in text for name in COMMANDS)
    assert run(["--version"]) == 0
    assert satdiag.__version__ in capsys.readouterr().out


def test_it_runs_as_a_module(tmp_path):
    found = subprocess.run(
        [sys.executable, "-m", "satdiag", "check", str(tmp_path / "none")],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert found.returncode == 2
    assert found.stdout == ""
    assert "nothing there" in found.stderr


@pytest.mark.parametrize(
    "words",
    [["nonsense"], ["check"], ["check", "a", "b"], ["check", "a", "--nonsense"], ["schema", "jobs"], ["export", "a"],
     ["new", "x", "--lead", "triple"], ["docs", "nonsense"], ["note", "job"], ["--nonsense"]],
    ids=" ".join,
)  # fmt: skip
def test_bad_usage_is_2_and_says_why(words, capsys):
    assert run(words) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert streams.err.strip()
    assert "Traceback" not in streams.err


def _break(monkeypatch, error):
    def broken(*_):
        raise error

    monkeypatch.setattr("satdiag.findings_schema.findings_schema", broken)


def test_an_error_of_our_own_is_3_and_one_line(monkeypatch, capsys):
    _break(monkeypatch, RuntimeError("two\nlines"))
    assert run(["schema"]) == 3
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1
    assert "RuntimeError: two lines" in streams.err
    assert "report it" in streams.err
    assert "--debug" in streams.err


def test_debug_shows_where_an_error_of_our_own_came_from(monkeypatch, capsys):
    _break(monkeypatch, RuntimeError("deep down"))
    assert run(["--debug", "schema"]) == 3
    text = capsys.readouterr().err
    assert text.startswith("Traceback")
    assert "in broken" in text


def test_stopped_by_hand_is_130(monkeypatch, capsys):
    _break(monkeypatch, KeyboardInterrupt())
    assert run(["schema"]) == 130
    assert "Stopped" in capsys.readouterr().err


def _interrupted(child, patience_s=5.0, times=12):
    """The exit code after Ctrl-C. Between the prompt and the reading one is lost, so it is pressed again."""
    for _ in range(times):
        child.send_signal(signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            return child.wait(patience_s)
    return None


@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals there")
def test_ctrl_c_at_a_question_is_130_and_leaves_nothing(tmp_path):
    import pty

    master, slave = pty.openpty()
    words = [sys.executable, "-m", "satdiag", "new", str(tmp_path / "job")]
    child = subprocess.Popen(words, stdin=slave, stdout=slave, stderr=slave)
    try:
        seen = b""
        while b"Name of the job" not in seen:
            assert select.select([master], [], [], 60)[0], seen
            seen += os.read(master, 1000)
        assert _interrupted(child) == 130
    finally:
        child.kill()
        child.wait(30)
        os.close(master)
        os.close(slave)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.name)
def test_a_faulty_folder_is_one_error_2_and_nothing_is_written(bad, tmp_path, capsys):
    folder = write(spoiled(bad), tmp_path / "job")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    for words in (
        ["analyse", str(folder), "--report", str(tmp_path / "r.html")],
        ["import", str(folder), str(tmp_path / "x.satjob")],
        ["export", str(folder), str(tmp_path / "out"), "--spreadsheet", str(tmp_path / "x.csv")],
        ["note", str(folder), "power", "receiver", "off"],
    ):
        assert run(words) == 2
        streams = capsys.readouterr()
        assert streams.out == ""
        assert len(streams.err.splitlines()) == 1
        assert bad.found in streams.err
    assert run(["check", str(folder)]) == 1
    assert len(capsys.readouterr().out.splitlines()) == 1
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["job"]
