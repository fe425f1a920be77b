"""The ring's findings of a job that holds ring.toml."""

import pytest

from satdiag import analyse
from satdiag.findings import RingBlock, RingBreak, RingLink, RingPosition
from satdiag.wiring import estimate_wiring
from tests.helpers import make_job
from tests.wiring.rings import TOML

WHOLE = TOML.replace('lower = "changer.in"', 'lower = "receiver.in"') + (
    '[[plug]]\nposition = 5\nupper = "receiver.out"\nlower = "changer.in"\n'
)


def findings(rows="", text=TOML):
    return estimate_wiring(make_job(rows, documents={"ring.toml": text.encode()}))


def test_the_plan_of_a_job_without_a_row_of_the_ring():
    found = findings().ring
    assert found.state is None
    assert found.plan == "problems"
    assert found.plan_problems == ("the node receiver is wanted on the ring and not plugged yet",)
    assert found.rings == (("head-unit", "amplifier", "telephone", "changer"),)
    assert found.moves == 3
    assert found.blocks[0] == RingBlock(
        "main",
        "upper",
        (
            RingPosition(1, "head-unit.out", "amplifier.in", "ring 1"),
            RingPosition(2, "amplifier.out", "telephone.in", "ring 1"),
            RingPosition(3, "telephone.out", "changer.in", "ring 1"),
            RingPosition(4, "changer.out", "head-unit.in", "ring 1"),
            RingPosition(5, None, None),
        ),
    )
    assert found.links[0] == RingLink("head-unit", "amplifier", 3.0, 1, 3.25, 9.75, 0.5, 30.0, "good")
    assert (found.least_margin_db, found.least_margin_link) == (6.5, "amplifier > telephone")


def test_plugs_of_before_the_fitting_are_said_to_be_so():
    said = "ring.toml has no plug of receiver yet: what it says of the plugs is of before, and was not weighed"
    assert said in findings().could_not
    assert said not in findings(text=WHOLE).could_not


def test_a_ring_plugged_as_wanted():
    found = findings(text=WHOLE).ring
    assert (found.plan, found.plan_problems, found.moves) == ("valid", (), 0)


def test_a_break_from_the_positions_of_the_log():
    found = findings(
        """
        0:00 ring bus open
        1:00 ring position:receiver 0
        1:00 ring position:changer 1
        1:00 ring position:head-unit 2
        """,
        WHOLE,
    ).ring
    assert isinstance(found.break_, RingBreak)
    assert (found.break_.state, found.break_.node, found.break_.upstream) == ("located", "receiver", "telephone")
    assert "the supply or the transmitter of telephone" in found.break_.suspects
    assert [one.position for one in found.blocks[0].positions if one.suspect] == [3]


def test_positions_before_the_ring_was_closed_again_do_not_count():
    found = findings("0:00 ring bus open\n1:00 ring position:receiver 0\n9:00 ring bus closed", WHOLE).ring
    assert (found.break_, found.order_reported) == (None, None)


def test_positions_on_a_closed_ring_tell_the_order():
    rows = "0:00 ring bus closed\n1:00 ring position:head-unit 0\n1:00 ring position:{} {}"
    assert findings(rows.format("changer", 4), WHOLE).ring.order_reported == "as-wanted"
    found = findings(rows.format("changer", 3), WHOLE).ring
    assert found.order_reported == "differs"
    assert found.order_reported_text == (
        "The order of the nodes differs from the wanted one: changer reports 3, wanted 4."
    )
    assert found.break_ is None


def test_a_file_that_lacks_a_node_of_the_ring_is_not_compared_with_its_positions():
    """Every count behind a node that the file does not name is off by one, and tells nothing of the order."""
    found = findings("0:00 ring bus closed\n1:00 ring position:radio 3\n1:00 ring position:changer 5", WHOLE)
    assert found.ring.order_reported is None
    assert any("ring.toml does not name every node of the ring (radio)" in text for text in found.could_not)


def test_contradicting_positions():
    rows = "0:00 ring bus open\n1:00 ring position:receiver 0\n1:00 ring position:changer 0"
    found = findings(rows, WHOLE).ring.break_
    assert found.state == "contradiction"
    assert any("by changer (0) the break would be at the input of changer" in text for text in found.contradictions)


def test_without_a_word_on_the_bus_the_reading_is_said_to_suppose_a_break():
    found = findings("1:00 ring position:receiver 0", WHOLE)
    assert found.ring.break_.node == "receiver"
    assert any("was not reported open" in text for text in found.could_not)


def test_lost_nodes_on_a_second_ring():
    rows = """
        0:00 ring bus closed
        1:00 ring node:telephone absent
        1:00 ring node:amplifier present
        1:00 ring node:receiver present
    """
    found = findings(rows, WHOLE).ring
    assert found.second_ring == ("telephone",)
    assert "if the input plugs of telephone and receiver were exchanged" in found.second_ring_text
    swapped = (
        WHOLE.replace("telephone.in", "x").replace("receiver.in", "telephone.in").replace('"x"', '"receiver.in"')
    )
    by_plugs = findings(rows, swapped).ring
    assert by_plugs.second_ring == ("telephone",)
    assert by_plugs.second_ring_text.startswith("By the plugs as written")
    assert findings(rows.replace("closed", "open"), WHOLE).ring.second_ring == ()


def test_what_is_not_known_is_said():
    bare = '[[node]]\nname = "receiver"\n[[node]]\nname = "head-unit"\n'
    found = findings("1:00 ring position:receiver 0", bare)
    assert found.ring.plan is None
    assert found.ring.break_.state == "unknown"
    said = " | ".join(found.could_not)
    assert "how the ring is plugged today is not written" in said
    assert "neither plugs nor a wanted order are written" in said


@pytest.mark.parametrize("text", [TOML, WHOLE])
def test_the_whole_document_takes_it(text):
    import jsonschema

    from satdiag.findings_schema import findings_schema

    job = make_job("0:00 ring bus open\n1:00 ring position:receiver 0", documents={"ring.toml": text.encode()})
    document = analyse(job).to_dict()
    jsonschema.validate(document, findings_schema())
    assert document["wiring"]["ring"]["break"]["node"] == ("receiver" if text is WHOLE else None)
