"""The link budget against worked figures, and the expected level against drawing what is assumed."""

import math

import numpy as np
import pytest
from scipy import constants

from satdiag.sky import expected_level as level
from satdiag.sky import link_budget as budget
from satdiag.sky.propagation.standing import OutsideDomain
from tests.references import propagation as reference

DB = 1e-3
EXAMPLE = budget.Inputs(
    eirp_dbw=66.0,
    range_km=38_000.0,
    frequency_hz=2332.5e6,
    antenna_gain_dbic=3.0,
    feed_loss_db=0.3,
    antenna_k=100.0,
    noise_figure_db=1.0,
    other_losses_db=0.5,
    bandwidth_hz=4e6,
    needed_cn_db=6.0,
)


def test_constants_are_codatas():
    assert constants.k == budget.BOLTZMANN_J_K
    assert constants.c == budget.SPEED_OF_LIGHT_M_S


def test_free_space_loss():
    distance, loss = zip(*reference.FREE_SPACE, strict=True)
    assert budget.free_space_loss_db(distance, 2332.5e6) == pytest.approx(loss, abs=DB)
    for frequency, expected in reference.FREE_SPACE_38000:
        assert float(budget.free_space_loss_db(38_000, frequency * 1e6)) == pytest.approx(expected, abs=DB)
    # ITU-R P.525 prints 92.45 + 20 log10(f in GHz) + 20 log10(d in km) (from memory).
    assert float(budget.free_space_loss_db(1.0, 1e9)) == pytest.approx(92.45, abs=0.003)


def test_noise():
    for bandwidth, dbm in reference.THERMAL:
        assert float(budget.noise_dbw(290.0, bandwidth)) + 30.0 == pytest.approx(dbm, abs=DB)
    for figure, kelvin in reference.RECEIVER_K:
        assert float(budget.receiver_temperature_k(figure)) == pytest.approx(kelvin, abs=0.006)
    for antenna, rise in reference.NOISE_RISE:
        assert float(budget.noise_rise_db(antenna, 1.0)) == pytest.approx(rise, abs=0.006)
    # A lead at 290 K in front of an antenna at 290 K changes nothing: there is one temperature.
    assert float(budget.system_temperature_k(290.0, 4.0, 0.0)) == pytest.approx(290.0)


@pytest.mark.parametrize("name", reference.WORKED)
def test_worked_example(name):
    assert getattr(budget.link_budget(EXAMPLE), name) == pytest.approx(reference.WORKED[name], abs=DB)


def test_other_eirps_and_distances():
    from dataclasses import replace

    for eirp, distance, expected in reference.WORKED_CN0:
        found = budget.link_budget(replace(EXAMPLE, eirp_dbw=eirp, range_km=distance))
        assert found.cn0_db_hz == pytest.approx(expected, abs=DB)


def test_every_line_has_unit_and_source_and_they_add_up():
    found = budget.link_budget(EXAMPLE)
    by_label = {line.label: line for line in found.lines}
    assert len(by_label) == len(found.lines)
    assert all(line.unit and line.source.name and line.source.standing for line in found.lines)
    added = ("radiated power, EIRP", "free-space loss", "other losses", "gain over noise temperature, G/T")
    total = sum(by_label[label].value for label in added) - by_label["thermal noise per hertz and kelvin"].value
    assert total == pytest.approx(by_label["carrier to noise density, C/N0"].value)
    assert by_label["margin"].value == pytest.approx(found.cn_db - 6.0)
    assert found.margin_db == pytest.approx(10.642, abs=DB)


def test_without_bandwidth_there_is_no_ratio():
    from dataclasses import replace

    found = budget.link_budget(replace(EXAMPLE, bandwidth_hz=None))
    assert found.cn_db is None
    assert found.margin_db is None
    assert not any("C/N that" in line.label for line in found.lines)


@pytest.mark.parametrize(
    "change", [{"range_km": 0.0}, {"noise_figure_db": -1.0}, {"antenna_k": 0.0}, {"eirp_dbw": math.nan}]
)
def test_impossible_inputs(change):
    from dataclasses import replace

    with pytest.raises(OutsideDomain):
        budget.link_budget(replace(EXAMPLE, **change))


# --- the level to expect -----------------------------------------------------------------------------------------


def test_expected_level_in_both_units():
    ratio = level.expected_cn(66.0, 2332.5e6, 38_000.0, 38.0, 4e6, "dB")
    density = level.expected_cn(66.0, 2332.5e6, 38_000.0, 38.0, None, "dB-Hz")
    assert ratio.value == pytest.approx(reference.WORKED["cn_db"], abs=DB)
    assert density.value == pytest.approx(reference.WORKED["cn0_db_hz"], abs=DB)
    assert density.value - ratio.value == pytest.approx(10.0 * math.log10(4e6))
    assert ratio.low < ratio.value < ratio.high
    standings = {line.label: line.source.standing for line in ratio.budget.lines}
    assert standings["antenna gain"] == "judgement, no source"
    assert standings["radiated power, EIRP"] == "the user's figure"


def test_the_range_holds_nine_in_ten_of_what_is_assumed():
    """Budgets worked one by one with assumed figures drawn anew, with another seed."""
    random = np.random.default_rng(77)
    found = level.expected_cn(66.0, 2332.5e6, 38_000.0, 38.0, None, "dB-Hz")
    drawn = []
    for _ in range(1500):
        figures = {name: random.uniform(part.low, part.high) for name, part in level.ASSUMPTIONS.items()}
        drawn.append(budget.link_budget(budget.Inputs(66.0, 38_000.0, 2332.5e6, **figures)).cn0_db_hz)
    inside = np.mean((np.array(drawn) >= found.low) & (np.array(drawn) <= found.high))
    assert inside == pytest.approx(0.9, abs=0.03)


def test_what_is_known_narrows_the_range():
    known = {"antenna_gain_dbic": 4.0, "noise_figure_db": 0.8}
    wide = level.expected_cn(66.0, 2332.5e6, 38_000.0, 38.0, 4e6, "dB")
    narrow = level.expected_cn(66.0, 2332.5e6, 38_000.0, 38.0, 4e6, "dB", known)
    assert narrow.high - narrow.low < 0.5 * (wide.high - wide.low)
    assert set(narrow.assumed) == set(level.ASSUMPTIONS) - set(known)
    everything = {name: part.middle for name, part in level.ASSUMPTIONS.items()}
    exact = level.expected_cn(66.0, 2332.5e6, 38_000.0, 38.0, 4e6, "dB", everything)
    assert exact.low == pytest.approx(exact.value)
    assert exact.high == pytest.approx(exact.value)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((None, 2332.5e6, 38_000.0, 38.0, None, "dB"), "eirp_dbw, noise_bandwidth_hz"),
        ((66.0, None, None, None, 4e6, "dB"), "frequency_mhz, the satellite's distance, its elevation"),
        ((66.0, 2332.5e6, 38_000.0, 38.0, None, "dB"), "noise_bandwidth_hz"),
        ((66.0, 2332.5e6, 38_000.0, 38.0, 4e6, "bars/5"), "order only"),
        ((66.0, 2332.5e6, 38_000.0, 12.0, 4e6, "dB"), "at 12°"),
        ((66.0, 2332.5e6, -1.0, 38.0, 4e6, "dB"), "a distance of -1 km"),
    ],
)
def test_without_a_figure_there_is_a_sentence(arguments, words):
    found = level.expected_cn(*arguments)
    assert isinstance(found, str)
    assert found.startswith("expected level not computed")
    assert words in found


def test_a_figure_that_is_not_there_is_our_mistake():
    with pytest.raises(ValueError, match="gain"):
        level.expected_cn(66.0, 2332.5e6, 38_000.0, 38.0, 4e6, "dB", {"gain": 3.0})
