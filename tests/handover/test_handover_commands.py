"""`satdiag export` and `satdiag paper` as commands: what they write, what they refuse, and nothing is half done."""

from __future__ import annotations

import errno
import io
import json
import os
import select
import subprocess
import sys
import time

import pytest

from satdiag.cli import run
from satdiag.folder import export_files, job_hash, write_folder
from satdiag.opening import open_job
from satdiag.store import create_job_file
from tests.handover.jobs import RECEIVER_ID, job

LINES = "date 2031-05-03\n14:05 31+ 32- 40?\n14:10 place open-sky\n14:12 level satellite:east 12.1\n"


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "job"
    write_folder(export_files(job()), place)
    return place


@pytest.fixture
def typed(monkeypatch):
    """What comes on standard input, which is no terminal."""

    def set_text(text: str) -> None:
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8"))

    return set_text


# --- export --------------------------------------------------------------------------------------------------------


def test_all_forms_at_once(folder, tmp_path, capsys):
    out = {name: str(tmp_path / name) for name in ("f", "x.xlsx", "x.parquet", "x.json", "x.satjob")}
    words = ["export", str(folder), out["f"], "--spreadsheet", out["x.xlsx"], "--parquet", out["x.parquet"]]
    assert run([*words, "--json", out["x.json"], "--copy", out["x.satjob"]]) == 0
    said = capsys.readouterr().out
    assert len(said.splitlines()) == 6
    wanted = job_hash(job())
    assert job_hash(open_job(out["f"])) == job_hash(open_job(out["x.satjob"])) == wanted
    with open(out["x.json"], encoding="utf-8") as file:
        assert json.load(file)["job_sha256"] == wanted


def test_two_forms_of_one_name_are_refused_before_anything_is_written(folder, tmp_path, capsys):
    out = str(tmp_path / "same")
    assert run(["export", str(folder), out, "--json", out]) == 2
    assert "same name" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job"]


def test_a_name_that_no_letter_or_record_can_hold_is_refused_for_the_bundle_too(folder, tmp_path, capsys):
    for name in ("x" * 101, "A\x1b[31m"):
        assert run(["bundle", str(folder), str(tmp_path / "x.zip"), "--no-pdf", "--by", name]) == 2
        assert run(["letter", str(folder), "--for", "customer", "--from", name]) == 2
    assert "longer than 100" in capsys.readouterr().err
    assert not (tmp_path / "x.zip").exists()


def test_the_csv_masks_the_identifier_unless_asked_for(folder, tmp_path):
    for name, more in (("masked.csv", []), ("full.csv", ["--full-id"])):
        assert run(["export", str(folder), "--spreadsheet", str(tmp_path / name), *more]) == 0
    assert RECEIVER_ID.lower() not in (tmp_path / "masked.csv").read_text("utf-8-sig").lower()
    assert RECEIVER_ID.lower() in (tmp_path / "full.csv").read_text("utf-8-sig").lower()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "Say what to write"),
        (["--spreadsheet", "x.ods"], "--spreadsheet writes FILE.csv or FILE.xlsx, not x.ods"),
        (["--copy", "x.db"], "a job file is named NAME.satjob"),
        (["--json", "taken"], "it is there already"),
        (["--parquet", "none/x"], "no such folder"),
        (["--figures", "x", "--format", "gif"], "'gif' is not one of"),
    ],
)
def test_what_cannot_be_exported_is_told_and_nothing_written(folder, tmp_path, monkeypatch, capsys, words, said):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "taken").write_bytes(b"mine")
    assert run(["export", "job", *words]) == 2
    assert said in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job", "taken"]
    assert (tmp_path / "taken").read_bytes() == b"mine"


@pytest.mark.parametrize(
    ("words", "library", "extra"),
    [
        (["--spreadsheet", "x.xlsx"], "openpyxl", "spreadsheet"),
        (["--parquet", "x.parquet"], "pyarrow", "parquet"),
        (["--figures", "x"], "kaleido", "figures"),
    ],
)
def test_a_missing_extra_is_one_clear_error(folder, tmp_path, monkeypatch, capsys, words, library, extra):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, library, None)
    assert run(["export", "job", *words]) == 2
    assert f'Install it with: pip install "satdiag[{extra}]"' in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


def test_without_a_browser_figures_say_what_to_do(folder, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SATDIAG_BROWSER", "no-such-browser-here")
    assert run(["export", str(folder), "--figures", str(tmp_path / "x")]) == 2
    assert "SATDIAG_BROWSER names no-such-browser-here, which cannot be run" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


# --- the form ------------------------------------------------------------------------------------------------------


def test_the_form_is_written_in_the_language_asked_for(folder, tmp_path, capsys):
    assert run(["paper", str(folder), "--out", str(tmp_path / "f.html"), "--lang", "es"]) == 0
    assert 'lang="es"' in (tmp_path / "f.html").read_text("utf-8")
    assert run(["paper", str(folder), "--out", str(tmp_path / "f.html")]) == 2
    assert "it is there already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "Say where to"),
        (["--yes"], "belong to --enter"),
        (["--enter", "--out", "x.html"], "--enter goes alone"),
        (["--enter", "--from", "none.txt"], "none.txt: cannot be read"),
        (["--enter", "--date", "3 May"], "--date: '3 May' is not a date"),
        (["--enter", "--zone", "here"], "--zone: 'here' is no time zone"),
    ],
)
def test_bad_usage_of_the_form_is_told(folder, tmp_path, monkeypatch, capsys, typed, words, said):
    monkeypatch.chdir(tmp_path)
    typed("")
    assert run(["paper", "job", *words]) == 2
    assert said in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


# --- typed in ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["folder", "file"])
def test_lines_are_shown_and_added(folder, tmp_path, capsys, typed, kind):
    place = folder
    if kind == "file":
        place = tmp_path / "x.satjob"
        create_job_file(place, job())
    before = open_job(place).rows
    typed(LINES)
    assert run(["paper", str(place), "--enter", "--yes"]) == 0
    streams = capsys.readouterr()
    assert "2031-05-03T14:05:00-05:00  channel 31 authorised" in streams.out
    assert "5 observations added, paper-1 to paper-5." in streams.out
    assert "Times are read as America/Chicago" in streams.err
    after = open_job(place).rows
    assert after[: len(before)] == before
    assert [row.subject for row in after[len(before) :]] == ["31", "32", "40", "vehicle", "satellite:east"]


def test_a_wrong_line_writes_nothing(folder, tmp_path, capsys):
    (tmp_path / "form.txt").write_text(LINES + "14:15 place moon\n", encoding="utf-8")
    before = export_files(open_job(folder))
    assert run(["paper", str(folder), "--enter", "--from", str(tmp_path / "form.txt"), "--yes"]) == 2
    assert "form.txt, line 5: 'moon' is not a state of place" in capsys.readouterr().err
    assert export_files(open_job(folder)) == before


def test_without_yes_and_without_a_terminal_nothing_is_written(folder, capsys, typed):
    before = export_files(open_job(folder))
    typed(LINES)
    assert run(["paper", str(folder), "--enter"]) == 2
    assert "say --yes if this is right" in capsys.readouterr().err
    assert export_files(open_job(folder)) == before


def test_blank_lines_alone_write_nothing(folder, capsys, typed):
    typed("\n# a comment\n")
    assert run(["paper", str(folder), "--enter", "--yes"]) == 0
    assert "nothing was written" in capsys.readouterr().out


@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals there")
@pytest.mark.parametrize(("answer", "added"), [("y", 2), pytest.param("n", 0, marks=pytest.mark.long)])
def test_at_a_terminal_it_asks_line_by_line(folder, answer, added):
    import pty

    before = len(open_job(folder).rows)
    master, slave = pty.openpty()
    words = [sys.executable, "-m", "satdiag", "paper", str(folder), "--enter"]
    child = subprocess.Popen(words, stdin=slave, stdout=slave, stderr=slave)
    os.close(slave)
    said = ""
    try:
        for wait_for, text in (
            ("Date on the form", "2031-05-03"),
            ("> ", "14:05 31+ 32-"),
            ("> ", "14:06 31"),
            ("'31' cannot be entered", ""),
            ("Add these 2 observations?", answer),
        ):
            said = _until(master, wait_for)
            os.write(master, f"{text}\n".encode())
        said = _until(master, "observations added" if added else "Nothing was written")
        assert child.wait(60) == 0, said
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
        os.close(master)
    assert len(open_job(folder).rows) == before + added


def _until(master: int, words: str, patience_s: float = 60.0) -> str:
    """What is said up to and with these words."""
    said, until = "", time.monotonic() + patience_s
    while words not in said:
        assert time.monotonic() < until, f"waited for {words!r}, got {said!r}"
        if select.select([master], [], [], 0.2)[0]:
            said += os.read(master, 1000).decode(errors="replace")
    return said


@pytest.mark.skipif(sys.platform == "win32", reason="rights as POSIX has them")
@pytest.mark.parametrize(
    "words",
    [
        ("export", "--json", "x.json"),
        ("paper", "--out", "x.html"),
        ("letter", "--for", "customer", "--out", "x.html"),
    ],
)
def test_a_place_that_cannot_be_written_is_told_with_what_to_do(words, folder, monkeypatch, capsys):
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    for name in ("satdiag.handover.writing.write_new", "satdiag.letter.writing.replace_file"):
        monkeypatch.setattr(name, refuse)
    command, *rest = words
    assert run([command, str(folder), *rest[:-1], str(folder.parent / rest[-1])]) == 2
    said = capsys.readouterr().err
    assert "(Permission denied)" in said
    assert "ame another place." in said
    assert "folder there" not in said
    assert list(folder.parent.iterdir()) == [folder]
