"""The checklist uses ring.toml, positions reported on the ring, and the sweep; and leaves safety to the hand.

The sweeps are computed with scikit-rf from our own model of a line.
"""

import pytest

from satdiag.acceptance.checklist import checklist
from satdiag.report.checklist import checklist_lines
from tests.acceptance.light_findings import light_findings
from tests.helpers import make_job
from tests.wiring.lines import line_of, text_of
from tests.wiring.rings import TOML

WHOLE = TOML.replace('lower = "changer.in"', 'lower = "receiver.in"') + (
    '[[plug]]\nposition = 5\nupper = "receiver.out"\nlower = "changer.in"\n'
)
ALONE = TOML + '[[plug]]\nposition = 5\nupper = "receiver.out"\nlower = "receiver.in"\n'
ROW = WHOLE.replace('upper = "receiver.out"\nlower = "changer.in"', 'upper = "changer.in"\nlower = "receiver.out"')
ORDER = (
    WHOLE.replace("amplifier.in", "x.in")
    .replace('lower = "telephone.in"', 'lower = "receiver.in"')
    .replace('upper = "telephone.out"\nlower = "receiver.in"', 'upper = "telephone.out"\nlower = "changer.in"')
    .replace('upper = "receiver.out"\nlower = "changer.in"', 'upper = "receiver.out"\nlower = "telephone.in"')
    .replace("x.in", "amplifier.in")
)


def walk(rows="", ring=None, sweep=None, sheet="", lineup=None):
    documents = {"ring.toml": ring and ring.encode(), "feedline.s1p": sweep}
    documents = {name: data for name, data in documents.items() if data}
    return checklist(*_both(make_job(rows, sheet, lineup, documents=documents)))


def _both(job):
    return job, light_findings(job)


def item(found, key):
    return next(one for one in found.items if one.key == key)


# --- the plugs ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ring", "rows", "state", "words"),
    [
        (None, "", "missing", "No ring.toml"),
        (WHOLE, "", "proved", "one closed ring in the wanted order"),
        (WHOLE.split("\n", 2)[2], "", "partly", "wanted order is not written"),
        (TOML, "", "missing", "receiver not plugged yet"),
        (ALONE, "", "contradicted", "the plugs make 2 separate rings"),
        (ALONE, "0:00 ring node:receiver present", "partly", "Yet the receiver answers"),
        (ORDER, "", "contradicted", "its order is"),
        (ROW, "", "partly", "The light passes the wanted order all the same"),
        (WHOLE.replace('lower = "head-unit.in"\n', ""), "", "contradicted", "the ring is open"),
    ],
    ids=["none", "whole", "no order", "before", "two rings", "stale", "order", "row", "open"],
)
def test_the_plugs_by_ring_toml(ring, rows, state, words):
    found = item(walk(rows, ring), "plugs")
    assert found.state == state
    assert words in found.text
    assert found.seen == ("ring.toml" if ring else "")


TOLD = ("head-unit 0", "amplifier 1", "telephone 2", "receiver 3", "changer 4")


@pytest.mark.parametrize(
    ("positions", "ring", "state"),
    [
        (TOLD, TOML, "proved"),  # every node told its place: more than a file of before the fitting
        (TOLD[:3], TOML, "partly"),
        (("receiver 2",), WHOLE, "contradicted"),
    ],
)
def test_positions_on_a_closed_ring_tell_its_order(positions, ring, state):
    rows = "\n".join(["0:00 ring bus closed", *(f"1:00 ring position:{told}" for told in positions)])
    found = item(walk(rows, ring), "plugs")
    assert found.state == state
    assert found.seen.startswith("optical ring, position ")
    assert found.rows


def test_lost_nodes_that_fit_a_second_ring_are_named_with_it():
    rows = "0:00 ring bus closed\n1:00 ring node:telephone absent\n1:00 ring node:amplifier present"
    found = walk(rows, WHOLE)
    assert "if the input plugs of telephone and receiver were exchanged" in item(found, "other-nodes").text
    assert item(found, "plugs").state == "partly"


@pytest.mark.parametrize(
    ("positions", "ring", "state", "words"),
    [
        (("telephone 0", "head-unit 3"), WHOLE, "proved", "output of amplifier and the input of telephone"),
        (("telephone 0", "amplifier 0"), WHOLE, "partly", "contradict each other"),
        (("telephone 0",), None, "partly", "add ring.toml"),
        ((), WHOLE, "missing", "No position"),
    ],
)
def test_the_place_of_a_break_is_found_only_where_positions_point_to_one(positions, ring, state, words):
    rows = "\n".join(["0:00 ring bus open", *(f"1:00 ring position:{told}" for told in positions)])
    found = item(walk(rows, ring), "break-test")
    assert found.state == state
    assert words in found.text


# --- the lead ----------------------------------------------------------------------------------------------------

SHEET = '[feedline]\nvelocity_factor = 0.66\ncable = "rg-174"\nexpected_length_m = 4.6\n'


def swept(length_m, load, joint_pf=0.0):
    """A lead with a load at its end; with a capacitance across it at 1.5 m if one is named."""
    media = line_of("rg-174", 1)
    end = media.load(load)
    if not joint_pf:
        return text_of(media.line(length_m, "m") ** end)
    joint = media.shunt_capacitor(joint_pf * 1e-12)
    return text_of(media.line(1.5, "m") ** joint ** media.line(length_m - 1.5, "m") ** end)


@pytest.mark.parametrize(
    ("sweep", "rows", "state"),
    [
        (None, "", "missing"),
        (swept(4.6, 0.3), "", "proved"),
        (swept(2.0, 1.0), "", "contradicted"),
        (swept(7.5, 1.0), "", "partly"),
        (swept(4.6, 0.3, joint_pf=1.0), "", "partly"),
        (swept(4.6, 0.3), "0:00 swap lead better", "partly"),
    ],
    ids=["none", "whole", "ends before", "longer", "joint", "lead exchanged"],
)
def test_the_lead_by_its_sweep(sweep, rows, state):
    found = item(walk(rows, sweep=sweep, sheet=SHEET), "sweep")
    assert found.state == state
    assert found.seen == ("feedline.s1p" if sweep else "")
    assert ("ends at" in found.text or "reaches" in found.text) == (sweep is not None)


# --- what the channels do not prove, and plain words -------------------------------------------------------------

LINEUP = "31,Example,music,music\n32,Other,music,music"
PLAYS = "\n".join(f"0:{n}0 channel {c} authorised" for n, c in enumerate((31, 32)))


def test_channels_that_play_prove_nothing_of_safety():
    found = walk(PLAYS, lineup=LINEUP, sheet='[service]\npackage = "music"\n')
    assert item(found, "all-here").state == "proved"
    assert found.next is None
    assert "for the record" not in found.text
    assert "also those without rows of their own (1," in found.text
    left = found.text.partition("still to tick by hand: ")[2]
    assert all(words in left for words in ("airbag wiring", "its own fuse", "fibres whole"))


def test_a_technician_reads_no_decibans_and_no_range_of_one_number():
    rows = ["0:00 account service confirmed", "0:10 power receiver awake"]
    rows += [f"{hours}:00:{n}0 channel {c} refused" for hours in (1, 2, 3) for n, c in enumerate((31, 32, 33))]
    lineup = "\n".join(f"{c},Name{c},music,music" for c in range(31, 51))
    job = make_job("\n".join(rows), '[service]\npackage = "music"\n', lineup)
    findings = light_findings(job)
    assert findings.entitlement.entitled_fraction_90 is not None
    found = checklist(job, findings)
    assert "9 looks at expected channels" in item(found, "activated").text
    assert item(found, "package").text.startswith("0 of 20 expected channels play; by all that was seen, ")
    words = " ".join(checklist_lines(job, found))
    assert "decibans" not in words
    assert "predicted share" not in words
