"""Figures as files, drawn by the real browser: whole pictures, each with its text, or one clear error."""

from __future__ import annotations

import struct
import sys
from xml.etree import ElementTree

import pytest

from satdiag.errors import MissingPart, SatdiagError
from satdiag.handover import figures
from satdiag.handover.figures import pictures, report_figures
from tests.handover.jobs import RECEIVER_ID, job_and_findings


@pytest.fixture(scope="module")
def drawn(browser):
    return pictures(*job_and_findings(), "svg", browser)


def test_every_figure_of_the_report_is_a_file_with_its_text(drawn):
    wanted = report_figures(*job_and_findings())
    assert len(wanted) >= 3
    assert [picture.name for picture in drawn] == [f"{n:02d}-{one.name}" for n, one in enumerate(wanted, 1)]
    for picture, figure in zip(drawn, wanted, strict=True):
        root = ElementTree.fromstring(picture.data)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"  # SVG 2, 1.2
        assert float(root.get("width")) == figures.WIDTH_PX
        assert picture.text.startswith(figure.caption)
        assert "America/Chicago" in picture.text
        assert "Job demo-0007." in picture.text
        for table in figure.tables:
            assert table.caption in picture.text


def test_units_stand_in_the_text(drawn):
    texts = {picture.name.partition("-")[2]: picture.text for picture in drawn}
    assert "Axes and units: weight, decibans." in texts["evidence"]
    assert "dB" in next(text for name, text in texts.items() if name.startswith("timeline"))


def test_the_identifier_is_masked(drawn):
    for picture in drawn:
        assert RECEIVER_ID.lower() not in (picture.text + picture.data.decode()).lower()


@pytest.mark.long
def test_png_is_drawn_at_twice_the_size(browser, monkeypatch):
    first = report_figures(*job_and_findings())[:1]
    monkeypatch.setattr(figures, "report_figures", lambda *_: first)
    (picture,) = pictures(*job_and_findings(), "png", browser)
    assert picture.data[:8] == b"\x89PNG\r\n\x1a\n"  # ISO/IEC 15948, 5.2; width and height in the first chunk, 11.2.2
    width, height = struct.unpack(">II", picture.data[16:24])
    assert (width, height) == (2 * figures.WIDTH_PX, 2 * first[0].spec["layout"]["height"])


def test_without_the_library_the_extra_is_named(monkeypatch, browser):
    monkeypatch.setitem(sys.modules, "kaleido", None)
    with pytest.raises(MissingPart, match=r'pip install "satdiag\[figures\]"'):
        pictures(*job_and_findings(), "png", browser)


def test_without_a_browser_it_says_what_to_do():
    with pytest.raises(SatdiagError, match="Install Chromium, Chrome or Edge, or name its program in"):
        pictures(*job_and_findings(), "png", None)


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands in for the browser")
@pytest.mark.parametrize("does", ["exit 3", pytest.param("exec sleep 3600", marks=pytest.mark.long)])
def test_a_browser_that_fails_or_hangs_is_given_up(tmp_path, monkeypatch, does):
    fake = tmp_path / "browser"
    fake.write_text(f"#!/bin/sh\n{does}\n")
    fake.chmod(0o755)
    monkeypatch.setattr(figures, "START_S", 3)
    monkeypatch.setattr(figures, "ONE_S", 0.1)
    with pytest.raises(SatdiagError, match="could not be drawn with"):
        pictures(*job_and_findings(), "png", fake)
