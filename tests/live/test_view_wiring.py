"""The view 'Wiring' against the findings of the samples and against rings and feeds that are written down here.

The samples are simulated: they prove the code against our own model of the world only.
"""

from __future__ import annotations

import json
from functools import cache
from itertools import product
from pathlib import Path

import pytest

import satdiag
from satdiag.acceptance.checklist import OPEN, checklist
from satdiag.acceptance.checklist_items import SECTIONS
from satdiag.language import speaking
from satdiag.live.views import view_of
from satdiag.live.views.wiring_checks import PROOFS
from satdiag.vocabulary import entry_of, unit_allowed
from satdiag.wiring.bias_windows import judge
from tests.helpers import make_job
from tests.wiring.rings import TOML

ROOT = Path(__file__).parents[2] / "sample_logs"
SAMPLES = ("ring-broken", "ring-order", "antenna-open", "antenna-short", "supply-dropout")


@cache
def sample(name):
    job = satdiag.open_job(ROOT / name)
    findings = satdiag.analyse(job)
    told = view_of("wiring", job, findings)
    return job, findings, json.loads(json.dumps(told))


def viewed(rows="", ring=TOML, sheet=""):
    job = make_job(rows, sheet, documents={"ring.toml": ring.encode()} if ring else {})
    findings = satdiag.analyse(job)
    return json.loads(json.dumps(view_of("wiring", job, findings)))


@pytest.mark.parametrize("name", SAMPLES)
def test_what_is_shown_are_the_findings(name):
    job, findings, told = sample(name)
    wiring = findings.wiring
    assert told["ring"]["bus"] == (wiring.ring.state if wiring.ring else None)
    if wiring.bias is not None:
        assert set(told["feed"]["said"]) >= {lead.text for lead in wiring.bias.leads}
    if wiring.supply is not None:
        assert told["supply"]["said"][: len(wiring.supply.sentences)] == list(wiring.supply.sentences)
    found = checklist(job, findings)
    shown = {item["key"]: item for section in told["checks"]["sections"] for item in section["items"]}
    assert {key: item["state"] for key, item in shown.items()} == {item.key: item.state for item in found.items}
    assert {key: item["text"] for key, item in shown.items()} == {item.key: item.text for item in found.items}
    assert told["checks"]["counts"] == dict(found.counts)
    assert sum(section["open"] for section in told["checks"]["sections"]) == sum(
        item.state in OPEN for item in found.items
    )


def test_the_samples_show_what_is_wrong_with_them():
    assert "no current flows" in sample("antenna-open")[2]["feed"]["state"]
    assert sample("supply-dropout")[2]["supply"]["state"] == "drops out"
    against = {"ring-order": "other-sources", "antenna-short": "substitute", "supply-dropout": "restarts"}
    for name, key in against.items():
        items = {one["key"]: one for part in sample(name)[2]["checks"]["sections"] for one in part["items"]}
        assert items[key]["state"] == "contradicted", name
    assert "Optical" not in sample("ring-broken")[2]["ring"]["state"]
    assert sample("ring-broken")[2]["ring"]["file"] is False


def test_every_open_item_names_what_proves_it_and_no_entry_is_outside_the_vocabulary():
    keys = [step.key for _, _, steps in SECTIONS for step in steps]
    by_person = {"disconnect", "safety-wiring", "tap", "fibres", "sweep", "readback-units"}  # readback: by unit
    assert set(keys) - set(PROOFS) == by_person
    assert set(PROOFS) <= set(keys)
    told = viewed("0:00 place vehicle open-sky")
    offered = [one for part in told["checks"]["sections"] for item in part["items"] for one in item["entries"]]
    assert len(offered) == 6 + 2 * 4  # the four units of ring.toml besides the receiver
    for one in offered:
        kind, subject, value = one["enter"].split(" ")
        entry = entry_of(kind, subject)
        assert entry is not None
        assert value in entry.states
        assert unit_allowed(entry, "")


def test_an_item_that_is_proved_offers_nothing():
    told = viewed("0:00 ring other-sources working")
    items = {one["key"]: one for part in told["checks"]["sections"] for one in part["items"]}
    assert items["other-sources"]["state"] == "proved"
    assert (items["other-sources"]["entries"], items["other-sources"]["part"]) == ([], "")
    assert items["ring-closed"]["part"] == "ring"


# --- the ring ----------------------------------------------------------------------------------------------------


def test_the_ring_is_drawn_in_the_order_of_the_light_with_who_answers():
    ring = viewed("0:00 ring bus open\n0:01 ring node:amplifier present\n0:02 ring node:receiver absent")["ring"]
    (loop,) = ring["loops"]
    assert [node["name"] for node in loop["nodes"]] == ["head-unit", "amplifier", "telephone", "changer"]
    assert [node["answers"] for node in loop["nodes"]] == [None, True, None, None]
    assert (loop["closed"], loop["drawn"], ring["bus"]) == (True, "plugs", "open")
    assert loop["links"][1] == {
        "from": "amplifier",
        "to": "telephone",
        "over": "position 2 of block main",
        "state": "whole",
    }
    assert ring["nodes"][0] == "receiver"


def test_a_break_is_marked_where_the_positions_point_to():
    # Counted by hand: the telephone sees no light and counts 0, the changer after it 1, the head unit 2.
    rows = "0:00 ring bus open\n0:01 ring position:telephone 0\n0:02 ring position:changer 1\n"
    ring = viewed(rows + "0:03 ring position:head-unit 2")["ring"]
    suspects = [(one["from"], one["to"]) for one in ring["loops"][0]["links"] if one["state"] == "suspect"]
    assert suspects == [("amplifier", "telephone")]
    assert "A break is suspected between amplifier and telephone." in ring["loops"][0]["words"]
    assert ring["broken"]["state"] == "located"
    assert ring["broken"]["tests"]
    assert ring["broken"]["reports"] == {"telephone": 0, "changer": 1, "head-unit": 2}


def test_two_rings_are_two_drawings_and_a_chain_ends():
    alone = TOML + '[[plug]]\nposition = 5\nupper = "receiver.out"\nlower = "receiver.in"\n'
    assert [len(loop["nodes"]) for loop in viewed(ring=alone)["ring"]["loops"]] == [4, 1]
    (chain,) = viewed(ring=TOML.replace('lower = "head-unit.in"\n', ""))["ring"]["loops"]
    assert chain["closed"] is False
    assert [one["state"] for one in chain["links"]] == ["whole", "whole", "whole", "open"]


def test_the_plan_has_the_steps_that_put_the_receiver_in_and_a_name_of_its_own():
    plan = viewed()["ring"]["plan"]
    groups = {group["key"]: group for group in plan["groups"]}
    # By hand (tests/wiring/rings.py): the changer's input from 3 to 5, the receiver's input to 3, its output to 5.
    assert [one["name"] for one in groups["steps"]["steps"]] == ["1", "2", "3"]
    assert "input of changer" in groups["steps"]["steps"][0]["text"]
    assert all(one["mind"] for one in groups["steps"]["steps"])
    assert "Never look into a fibre" in " ".join(one["text"] for one in groups["before"]["steps"])
    keys = [one["key"] for group in plan["groups"] for one in group["steps"]]
    assert len(keys) == len(set(keys))
    other = TOML.replace('"telephone", "receiver", "changer"]', '"receiver", "telephone", "changer"]')
    assert plan["id"]
    assert viewed(ring=other)["ring"]["plan"]["id"] not in ("", plan["id"])


def test_without_ring_toml_there_is_no_plan_and_without_a_wanted_order_it_is_said():
    ring = viewed(ring=None)["ring"]
    assert (ring["file"], ring["plan"], ring["broken"], ring["loops"]) == (False, None, None, [])
    plan = viewed(ring=TOML.split("\n", 2)[2])["ring"]["plan"]
    assert plan["groups"] == []
    assert "wanted" in plan["answer"]


# --- the feed ----------------------------------------------------------------------------------------------------


def test_the_table_of_judgements_is_that_of_the_analysis():
    table = viewed(ring=None)["feed"]["rules"]["judge"]
    voltage = ("none", "drooping", "loaded", "full", "over", None)
    current = ("none", "low", "normal", "high", "limit", None)
    for v, c in product(voltage, current):
        found = judge(v, c)
        assert table[v or "-"][c or "-"] == {"state": found.state, "doubt": found.doubt}


def test_readings_are_told_with_their_rows_and_those_of_nothing_while_it_is_off_are_not():
    rows = "0:00 bias voltage 4.60 V\n0:01 bias current 41 mA\n0:02 feed bias off\n0:03 bias current 0 mA"
    feed = viewed(rows, ring=None)["feed"]
    assert [(one["quantity"], one["number"]) for one in feed["leads"][""]["recent"]] == [
        ("voltage", 4.6),
        ("current", 41.0),
    ]
    assert feed["leads"][""]["recent"][0]["step"] == pytest.approx(0.01)
    later = feed["leads"][""]["recent"]
    assert later[1]["at_ms"] - later[0]["at_ms"] == 1000  # one second
    assert (len(feed["known"]), feed["off"]) == (3, True)
    assert viewed("0:00 feed bias off\n0:01 feed bias on", ring=None)["feed"]["off"] is False


def test_the_view_speaks_the_language_in_use_and_masks_the_receiver():
    sheet = '[receiver]\nid = "DEMO00042"\n'
    with speaking("fr"):
        assert viewed("0:00 place vehicle open-sky", sheet=sheet)["ring"]["state"] != "not known"
    assert "DEMO00042" not in json.dumps(viewed("0:00 place vehicle open-sky", sheet=sheet))


def test_the_readings_told_are_those_that_the_analysis_judges():
    """Of an earlier visit where the last one has none; since a swap, but before it where none is after."""
    before = "0:00 bias voltage 4.60 V\n0:01 bias current 41 mA\n"
    late = viewed(before + "5:00:00 place vehicle open-sky", ring=None)["feed"]["leads"][""]
    assert [one["number"] for one in late["recent"]] == [4.6, 41.0]
    swapped = viewed(before + "0:05 swap lead same", ring=None)["feed"]["leads"][""]
    assert [one["number"] for one in swapped["recent"]] == [4.6, 41.0]
    after = viewed(before + "0:05 swap lead same\n0:06 bias current 40 mA", ring=None)["feed"]["leads"][""]
    assert [one["number"] for one in after["recent"]] == [40.0]
