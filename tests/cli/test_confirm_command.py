"""`satdiag confirm`: exit codes, the plain form, the table, the document."""

import json
import os
import re
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from satdiag.acceptance import acceptance_schema
from satdiag.cli import run

SAMPLES = Path(__file__).parent.parent.parent / "sample_logs"


def said(capsys, *words):
    code = run(["confirm", *map(str, words)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.mark.parametrize(("name", "code"), [("partial-package", 0), ("filling", 1), ("not-activated", 1)])
def test_the_exit_code_says_whether_it_is_confirmed(name, code, capsys):
    found, out, _ = said(capsys, SAMPLES / name)
    assert found == code
    lines = out.splitlines()
    assert lines[0].startswith(
        {"partial-package": "Activation confirmed", "filling": "Go on"}.get(name, "Not confirmed")
    )
    assert "At most 5 % of accounts that are not activated" in lines[1]
    assert not re.search(r"\d{4}-\d\d-\d\dT", out)
    if name == "filling":  # its last row is of 20:47 UTC, five hours more than in Chicago in September
        assert lines[1].endswith(" As of 1 September 2031, 15:47 (America/Chicago); job demo-7598.")
    assert any(line.startswith("Listed: holds. ") for line in lines)
    assert ("Still lacking: " in out) == (code != 0)


def test_the_document_is_printed_and_keeps_the_published_schema(capsys):
    code, out, _ = said(capsys, SAMPLES / "partial-package", "--json", "--alpha", "0.04", "--beta", "0.1")
    document = json.loads(out)
    assert (code, document["state"], document["alpha"], document["beta"]) == (0, "confirmed", 0.04, 0.1)
    assert run(["schema", "acceptance"]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert schema == json.loads(json.dumps(acceptance_schema()))
    assert [error.message for error in Draft202012Validator(schema).iter_errors(document)] == []


@pytest.mark.parametrize("words", [("nowhere",), (SAMPLES / "filling", "--alpha", "2"), ("--beta", "x", "nowhere")])
def test_bad_input_is_2_and_one_message(words, capsys):
    code, out, err = said(capsys, *words)
    assert (code, out) == (2, "")
    assert err.strip()


def test_a_strange_file_is_named(tmp_path, capsys):
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "job.toml").write_text('[job]\nid = "demo-1"\n', "utf-8")
    (folder / "observations.csv").write_text("time,kind,subject,value,unit,source,note\n", "utf-8")
    (folder / "holiday.txt").write_text("x", "utf-8")
    code, out, err = said(capsys, folder)
    assert code == 1
    assert "holiday.txt" in err
    assert "Go on" in out
    assert "The log has no time; job demo-1." in out


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_on_a_terminal_it_is_a_table():
    """A real terminal: a pseudo-terminal of 100 columns."""
    import pty
    import subprocess

    ours, theirs = pty.openpty()
    try:
        words = [sys.executable, "-m", "satdiag", "confirm", str(SAMPLES / "partial-package")]
        environment = {**os.environ, "COLUMNS": "100", "TERM": "xterm-256color"}
        with subprocess.Popen(words, stdout=theirs, stderr=theirs, env=environment) as process:
            os.close(theirs)
            theirs = -1
            shown = _all_of(ours)
            assert process.wait(60) == 0
    finally:
        os.close(ours)
        if theirs >= 0:
            os.close(theirs)
    assert "\x1b[" in shown
    assert "Evidence, and what is lacking" in shown
    assert "No restarts" in shown


def _all_of(descriptor):
    parts = []
    while True:
        try:
            part = os.read(descriptor, 65536)
        except OSError:  # Linux: the other end is closed
            break
        if not part:
            break
        parts.append(part)
    return b"".join(parts).decode()
