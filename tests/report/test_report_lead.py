"""The antenna lead in the report: words and tables from the findings, and its page in a real browser."""

import dataclasses

import numpy as np
import plotly.graph_objects as go
import pytest

from satdiag.findings import FeedlineFindings
from satdiag.lead_keys import Feedline
from satdiag.report import report_html
from satdiag.report.wiring.feedline import facts_table, feedline_part, reflections_table, shown_reflections
from satdiag.report.wiring.feedline_page import feedline_html
from satdiag.wiring.feedline import examine, setup_of
from tests.report import made
from tests.wiring.lines import HARMONIC, line_of, noisy, sweep_of, two_faults, wet


def found_of(network, **known):
    lead = Feedline(
        **{"velocity_factor": 0.66, "cable": "rg-174", "expected_length_m": 4.6, "joints_m": (1.0,)} | known
    )
    return examine(sweep_of(network), setup_of(lead))


@pytest.fixture(scope="module")
def broken():
    return found_of(noisy(two_faults(HARMONIC), 50, np.random.default_rng(1)))


def test_the_row_the_figure_and_the_table_say_the_same(broken):
    part = feedline_part(broken)
    assert part.row[:2] == ("antenna lead", "ends before the antenna")
    assert "3.20" in part.row[2]
    assert part.sentences[0] == broken.verdict
    (figure,) = part.figures
    shown = shown_reflections(broken)
    assert len(figure.tables[0].rows) == len(shown)
    texts = [text for trace in figure.spec["data"] for text in trace.get("text", ()) if text]
    assert sorted(texts) == [f"<b>{number}</b>" for number, _ in shown]
    assert "open end" in figure.alt


def test_the_drawing_is_one_that_plotly_takes(broken):
    for found in (
        broken,
        found_of(two_faults(), velocity_factor=None, cable=None),
        made.full_findings().wiring.feedline,
    ):
        (figure,) = feedline_part(found).figures
        go.Figure(figure.spec)


def test_ghosts_are_hollow_and_shapes_differ(broken):
    (figure,) = feedline_part(broken).figures
    symbols = {trace["name"]: trace["marker"]["symbol"] for trace in figure.spec["data"] if "marker" in trace}
    assert symbols == {"open end": "circle", "part comes back": "triangle-up", "echo": "circle-open"}
    assert "echo between 1 and 2" in [row[-1].text for row in reflections_table(broken).rows]


def test_without_a_sweep_worth_drawing_there_is_no_figure():
    found = FeedlineFindings(None, verdict="Cannot tell where the lead ends: too few points.")
    part = feedline_part(found)
    assert part.row == ("antenna lead", "where it ends cannot be told", "")
    assert (part.figures, part.tables) == ((), ())
    assert feedline_part(dataclasses.replace(found, end="none")).row[2] == "no reflection stands out"


def pages():
    rng = np.random.default_rng(5)
    yield "broken", found_of(noisy(two_faults(HARMONIC), 50, rng))
    yield "wet", found_of(noisy(wet(rng), 50, rng), expected_length_m=3.5, joints_m=(1.0, 2.5))
    yield "no velocity factor", found_of(two_faults(), velocity_factor=None, cable=None)
    yield "no figure", FeedlineFindings(None, verdict="Cannot tell.", cautions=("too few points",))


PAGES = list(pages())


@pytest.mark.parametrize(
    ("name", "found", "width"),
    [
        pytest.param(*one, width, id=f"{one[0]}-{width}", marks=[] if (n + wide) % 2 == 0 else pytest.mark.long)
        for n, one in enumerate(PAGES)
        for wide, width in enumerate((390, 1280))
    ],
)
def test_the_page_in_a_browser(seen, name, found, width):
    page, complaints = seen(feedline_html(found, "Sweep demo.s1p", lambda text: text), width)
    assert complaints == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    drawings = page.query_selector_all(".drawing")
    assert len(drawings) == (0 if name == "no figure" else 1)
    for drawing in drawings:
        assert drawing.query_selector_all(".scatterlayer .trace")
        assert drawing.query_selector("svg.main-svg").bounding_box()["width"] <= width
        # Words that name places must not lie over each other, nor over the words of the legend.
        boxes = page.evaluate(
            "[...document.querySelectorAll('.annotation-text, .legendtext')].map(part => {"
            " const box = part.getBoundingClientRect(); return [box.left, box.top, box.right, box.bottom]; })"
        )
        for number, (left, top, right, bottom) in enumerate(boxes):
            for other in boxes[number + 1 :]:
                apart = right <= other[0] or other[2] <= left or bottom <= other[1] + 2 or other[3] <= top + 2
                assert apart, (name, width, (left, top, right, bottom), other)


def test_the_report_of_a_job_shows_the_lead():
    text = report_html(made.full_job(), made.full_findings())
    assert "drawing-antenna-lead" in text
    assert "ends before the antenna" in text


def test_a_fault_on_the_way_is_in_the_row_and_an_end_without_a_middle_in_the_table():
    media = line_of("rg-174", 1, grid=HARMONIC)
    network = media.line(1.5, "m") ** media.resistor(100) ** media.line(3.1, "m") ** media.load(0.3)
    found = found_of(noisy(network, 60, np.random.default_rng(1)), joints_m=())
    part = feedline_part(found)
    assert part.row[1] == "reaches the antenna; a fault on the way"
    assert "a reflection stands out 1.50\u202fm" in part.row[2]
    (shown,) = [
        row[1].text for row in facts_table(found).rows if row[0].text == "return loss of what hangs at the end"
    ]
    low, high = found.end_return_loss_db_90
    assert shown == f"{low:.1f} to {high:.1f} dB"


def test_a_fault_without_a_velocity_factor_is_in_the_row_as_a_range():
    media = line_of("rg-174", 1, grid=HARMONIC)
    network = media.line(1.5, "m") ** media.resistor(100) ** media.line(3.1, "m") ** media.open()
    part = feedline_part(found_of(network, velocity_factor=None, cable=None))
    assert "a fault on the way" in part.row[1]
    assert "a reflection stands out 1.4" in part.row[2]
