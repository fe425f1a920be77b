"""The report as a PDF by a real browser: one first page, tagged, its words in it; nothing lost where it cannot be."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pypdf
import pytest
from click.testing import CliRunner

import satdiag
import satdiag.cli as command_line
from satdiag.errors import SatdiagError
from satdiag.report import browser, report_html
from satdiag.report.browser import NoBrowser, find_browser, is_whole, pdf_or_page, print_pdf
from satdiag.report.sheets import Paper
from tests.recorder.devices import at_some_pace
from tests.report.conftest import browser_path

SAMPLES = Path(__file__).parents[2] / "sample_logs"
SHEETS = {"A4": (595, 842), "letter": (612, 792)}
"""Sheets in points: ISO 216, ANSI/ASME Y14.1."""

posix = pytest.mark.skipif(sys.platform == "win32", reason="the stand-in for a browser is a script of a POSIX shell")


@pytest.fixture
def printing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A browser to print with, the one that the other tests of the report use."""
    found = browser_path()
    if found is None:
        why = "no Chromium on this machine: install it, or name it in SATDIAG_CHROMIUM, to try the PDF"
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    monkeypatch.setenv(browser.VARIABLE, found)


@pytest.fixture
def no_browser(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A computer without a browser: an empty search path, and none in the usual places."""
    monkeypatch.delenv(browser.VARIABLE, raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    for name in ("_LINUX", "_MAC", "_WINDOWS"):
        monkeypatch.setattr(browser, name, ())


def stand_in(folder: Path, script: str) -> str:
    """An executable that is called in a browser's place."""
    place = folder / "browser"
    place.write_text(f"#!/bin/sh\n{script}\n")
    place.chmod(0o755)
    return str(place)


def check_first_page(pdf: pypdf.PdfReader) -> None:
    """The first page holds the verdict down to the last fact, the second begins with the first section."""
    assert "Places" in pdf.pages[0].extract_text()
    assert pdf.pages[1].extract_text().startswith("The channels")


# --- the sheet ---------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("printing")
def test_the_command_prints_one_first_page_and_all_the_rest_tagged_over_an_older_pdf(tmp_path):
    """Tagged: the catalog's MarkInfo says Marked, and there is a structure tree (ISO 32000-2, 14.7 and 14.8)."""
    place = tmp_path / "out.pdf"
    place.write_bytes(b"%PDF-1.4 old")
    said = CliRunner().invoke(command_line.cli, ["analyse", str(SAMPLES / "filling"), "--pdf", str(place)], obj={})
    assert said.exit_code == 0
    assert f"report written: {place}" in said.stderr
    assert is_whole(place.read_bytes())
    assert os.listdir(tmp_path) == ["out.pdf"]
    pdf = pypdf.PdfReader(place)
    check_first_page(pdf)
    root = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"].lower() == "en-gb"
    assert "/StructTreeRoot" in root
    job = satdiag.open_job(SAMPLES / "filling")
    assert satdiag.analyse(job).verdict.text in " ".join(pdf.pages[0].extract_text().split())
    words = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
    assert f"Printed here: 200 of {len(job.rows)} rows." in words
    assert job.sheet.receiver.id not in words
    assert job.sheet.receiver.id[-3:] in words


@pytest.mark.long
@pytest.mark.usefixtures("printing")
@pytest.mark.parametrize("sample", sorted(place.name for place in SAMPLES.iterdir()))
def test_the_first_page_of_every_sample_is_one_sheet(sample, tmp_path):
    job = satdiag.open_job(SAMPLES / sample)
    page = report_html(job, satdiag.analyse(job))
    papers: dict[str, Paper] = {"A4": "a4", "letter": "letter"}
    for sheet, (width, height) in SHEETS.items():
        print_pdf(page, tmp_path / "report.pdf", papers[sheet])
        pdf = pypdf.PdfReader(tmp_path / "report.pdf")
        assert float(pdf.pages[0].mediabox.width) == pytest.approx(width, abs=1.5)
        assert float(pdf.pages[0].mediabox.height) == pytest.approx(height, abs=1.5)
        check_first_page(pdf)


# --- where it cannot be ------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("no_browser")
def test_without_a_browser_the_page_is_written_beside_and_said_in_one_line(tmp_path):
    assert find_browser() is None
    place = tmp_path / "out.pdf"
    said = CliRunner().invoke(
        command_line.cli, ["analyse", str(SAMPLES / "partial-package"), "--pdf", str(place)], obj={}
    )
    assert said.exit_code == 0
    assert [line for line in said.stderr.splitlines() if "no browser to make a PDF with" in line]
    assert not place.exists()
    assert (tmp_path / "out.html").read_text("utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.usefixtures("no_browser")
def test_print_pdf_without_a_browser_says_so(tmp_path):
    with pytest.raises(NoBrowser, match="Chromium, Chrome or Edge"):
        print_pdf("<!doctype html>", tmp_path / "out.pdf")


def test_a_file_that_is_no_pdf_is_not_written_over(tmp_path):
    place = tmp_path / "job.satjob"
    place.write_bytes(b"SQLite format 3\x00")
    for write in (print_pdf, pdf_or_page):
        with pytest.raises(SatdiagError, match="is no PDF, and is not written over"):
            write("<!doctype html><p>new", place)
    assert place.read_bytes() == b"SQLite format 3\x00"


def test_a_browser_that_is_not_there_is_named(tmp_path, monkeypatch):
    monkeypatch.setenv(browser.VARIABLE, str(tmp_path / "nothing"))
    with pytest.raises(NoBrowser, match=r"SATDIAG_BROWSER names .*nothing, which cannot be run"):
        pdf_or_page("<!doctype html>", tmp_path / "out.pdf")
    assert os.listdir(tmp_path) == []


@posix
def test_a_browser_that_hangs_is_stopped_with_its_children(tmp_path, monkeypatch):
    monkeypatch.setenv(browser.VARIABLE, stand_in(tmp_path, f"sleep 3600 & echo $! > {tmp_path}/child; wait"))
    at_some_pace(lambda slowly: it_is_stopped(tmp_path, monkeypatch, 0.5 * slowly))


def it_is_stopped(tmp_path, monkeypatch, limit_s):
    monkeypatch.setattr(browser, "TIME_LIMIT_S", limit_s)
    with pytest.raises(SatdiagError, match="it did not finish within"):
        print_pdf("<!doctype html>", tmp_path / "out.pdf")
    found = tmp_path / "child"
    assert found.exists(), "it was stopped before it had begun"
    assert found.read_text()
    child = int(found.read_text())
    for _ in range(1200):  # the system takes a moment to bury it
        if not _lives(child):
            break
        time.sleep(0.05)
    assert not _lives(child)
    assert not (tmp_path / "out.pdf").exists()


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{process}/stat")
    return not (state.exists() and state.read_text().rpartition(")")[2].split()[0] == "Z")


@posix
def test_a_browser_that_fails_leaves_the_old_pdf(tmp_path, monkeypatch):
    monkeypatch.setenv(browser.VARIABLE, stand_in(tmp_path, "echo no display; exit 3"))
    place = tmp_path / "out.pdf"
    place.write_bytes(b"%PDF-1.4 old")
    with pytest.raises(SatdiagError, match=r"it ended with code 3: no display"):
        print_pdf("<!doctype html>", place)
    assert place.read_bytes() == b"%PDF-1.4 old"


@posix
def test_half_a_pdf_is_not_taken(tmp_path, monkeypatch):
    script = 'for one in "$@"; do case $one in --print-to-pdf=*) printf "%%PDF-1.7 half" > "${one#*=}";; esac; done'
    monkeypatch.setenv(browser.VARIABLE, stand_in(tmp_path, script))
    with pytest.raises(SatdiagError, match="made no PDF"):
        print_pdf("<!doctype html>", tmp_path / "out.pdf")
    assert not (tmp_path / "out.pdf").exists()
