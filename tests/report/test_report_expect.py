"""The report's section on other kinds of place: there when a roof, a building or a tree is in question, and safe."""

from __future__ import annotations

import dataclasses

import plotly.graph_objects as go
import pytest

from satdiag.findings import Findings, SkyFindings
from satdiag.report import report_html
from satdiag.report.expect import elsewhere
from satdiag.rows import Row
from satdiag.sky.expect import gain_by_moving
from tests.report import made
from tests.report.reading import Reader

HZ = 2322e6  # the only frequency that the packaged demo constellation states for a satellite


def _with_faults(**faults: float) -> Findings:
    whole = made.full_findings()
    return dataclasses.replace(whole, diagnosis=dataclasses.replace(whole.diagnosis, faults=faults))


def test_without_such_a_fault_there_is_no_section():
    assert elsewhere(made.full_job(), _with_faults(obstructed=0.04, indoors=0.09)) is None
    assert 'id="elsewhere"' not in report_html(made.full_job(), _with_faults())


def test_the_likely_faults_come_first_with_what_moving_gains():
    found = elsewhere(made.full_job(), _with_faults(foliage=0.2, indoors=0.7, obstructed=0.05))
    first, second, weather, caution = found.sentences
    gain = gain_by_moving("indoors", "open-sky", 38.9, HZ)
    assert first == f"Under a roof (70\u202f% probable): {gain.text} towards east, 39° high."
    assert second.startswith("Trees in the way (20\u202f% probable): moving outdoors")
    assert "no more than" in weather  # of the lowest satellite, 12 deg high
    assert "at 12°" in weather
    assert "not measurements" in caution
    assert len(found.figures) == 1


def test_the_section_stands_after_the_sky_with_a_figure_and_a_table_of_every_satellite():
    reader = Reader(report_html(made.full_job(), _with_faults(indoors=0.9)))
    names = [element.attributes["id"] for element in reader.all("section")]
    assert names[names.index("sky") + 1] == "elsewhere"
    found = elsewhere(made.full_job(), _with_faults(indoors=0.9))
    whole, sources = found.figures[0].tables
    # Five kinds of place for the three satellites that have risen; the fourth of the findings has set.
    assert len(whole.rows) == 15
    assert all(len(row) == len(whole.heads) for row in whole.rows)
    go.Figure(found.figures[0].spec)  # plotly's own check of every key
    standings = {row[1].text for row in sources.rows}
    assert {"recommendation", "judgement, no source", "note"} <= standings


@pytest.mark.parametrize("part", ["satellites", "constellation"])
def test_what_is_missing_is_said(part):
    job, findings = made.full_job(), _with_faults(indoors=0.9)
    if part == "satellites":
        findings = dataclasses.replace(findings, sky=SkyFindings())
    else:
        job = made.full_job(sheet=made.SHEET.replace('constellation = "demo-pair"\n', ""))
    found = elsewhere(job, findings)
    assert found.missing[0].startswith("What to expect elsewhere is not known")
    assert found.sentences == found.figures == found.tables == ()
    assert found.missing[0] in report_html(job, findings)


def test_low_satellites_leave_a_sentence_and_the_rest():
    findings = _with_faults(foliage=0.9)
    site = findings.sky.sites[0]
    low = dataclasses.replace(site.satellites[0], elevation_deg=4.0)
    findings = dataclasses.replace(findings, sky=SkyFindings((dataclasses.replace(site, satellites=(low,)),)))
    found = elsewhere(made.full_job(), findings)
    assert "4 deg is outside" in found.sentences[0]
    assert any("4 deg is outside 7 to 60 deg" in text for text in found.missing)


def test_the_site_where_the_vehicle_stood_last_counts():
    findings = _with_faults(indoors=0.9)
    site = findings.sky.sites[0]
    north = dataclasses.replace(site.satellites[0], elevation_deg=20.0)
    ramp = dataclasses.replace(site, name="ramp", satellites=(north,))
    findings = dataclasses.replace(findings, sky=SkyFindings((site, ramp)))
    sheet = made.SHEET + '\n[[site]]\nname = "ramp"\nlatitude_deg = 60.0\nlongitude_deg = -96.1\n'
    moved = made.full_job(Row(made.at(3000), "site", "vehicle", "ramp", source="page"), sheet=sheet)
    assert "20° high" in elsewhere(moved, findings).sentences[0]
    assert "39° high" in elsewhere(made.full_job(sheet=sheet), findings).sentences[0]


def test_hostile_names_make_no_element():
    findings = _with_faults(indoors=0.9)
    site = findings.sky.sites[0]
    hostile = dataclasses.replace(site.satellites[0], name="<script>alert(1)</script>", elevation_deg=50.0)
    sky = SkyFindings((dataclasses.replace(site, satellites=(hostile,)),))
    text = report_html(made.full_job(), dataclasses.replace(findings, sky=sky))
    assert "<script>alert" not in text


@pytest.mark.parametrize("width", [390, 1280])
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
