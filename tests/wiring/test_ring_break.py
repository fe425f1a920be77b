"""Where the ring is broken, from reported positions: every break of every order, contradictions, weak light."""

import itertools
from dataclasses import replace

import pytest

from satdiag.ring_file import Direct, RingFile, parse_ring
from satdiag.wiring.ring import blocks_shown, locate_break, second_ring
from satdiag.wiring.ring.light import light_paths
from tests.wiring import rings
from tests.wiring.rings import TOML, ring_of_cells


def reports_of(order, dark, silent=()):
    """What a break at the input of `dark` gives: it counts 0 and each node after it one more (rule from memory)."""
    start = order.index(dark)
    return {
        order[(start + k) % len(order)]: k for k in range(len(order)) if order[(start + k) % len(order)] not in silent
    }


def test_the_worked_example():
    """T.out left open: {C: 0, H: 1, A: 2, P: 3, T: 4}; the break is at the input of C, and the file says why."""
    assert reports_of("HAPTC", "C") == {"C": 0, "H": 1, "A": 2, "P": 3, "T": 4}
    found = locate_break(ring_of_cells(rings.F2), {"C": 0, "H": 1, "A": 2, "P": 3, "T": 4})
    assert (found.state, found.node, found.upstream, found.order_from) == ("located", "C", "T", "plugs")
    assert found.suspects[0] == ("plug", "T.out: ring.toml has it plugged nowhere")
    assert found.tests[0].splits == ("plug",)


@pytest.mark.parametrize("n", [2, 3, 4, 5, 6])
def test_every_break_is_found_from_any_reports(n):
    order = "HAPTCX"[:n]
    cells = {i + 1: order[i] + order[(i + 1) % n] for i in range(n)}
    file = ring_of_cells(cells, order)
    for dark in order:
        whole = reports_of(order, dark)
        for size in range(1, n + 1):
            for some in itertools.combinations(whole, size):
                found = locate_break(file, {name: whole[name] for name in some})
                assert (found.state, found.node) == ("located", dark)
                assert found.upstream == order[order.index(dark) - 1]
                assert [one.part for one in found.suspects] == [
                    "transmitter",
                    "upstream-fibre",
                    "coupling",
                    "downstream-fibre",
                    "receiver",
                ]


def test_the_suspects_in_words():
    file = parse_ring(TOML)
    found = locate_break(file, {"telephone": 0, "changer": 1})
    assert [one.text for one in found.suspects] == [
        "the supply (fuse 12) or the transmitter of amplifier",
        "the fibre from amplifier to the block",
        "position 2 of block main",
        "the fibre from the block to telephone",
        "the receiver of telephone",
    ]
    assert found.tests[0].text.startswith("Check the supply of amplifier")  # it reported nothing
    assert "never into a fibre or a socket" in found.tests[1].text
    heard = locate_break(file, {"telephone": 0, "amplifier": 3})
    assert heard.tests[0].text.startswith("With the bus down, take the input plug of telephone")
    shown = blocks_shown(file, found)[0].positions
    assert [one.suspect for one in shown] == [False, True, False, False, False]


def test_every_suspect_is_split_by_some_test():
    for weak in (False, True):
        found = locate_break(parse_ring(TOML), {"telephone": 0}, weak)
        split = {part for test in found.tests for part in test.splits}
        assert {one.part for one in found.suspects} - split == {"receiver"}  # it is what remains


def test_weak_light_points_to_attenuation():
    found = locate_break(parse_ring(TOML), {"telephone": 0, "amplifier": 3}, weak=True)
    assert [one.text for one in found.suspects] == [
        "a tight bend in the fibre from amplifier to the block",
        "a dirty or half-seated plug at position 2 of block main",
        "a tight bend in the fibre from the block to telephone",
        "the transmitter of amplifier, grown weak",
        "the receiver of telephone",
    ]
    assert "reseat" in found.tests[0].text


def test_a_card_neither_clears_nor_convicts_where_it_cannot():
    """Weak light is red on a card too; and with the ring open nothing need light outside the ring-break test."""
    weak = locate_break(parse_ring(TOML), {"telephone": 0, "amplifier": 3}, weak=True)
    assert not any("Red light on the card" in test.text for test in weak.tests)
    dark = locate_break(parse_ring(TOML), {"telephone": 0})
    card = next(test.text for test in dark.tests if "hold a white card" in test.text)
    assert "start the ring-break test, so that every node lights its output" in card


def test_contradicting_reports_are_named():
    found = locate_break(ring_of_cells(rings.TARGET), {"C": 0, "H": 1, "A": 1})
    assert found.state == "contradiction"
    assert found.node is None
    assert found.contradictions == (
        "by H (1) and C (0) the break would be at the input of C",
        "by A (1) the break would be at the input of H",
        "no number of breaks gives these reports: read the positions again, or the order is another",
    )


def test_two_breaks_are_offered_where_they_fit():
    found = locate_break(ring_of_cells(rings.TARGET), {"A": 0, "P": 1, "T": 0, "C": 1, "H": 2})
    assert found.state == "contradiction"
    assert found.contradictions[-1] == (
        "one break does not give these reports; 2 breaks, at the inputs of A and T, would"
    )


@pytest.mark.parametrize("n", [3, 4, 5, 6])
def test_any_one_false_report_is_noticed(n):
    order = "HAPTCX"[:n]
    file = ring_of_cells({i + 1: order[i] + order[(i + 1) % n] for i in range(n)}, order)
    for dark in order:
        for name in order:
            for lie in range(n + 2):
                reports = reports_of(order, dark)
                if reports[name] == lie:
                    continue
                assert locate_break(file, {**reports, name: lie}).state == "contradiction"


def test_a_position_above_the_number_of_nodes():
    found = locate_break(ring_of_cells(rings.TARGET), {"A": 5})
    assert found.contradictions == (
        "the node A reports 5, but with 5 nodes no position is above 4",
        "no number of breaks gives these reports: read the positions again, or the order is another",
    )
    several = locate_break(ring_of_cells(rings.TARGET), {"A": 5, "P": 0, "T": 0})
    assert not any("breaks, at the inputs" in text for text in several.contradictions)
    assert several.contradictions[-1].startswith("no number of breaks")


def test_without_plugs_the_wanted_order_is_taken_and_said():
    file = replace(ring_of_cells(rings.TARGET), plugs=())
    found = locate_break(file, {"P": 0})
    assert (found.state, found.upstream, found.order_from) == ("located", "A", "wanted")
    assert "the wanted order is taken" in found.could_not[0]
    assert found.suspects[2].text == "the block's position between them"


@pytest.mark.parametrize(
    ("file", "reports", "why"),
    [
        (RingFile(nodes=ring_of_cells(rings.TARGET).nodes), {"A": 1}, "neither plugs nor a wanted order"),
        (ring_of_cells(rings.TARGET), {}, "no node reported a position"),
        (ring_of_cells(rings.TARGET), {"X": 0}, "X is not in the order of the nodes"),
        (ring_of_cells(rings.F3, master=None), {"A": 0}, "no timing master is named"),
    ],
)
def test_unknown_is_said(file, reports, why):
    found = locate_break(file, reports)
    assert found.state == "unknown"
    assert any(why in text for text in found.could_not)
    assert found.suspects == ()


def test_of_two_rings_only_the_masters_is_looked_at():
    found = locate_break(ring_of_cells(rings.F3), {"A": 0, "P": 0})
    assert (found.node, found.upstream) == ("A", "H")
    assert "only the part with H is looked at" in found.could_not[0]
    assert "P is not in the order" in found.could_not[1]


def test_a_direct_fibre_has_no_block_to_suspect():
    file = replace(ring_of_cells({1: "HA", 2: "AP", 3: "--"}, "HAP"), directs=(Direct("P", "H"),))
    found = locate_break(file, {"H": 0})
    assert [one.part for one in found.suspects] == ["transmitter", "upstream-fibre", "receiver"]
    assert all("coupling" not in test.splits or "reseat" in test.text for test in found.tests)


# --- a second ring -----------------------------------------------------------------------------------------------


def lost(cells, absent, present="", wanted="HAPTC"):
    file = ring_of_cells(cells, wanted)
    return second_ring(file, light_paths(file), set(present), set(absent))


@pytest.mark.parametrize("n", [3, 4, 5, 6])
def test_every_exchange_of_two_inputs_is_read_back_from_the_lost_nodes(n):
    """All exchanges of two inputs in a good ring: the lost nodes alone name the two inputs."""
    order = "HAPTCX"[:n]
    good = {i + 1: order[i] + order[(i + 1) % n] for i in range(n)}
    for one, other in itertools.combinations(good, 2):
        cells = dict(good)
        cells[one], cells[other] = good[one][0] + good[other][1], good[other][0] + good[one][1]
        outside = next(ring for ring in light_paths(ring_of_cells(cells, order)).rings if "H" not in ring)
        by_pattern = lost(good, outside, set(order) - set(outside), order)
        assert set(by_pattern.inputs) == {good[one][1], good[other][1]}
        assert by_pattern.from_ == "pattern"
        by_plugs = lost(cells, outside, set(order) - set(outside), order)
        assert (by_plugs.from_, set(by_plugs.nodes)) == ("plugs", set(outside))


def test_lost_nodes_that_no_exchange_explains():
    assert lost(rings.TARGET, "AT") is None  # apart from each other
    assert lost(rings.TARGET, "H") is None  # the master is never on the second ring
    assert lost(rings.TARGET, "") is None
    assert lost(rings.F3, "A", "P") is None  # the plugs would lose P
