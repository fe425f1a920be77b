"""The optical budget: margins, overload, bends. The sums are checked by hand, the powers by their definition."""

import math

import pytest
from scipy import constants

from satdiag.cli.docs_cmd import topic_text
from satdiag.ring_file import LinkData, Optics, parse_ring
from satdiag.wiring.ring import budget_gaps, budgets, least_margin, link_budget, milliwatts
from tests.wiring.rings import TOML

# From memory, and so never a default: transmitter -10 .. -1.5 dBm, receiver -23 .. -2 dBm, 2.5 dB a coupling.
REMEMBERED = Optics(-10.0, -1.5, -23.0, -2.0, 2.5)
SENSITIVE = Optics(-10.0, -1.5, -25.0, -2.0, 2.5)  # -25 dBm: one compliant receiver's datasheet

# Length m, couplings, loss dB, received dBm, margin to -23 dBm, margin to -25 dBm (sums by hand; 0.25 dB/m).
TABLE = [
    (1, 0, 0.25, -10.25, 12.75, 14.75),
    (3, 1, 3.25, -13.25, 9.75, 11.75),
    (6, 2, 6.50, -16.50, 6.50, 8.50),
    (10, 2, 7.50, -17.50, 5.50, 7.50),
    (15, 2, 8.75, -18.75, 4.25, 6.25),
]


@pytest.mark.parametrize(("length", "count", "loss", "received", "margin", "wider"), TABLE)
def test_margins(length, count, loss, received, margin, wider):
    found = link_budget(LinkData("a", "b", length, count), REMEMBERED)
    assert found.loss_db == pytest.approx(loss, abs=1e-9)
    assert found.received_least_dbm == pytest.approx(received, abs=1e-9)
    assert found.margin_db == pytest.approx(margin, abs=1e-9)
    assert link_budget(LinkData("a", "b", length, count), SENSITIVE).margin_db == pytest.approx(wider, abs=1e-9)


@pytest.mark.parametrize(("dbm", "mw"), [(-1.5, 0.7079), (-10, 0.1), (-23, 5.012e-3), (-25, 3.162e-3), (0, 1.0)])
def test_powers(dbm, mw):
    """The decibel-milliwatt by its definition, 10 log10(P / 1 mW)."""
    assert milliwatts(dbm) == pytest.approx(mw, rel=1e-4)
    assert 10 * math.log10(milliwatts(dbm)) == pytest.approx(dbm)


def test_the_whole_budget_and_the_overload_without_loss():
    found = link_budget(LinkData("a", "b", 0.0, 0), REMEMBERED)
    assert found.margin_db == 13.0
    assert found.overload_db == pytest.approx(0.5)  # -1.5 dBm on a receiver that bears -2 dBm
    assert link_budget(LinkData("a", "b", 0.0, 1), REMEMBERED).overload_db == pytest.approx(0.5)  # least loss: nought
    own = Optics(-10.0, -1.5, -23.0, -2.0, 2.5, coupling_least_db=1.0, attenuation_least_db_per_m=0.1)
    assert link_budget(LinkData("a", "b", 2.0, 1), own).overload_db == pytest.approx(-0.7)


def test_what_is_known_from_memory_only_is_no_default():
    found = link_budget(LinkData("a", "b", 3.0, 1), Optics())
    assert (found.loss_db, found.margin_db, found.overload_db) == (None, None, None)
    assert link_budget(LinkData("a", "b", 3.0, 0), Optics()).loss_db == 0.75  # datasheet: 250 dB/km
    assert link_budget(LinkData("a", "b"), REMEMBERED).margin_db is None


def test_a_links_own_window_goes_before():
    own = LinkData("a", "b", 3.0, 1, receiver_min_dbm=-25.0)
    assert link_budget(own, REMEMBERED).margin_db == pytest.approx(11.75)


@pytest.mark.parametrize(
    ("radius", "bend"), [(14.9, "too-tight"), (15, "tight"), (24.9, "tight"), (25, "good"), (None, None)]
)
def test_bends(radius, bend):
    """15 mm: one fibre's datasheet; 25 mm: a general note on plastic fibre; warning between them is our judgement."""
    assert link_budget(LinkData("a", "b", bend_radius_mm=radius), REMEMBERED).bend == bend


def test_the_least_margin_of_a_file():
    found = budgets(parse_ring(TOML))
    assert [one.margin_db for one in found] == [9.75, 6.5]
    assert least_margin(found).to_node == "telephone"
    assert [one.bend for one in found] == ["good", "tight"]
    assert least_margin(()) is None


def test_what_lacks_for_a_margin_is_said():
    assert budget_gaps(parse_ring(TOML)) == ()
    without = parse_ring(TOML.split("[optics]")[0].replace("length_m = 3.0\n", ""))
    gaps = " | ".join(budget_gaps(without))
    assert "no margin for head-unit > amplifier: length_m" in gaps
    for key in ("transmitter_min_dbm", "receiver_min_dbm", "coupling_db"):
        assert f"{key} is not written" in gaps


def test_the_light_in_the_documentation():
    """650 nm is 1.907 eV a photon: h c / (e lambda), CODATA constants of scipy."""
    energy = constants.h * constants.c / 650e-9 / constants.e
    assert energy == pytest.approx(1.907, abs=5e-4)
    assert "650 nm (1.907 eV" in topic_text("ring")
