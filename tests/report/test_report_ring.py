"""The ring in the report: what is said, the drawing against plotly's own classes, the table behind, hostile words."""

import dataclasses

import plotly.graph_objects as go
import pytest

from satdiag.findings import RingBlock, RingBreak, RingFindings, RingLink, RingPosition
from satdiag.report.wiring.ring import ring_part
from satdiag.report.wiring.ring_figure import ring_figure
from satdiag.report.wiring.ring_page import break_page, check_page, plan_page, ring_html
from satdiag.report.wiring.ring_text import blocks_lines
from satdiag.ring_file import parse_ring
from satdiag.wiring import estimate_wiring
from satdiag.wiring.ring import check_ring, locate_break, order_with, plan_ring
from tests.helpers import make_job
from tests.report import made
from tests.wiring import rings
from tests.wiring.rings import ring_of_cells

FULL = made.full_findings().wiring.ring


def test_a_ring_without_a_plan_is_one_row():
    part = ring_part(RingFindings("open", ("a",), ("b",), "lost", 95.0))
    assert part.row == (
        "optical ring",
        "open",
        "answer: a; do not answer: b; other sources do not work; open for 2\u202fmin in all",
    )
    assert (part.sentences, part.figures, part.tables) == ((), (), ())


def test_a_sound_ring_that_waits_for_its_new_node_is_not_called_wrong():
    waits = estimate_wiring(make_job("", documents={"ring.toml": rings.TOML.encode()})).ring
    part = ring_part(waits)
    assert part.row[1] == "not known; closed as plugged; receiver still to be put in"
    assert "one closed ring, receiver still to be put in" in part.figures[0].caption
    assert check_page(parse_ring(rings.TOML), check_ring(parse_ring(rings.TOML))).title == (
        "Closed as plugged; receiver still to be put in"
    )
    open_ring = parse_ring(rings.TOML.replace('lower = "head-unit.in"', ""))
    assert check_page(open_ring, check_ring(open_ring)).title == "Plugs are wrong"


def test_an_unknown_break_is_said_once_with_its_reason():
    file = parse_ring('[[node]]\nname = "receiver"\n')
    page = break_page(file, locate_break(file, {"receiver": 1}), {"receiver": 1})
    assert page.title == "Where it is broken is unknown"
    assert page.answer == "Neither plugs nor a wanted order are written: the order of the nodes is not known."
    assert not any("unknown" in text for text in (page.answer, *page.said))


def test_everything_known_is_said():
    part = ring_part(FULL)
    assert part.row[1] == "closed; plugs are wrong"
    assert "least optical margin 9.75\u202fdB (head-unit > receiver)" in part.row[2]
    said = " ".join(part.sentences)
    for words in (
        "Optical ring: the node amplifier is looped on itself",
        "At least 2 plug moves lead to the wanted order",
        "point to a break between the output of head-unit and the input of receiver",
        "would stand on a second ring",
        "up to 0.5\u202fdB more than the receiver bears",
        "A bend on the link head-unit > receiver is tight",
    ):
        assert words in said
    assert [whole.heads[1] for whole in part.tables] == ["suspect", "test", "fibre"]
    assert [cell.text for cell in part.tables[2].rows[1]] == ["receiver > head-unit"] + ["not known"] * 7


def test_a_contradiction_and_an_unknown_break():
    clash = RingBreak("contradiction", None, None, "plugs", contradictions=("by a (0) it is here", "by b (0) there"))
    said = ring_part(RingFindings("open", break_=clash)).sentences
    assert said == (
        "The positions that the nodes reported contradict each other.",
        "By a (0) it is here.",
        "By b (0) there.",
    )
    unknown = RingBreak("unknown", None, None, None)
    assert ring_part(RingFindings("open", break_=unknown)).sentences == ("Where the ring is broken is unknown.",)


def test_a_link_that_lacks_light():
    link = RingLink("a", "b", 60.0, 3, 22.5, -9.5, -0.1, 10.0, "too-tight")
    assert ring_part(RingFindings(None, links=(link,))).sentences == (
        "The link a > b may lack light: 9.5\u202fdB short in the worst case.",
        "A bend on the link a > b is too tight: lay it wider.",
    )


def test_the_drawing_is_plotly_s_and_shows_every_plug():
    figure = ring_part(FULL).figures[0]
    go.Figure(figure.spec)  # raises for anything that plotly does not know
    drawn = {trace["name"]: trace for trace in figure.spec["data"]}
    assert drawn["ring 1"]["marker"]["symbol"] != drawn["ring 2"]["marker"]["symbol"]
    assert [text.strip() for text in drawn["ring 1"]["text"]] == ["head-unit", "receiver", "receiver", "head-unit"]
    assert [text.strip() for text in drawn["ring 2"]["text"]] == ["amplifier", "amplifier"]
    assert [text.strip() for text in drawn["no light passes"]["text"]] == ["! changer.in"]
    assert len(drawn["a break may be here"]["x"]) == 1
    assert "wrong row" in figure.caption
    rows = [[cell.text for cell in row] for row in figure.tables[0].rows]
    assert rows[0] == ["main", "1", "head-unit.out", "receiver.in", "ring 1", "a break may be here"]
    assert rows[3] == ["main", "4", "changer.in", "free", "no light passes", ""]
    assert rows[4] == ["main", "5", "free", "free", "free socket", ""]


@pytest.mark.parametrize("row", ["upper", "lower"])
def test_light_runs_from_left_to_right_whichever_row_takes_outputs(row):
    upper, lower = ("a.out", "b.in") if row == "upper" else ("b.in", "a.out")
    block = RingBlock("main", row, (RingPosition(1, upper, lower, "ring 1"),))
    drawn = {trace["name"]: trace for trace in ring_figure("x", "A ring.", (block,)).spec["data"]}
    left, right = sorted(zip(drawn["ring 1"]["x"], drawn["ring 1"]["text"], strict=True))
    assert (left[1].strip(), right[1].strip()) == ("a", "b")
    tail, head, _ = drawn["light, ring 1"]["x"]
    assert left[0] < tail < head < right[0]
    assert blocks_lines((block,))[2] == f"  1  {'a.out':14}  ->  b.in"


def test_many_free_positions_take_one_line():
    block = RingBlock("main", "upper", tuple(RingPosition(n, None, None) for n in range(1, 65)))
    spec = ring_figure("x", "A ring.", (block,)).spec
    words = next(trace for trace in spec["data"] if trace["name"] == "words")["text"]
    assert "1 to 64: free" in words
    assert spec["layout"]["height"] < 250


def test_hostile_names_stay_text():
    block = RingBlock("<b>x</b>", "upper", (RingPosition(1, "a&b.out", "<i>.in", "ring 1"),))
    spec = ring_figure("x", "A ring.", (block,)).spec
    texts = [text for trace in spec["data"] for text in trace.get("text", ())]
    assert any("&lt;b&gt;x" in text for text in texts)
    assert any("a&amp;b" in text for text in texts)


def test_the_page_of_a_plan_has_each_thing_once():
    file, order = order_with(ring_of_cells(rings.BEFORE, "HAPC"), "T", "P")
    page = ring_html(plan_page(plan_ring(file, order)))
    for words in (
        "3 plugs to move",
        "C.IN: now main 3 lower, to main 5 lower",
        "The way back",
        "Airbag and belt wiring",
        "white card",
    ):
        assert words in page
    assert page.count('class="drawing"') == 2
    words = page.split("<body>")[1].split("<script")[0]
    assert words.count("Never look into a fibre") == 1
    assert "Do not look into an open fibre" not in words
    assert "drains the battery" not in words
    nothing = ring_html(plan_page(plan_ring(ring_of_cells(rings.TARGET))))
    assert "Nothing to move" in nothing
    assert "Before you touch a plug" not in nothing


def test_a_page_masks_what_it_is_told_to():
    file = dataclasses.replace(ring_of_cells(rings.TARGET))
    page = ring_html(plan_page(plan_ring(file)), lambda text: text.replace("H > A", "•"))
    assert "H &gt; A" not in page
