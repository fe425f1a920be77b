"""The report's section on other kinds of place: there when a roof, a building or a tree is in question, and safe."""

from __future__ import annotations

import dataclasses

import plotly.graph_objects as go
import pytest

from satdiag.findings import Findings, SiteSky, SkyFindings
from satdiag.report import report_html
from satdiag.report.expect import elsewhere
from satdiag.sky.constellation import Constellation, load_packaged
from satdiag.sky.elsewhere import elsewhere_of
from satdiag.sky.expect import gain_by_moving
from tests.report import made
from tests.report.reading import Reader

HZ = 2322e6  # the only frequency that the packaged demo constellation states for a satellite


def _with_faults(site: SiteSky | None = None, constellation: str | None = "demo-pair", **faults: float) -> Findings:
    """Made findings with what the sky room says of elsewhere for their site, or another one."""
    whole = made.full_findings()
    site = site or whole.sky.sites[0]
    found = elsewhere_of(site, load_packaged(constellation) if constellation else Constellation("bare", ()))
    sky = dataclasses.replace(whole.sky, sites=(site,), elsewhere=found)
    return dataclasses.replace(whole, diagnosis=dataclasses.replace(whole.diagnosis, faults=faults), sky=sky)


def _site_with(**changes) -> SiteSky:
    """The made site with its first satellite alone, changed."""
    site = made.full_findings().sky.sites[0]
    return dataclasses.replace(site, satellites=(dataclasses.replace(site.satellites[0], **changes),))


def test_without_such_a_fault_there_is_no_section():
    assert elsewhere(_with_faults(obstructed=0.04, indoors=0.09)) is None
    assert 'id="elsewhere"' not in report_html(made.full_job(), _with_faults())


def test_the_likely_faults_come_first_with_what_moving_gains():
    found = elsewhere(_with_faults(foliage=0.2, indoors=0.7, obstructed=0.05))
    first, second, weather, caution = found.sentences
    gain = gain_by_moving("indoors", "open-sky", 38.9, HZ)
    assert first == f"Under a roof (70\u202f% probable): {gain.text} towards the satellite 'east', 39° high."
    assert second.startswith("Trees in the way (20\u202f% probable): moving to an open sky")
    assert "no more than" in weather  # of the lowest satellite, 12 deg high
    assert "at 12°" in weather
    assert "not measurements" in caution
    assert len(found.figures) == 1


def test_the_section_stands_after_the_sky_with_a_figure_and_a_table_of_every_satellite():
    reader = Reader(report_html(made.full_job(), _with_faults(indoors=0.9)))
    names = [element.attributes["id"] for element in reader.all("section")]
    assert names[names.index("sky") + 1] == "elsewhere"
    found = elsewhere(_with_faults(indoors=0.9))
    whole, sources = found.figures[0].tables
    # Five kinds of place for the three satellites that have risen; the fourth of the findings has set.
    assert len(whole.rows) == 15
    assert all(len(row) == len(whole.heads) for row in whole.rows)
    go.Figure(found.figures[0].spec)  # plotly's own check of every key
    standings = {row[1].text for row in sources.rows}
    assert {"recommendation", "judgement, no source", "note"} <= standings


@pytest.mark.parametrize("part", ["satellites", "constellation"])
def test_what_is_missing_is_said(part):
    if part == "satellites":
        site = dataclasses.replace(made.full_findings().sky.sites[0], satellites=())
        findings = _with_faults(site, indoors=0.9)
    else:
        findings = _with_faults(constellation=None, indoors=0.9)
    found = elsewhere(findings)
    assert found.missing[0].startswith("What to expect elsewhere is not known")
    assert found.sentences == found.figures == found.tables == ()
    assert found.missing[0] in report_html(made.full_job(), findings)
    calm = dataclasses.replace(findings, diagnosis=dataclasses.replace(findings.diagnosis, faults={"indoors": 0.05}))
    assert elsewhere(calm) is None


def test_findings_without_that_part_have_no_section():
    findings = _with_faults(indoors=0.9)
    assert elsewhere(dataclasses.replace(findings, sky=SkyFindings(findings.sky.sites))) is None


def test_low_satellites_leave_a_sentence_and_the_rest():
    found = elsewhere(_with_faults(_site_with(elevation_deg=4.0), foliage=0.9))
    assert "4 deg is outside" in found.sentences[0]
    assert any("4 deg is outside 7 to 60 deg" in text for text in found.missing)


def test_hostile_names_make_no_element():
    site = _site_with(name="<script>alert(1)</script>", elevation_deg=50.0)
    text = report_html(made.full_job(), _with_faults(site, indoors=0.9))
    assert "<script>alert" not in text


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.long)])
def test_the_figure_stays_inside_the_page(seen, width):
    page, complaints = seen(report_html(made.full_job(), _with_faults(indoors=0.8)), width)
    assert complaints == []
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= width
    texts = page.evaluate(
        "[...document.querySelectorAll('#elsewhere .annotation-text')].map(t => t.getBoundingClientRect().right)"
    )
    assert len(texts) == 5
    assert max(texts) <= width
