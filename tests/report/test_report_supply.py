"""The supply in the report: what is drawn is what the findings hold, and the checklist's page is whole."""

from __future__ import annotations

import re
from dataclasses import replace

import plotly.graph_objects as go
import pytest

from satdiag.acceptance.checklist import checklist
from satdiag.report import report_html
from satdiag.report.checklist import checklist_html, checklist_lines, write_checklist
from satdiag.report.local_time import local_time_of
from satdiag.report.wiring.supply import supply_part
from satdiag.report.wiring.supply_figure import HIGHEST_V, LIMITS_V
from satdiag.wiring.supply_codes import CODES
from tests.acceptance.light_findings import light_findings
from tests.report import made
from tests.report.reading import Reader

FOUND = made.full_findings().wiring.supply


def walked(job=None):
    job = job or made.full_job()
    return job, checklist(job, light_findings(job))


# --- the figure --------------------------------------------------------------------------------------------------


def test_the_limits_drawn_are_those_of_the_estimator():
    assert {code: low_v for code, (low_v, _) in CODES.items()} == LIMITS_V
    assert {high_v for _, high_v in CODES.values()} == {HIGHEST_V}


def test_the_figure_is_one_and_shows_each_kind():
    part = supply_part(FOUND)
    (figure,) = part.figures
    go.Figure(figure.spec)  # plotly's own classes take it
    names = [trace["name"] for trace in figure.spec["data"]]
    for name in (
        "reading",
        "lowest value",
        "dip like the start of an engine",
        "dip too brief for a start",
        "dip of unknown shape",
        "restart with a dip",
        "restart, no dip seen",
    ):
        assert names.count(name) == 1
    reading = next(trace for trace in figure.spec["data"] if trace["name"] == "reading")
    assert [y for y in reading["y"] if y is not None] == [p.voltage_v for p in FOUND.points if p.span_s is None]
    lowest = next(trace for trace in figure.spec["data"] if trace["name"] == "lowest value")
    assert lowest["y"] == [9.4, 9.4, None]
    symbols = [trace["marker"]["symbol"] for trace in figure.spec["data"] if trace.get("mode") == "markers"]
    assert len(set(symbols)) == len(symbols)  # no meaning hangs on colour alone


def test_tables_stand_behind_the_figure_and_over_voltage_in_the_open():
    part = supply_part(FOUND)
    dips, restarts, points = part.figures[0].tables
    assert [len(one.rows) for one in (dips, restarts, points)] == [3, 2, len(FOUND.points)]
    assert [cell.text for cell in dips.rows[2]][:3] == ["not known", "14:08:20", "9.4 V"]
    assert len(part.tables) == 1
    assert part.sentences == FOUND.sentences


def test_restarts_alone_make_no_figure():
    part = supply_part(replace(FOUND, points=(), dips=(), over_voltages=()))
    assert (part.figures, part.tables) == ((), ())


def test_a_drawing_keeps_one_offset_where_the_clocks_are_changed():
    """Clocks go back in Chicago on 2 November 2031 at 07:00 UTC (IANA time zone data): 01:59 is followed by 01:00."""
    times = [f"2031-11-02T{clock}:00Z" for clock in ("06:40", "06:50", "07:00", "07:10")]
    points = tuple(replace(FOUND.points[0], at=time) for time in times)
    found = replace(FOUND, points=points, dips=(), over_voltages=(), restarts=())
    (figure,) = supply_part(found, local_time_of(made.full_job())).figures
    reading = next(trace for trace in figure.spec["data"] if trace["name"] == "reading")
    drawn = [x[11:16] for x in reading["x"] if x is not None]
    assert drawn == ["01:40", "01:50", "02:00", "02:10"]
    assert "The clocks were changed meanwhile" in figure.caption


def test_visits_are_drawn_apart():
    late = replace(FOUND.points[0], at=made.at(6 * 3600.0))
    assert len(supply_part(replace(FOUND, points=(*FOUND.points, late))).figures) == 2


# --- the page ----------------------------------------------------------------------------------------------------


def test_the_page_is_whole_and_masks_the_identifier():
    job, found = walked()
    text = checklist_html(job, found)
    reader = Reader(text)
    assert made.RECEIVER_ID not in text
    assert "<script" not in text
    steps = [one for one in reader.elements if "step" in (one.attributes.get("class") or "").split()]
    assert len(steps) == len(found.items)
    boxes = re.findall(r'<svg class="box" role="img" aria-label="([^"]+)"', text)
    assert len(boxes) == len(found.items) + 5  # and the key
    assert boxes.count("proved") == found.counts["proved"] + 1
    for words in ("exhaust gas kills", "Airbag", "Local codes"):
        assert words in text


def test_the_plain_form_has_a_box_for_each_step():
    job, found = walked()
    lines = checklist_lines(job, found)
    boxes = [line[:3] for line in lines if re.match(r"\[.\] ", line)][: len(found.items)]
    marks = {"[x]": "proved", "[!]": "contradicted", "[/]": "partly", "[ ]": "missing", "[-]": "does-not-apply"}
    assert [marks[box] for box in boxes] == [item.state for item in found.items]
    assert made.RECEIVER_ID not in "\n".join(lines)


def test_hostile_words_stay_words(tmp_path):
    sheet = made.SHEET.replace("demo saloon", "<script>alert(1)</script>")
    job, found = walked(made.full_job(sheet=sheet))
    write_checklist(tmp_path / "page.html", job, found)
    assert "<script" not in (tmp_path / "page.html").read_text("utf-8")


# --- in a browser ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [390, 1280])
def test_the_page_fits_a_telephone_and_a_desk(seen, width):
    page, complaints = seen(checklist_html(*walked()), width)
    assert complaints == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.long)])
def test_the_words_on_the_limits_do_not_lie_over_each_other(seen, width):
    job = made.full_job()
    page, _ = seen(report_html(job, made.full_findings()), width)
    rects = page.evaluate(
        "[...document.querySelectorAll('#drawing-supply-1 .annotation-text')].map(part => {"
        "const box = part.getBoundingClientRect(); return [box.left, box.top, box.right, box.bottom]})"
    )
    assert len(rects) >= 4
    for nth, (left, top, right, bottom) in enumerate(rects):
        for other in rects[nth + 1 :]:
            apart = right <= other[0] or other[2] <= left or bottom <= other[1] + 2 or other[3] <= top + 2
            assert apart


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_paper_has_a_few_black_and_white_pages_and_breaks_no_step(seen, paper):
    page, _ = seen(checklist_html(*walked()), 1280, "dark")
    pdf = page.pdf(format=paper)
    assert 3 <= len(re.findall(rb"/Type\s*/Page[^s]", pdf)) <= 8
    page.emulate_media(media="print")
    inks = page.evaluate(
        "[...new Set([...document.querySelectorAll('main *')].map(part => getComputedStyle(part).color))]"
    )
    assert set(inks) == {"rgb(0, 0, 0)"}
    breaks = page.evaluate("[...document.querySelectorAll('.step')].map(part => getComputedStyle(part).breakInside)")
    assert set(breaks) == {"avoid"}
