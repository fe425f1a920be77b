"""The feed in the report and on its own page: figures that plotly takes, in a browser, wide and narrow."""

import dataclasses
from itertools import pairwise

import plotly.graph_objects as go
import pytest

from satdiag.report.wiring.feed import feed_part
from satdiag.report.wiring.feed_adaptor import adaptor_part
from satdiag.report.wiring.feed_page import feed_html
from satdiag.report.wiring.feed_rise import rise_part
from satdiag.wiring.feed import FeedFindings, feed_findings
from tests.helpers import make_job
from tests.report import made

DUAL = """
    0:00 place vehicle open-sky
    1:00 bias voltage:satellite 4.6 V
    1:02 bias current:satellite 41 mA
    1:30 bias voltage:repeater 4.8 V
    1:32 bias current:repeater 14.6 mA
    2:10 lock satellite no
    2:20 lock satellite no
    2:30 lock satellite no
    2:20 lock repeater yes
    4:00 feed bias off
    4:05 noise receiver 30 dB
    4:05 bias current:satellite 0 mA
    4:10 feed bias on
    4:15 noise receiver 34 dB
"""
SHEET = '[receiver]\nid = "DEMO0000A7"\nbias_nominal_v = 5.0\nantenna_lead = "dual"\nadaptor = "none"\n'


@pytest.fixture(scope="module")
def found():
    whole = made.full_findings().wiring
    return FeedFindings(whole.bias, whole.noise_rise, whole.adaptor, ("one thing, said",))


def parts_of(found):
    return feed_part(found.bias), rise_part(found.noise_rise), adaptor_part(found.adaptor)


def test_every_part_has_a_row_and_a_sentence(found):
    rows = [part.row for part in parts_of(found)]
    assert [row[:2] for row in rows] == [
        ("antenna feed", "normal"),
        ("noise with the feed switched on", "it rises too little"),
        ("conductor at the receiver", "the wrong one of two"),
    ]
    assert all(part.sentences for part in parts_of(found))


def test_plotly_itself_takes_the_figures_and_each_has_its_tables(found):
    figures = [figure for part in parts_of(found) for figure in part.figures]
    assert [figure.name for figure in figures] == ["feed", "noise-rise"]
    for figure in figures:
        go.Figure(figure.spec)
        assert figure.tables
        assert figure.caption.endswith(".")
        assert figure.alt.endswith(".")


def test_the_learnt_window_is_hatched_and_readings_differ_in_shape(found):
    spec = feed_part(found.bias).figures[0].spec
    hatched = [trace for trace in spec["data"] if trace.get("fillpattern", {}).get("shape")]
    assert [trace["name"] for trace in hatched] == ["learnt as usual"]
    symbols = {trace["name"]: trace["marker"]["symbol"] for trace in spec["data"] if "marker" in trace}
    assert symbols == {
        "while it worked": ["circle"],
        "not known to work": ["triangle-up"],
        "feed or receiver off": "x-thin-open",
        "at the end": "star-diamond",
    }


def test_the_regions_are_those_of_the_findings(found):
    shapes = feed_part(found.bias).figures[0].spec["layout"]["shapes"]
    box = shapes[-1]
    windows = found.bias.leads[0].windows
    assert (box["x0"] ** 2, box["x1"] ** 2) == pytest.approx(windows.normal_ma, abs=0.01)
    assert (box["y0"], box["y1"]) == windows.normal_v


def test_an_open_end_is_no_number(found):
    table = "".join(cell.text for part in parts_of(found) for one in part.tables for row in one.rows for cell in row)
    assert "None" not in table
    assert "nan" not in table


def test_nothing_known_makes_no_figure(found):
    bare = dataclasses.replace(found.bias, leads=(), readings=())
    assert feed_part(bare).figures == ()
    assert feed_part(bare).tables == ()


@pytest.mark.parametrize(
    ("width", "scheme"),
    [
        (390, "dark"),
        (1280, "light"),
        *(pytest.param(*one, marks=pytest.mark.long) for one in ((390, "light"), (1280, "dark"))),
    ],
)
def test_the_page_in_a_browser(seen, width, scheme):
    job = make_job(DUAL, SHEET)
    page, complaints = seen(feed_html(job, feed_findings(job)), width, scheme)
    assert complaints == []
    assert page.locator(".drawing svg.main-svg").count() >= 2
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    labels = page.locator("#drawing-feed .annotation-text").all_text_contents()
    assert labels[:5] == ["open", "low", "normal", "high", "short"]
    boxes = [box.bounding_box() for box in page.locator("#drawing-feed .annotation-text").all()][:5]
    for one, other in pairwise(boxes):
        assert one["x"] + one["width"] <= other["x"] + 1


def test_a_page_of_nothing(seen):
    job = make_job("0:00 note - a")
    page, complaints = seen(feed_html(job, feed_findings(job)), 390)
    assert complaints == []
    assert "Nothing of the feed was logged." in page.inner_text("main")


def test_the_identifier_is_masked():
    job = make_job(DUAL, SHEET)
    hostile = dataclasses.replace(feed_findings(job).adaptor, text="<b>DEMO0000A7</b>")
    text = feed_html(job, feed_findings(job)._replace(adaptor=hostile))
    assert "DEMO0000A7" not in text
    assert "<b>•" not in text


def test_the_headline_of_two_leads_in_the_same_state_names_both():
    rows = DUAL.replace("14.6 mA", "33 mA").replace("4:05 bias current:satellite 0 mA\n", "")
    row = feed_part(feed_findings(make_job(rows, SHEET)).bias).row
    assert row[:2] == ("antenna feed, all leads", "normal")
    assert "repeater 4.80\u202fV" in row[2]
    assert "satellite 4.60\u202fV" in row[2]
