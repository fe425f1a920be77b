"""Noise of stages in a row against figures worked out elsewhere (tests/references/feed_values.py)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.sky.link_budget import receiver_temperature_k, system_temperature_k
from satdiag.wiring.cascade import (
    Chain,
    amplifier,
    cascade_k,
    extra_loss_db,
    g_over_t_db_k,
    line,
    loss_cost_db,
    noise_figure_db,
    noise_rise_db,
    noise_temperature_k,
)
from satdiag.wiring.expected_rise import expected_rise
from satdiag.wiring.rise_budget import rise_budget
from tests.references import feed_values as values


def chain(**changes):
    return Chain(
        **{
            "gain_db": 28.0,
            "noise_figure_db": 0.8,
            "lead_loss_db": 6.0,
            "receiver_noise_db": 6.0,
            "antenna_k": 100.0,
            **changes,
        }
    )


@pytest.mark.parametrize(("figure_db", "kelvin"), values.NOISE_K)
def test_noise_figure_and_temperature(figure_db, kelvin):
    assert noise_temperature_k(figure_db) == pytest.approx(kelvin, abs=0.01)
    assert noise_figure_db(kelvin) == pytest.approx(figure_db, abs=2e-4)


def test_cascade_against_a_documented_formula():
    first, gain, second, both = values.CASCADE_FORMULA
    found = noise_figure_db(cascade_k(amplifier(gain, first), amplifier(0.0, second)))
    assert found == pytest.approx(both, abs=1e-3)
    assert found == pytest.approx(10 * np.log10(10**0.2 + (10 - 1) / 10**1.5), abs=1e-12)


@pytest.mark.parametrize("loss_db", values.BUDGET)
def test_budget_of_a_feed(loss_db):
    added, figure, system, g_over_t = values.BUDGET[loss_db]
    found = chain(lead_loss_db=loss_db)
    assert found.added_k == pytest.approx(added, abs=0.01)
    assert noise_figure_db(found.added_k) == pytest.approx(figure, abs=1e-3)
    assert found.system_k == pytest.approx(system, abs=0.01)
    assert g_over_t_db_k(3.0, found.system_k) == pytest.approx(g_over_t, abs=0.006)


def test_budget_without_an_amplifier():
    loss, added, figure, system, g_over_t = values.WITHOUT_AMPLIFIER
    found = chain(gain_db=0.0, noise_figure_db=0.0, lead_loss_db=loss)
    assert found.added_k == pytest.approx(added, abs=0.1)
    assert noise_figure_db(found.added_k) == pytest.approx(figure, abs=0.006)
    assert found.system_k == pytest.approx(system, abs=0.3)
    assert g_over_t_db_k(3.0, found.system_k) == pytest.approx(g_over_t, abs=0.006)


@pytest.mark.parametrize(("extra_db", "cost_db"), values.COST_DB.items())
def test_cost_of_extra_loss_behind_a_healthy_amplifier(extra_db, cost_db):
    assert loss_cost_db(chain(), extra_db) == pytest.approx(cost_db, abs=0.006)


def test_cost_of_a_combiner():
    assert loss_cost_db(chain(), 3.5) == pytest.approx(values.COMBINER_COST_DB, abs=1e-3)


@pytest.mark.parametrize("gain_db", values.RISE_DB)
def test_rise_by_gain_and_loss(gain_db):
    found = noise_rise_db(chain(gain_db=gain_db, lead_loss_db=np.array(values.LOSSES_DB, dtype=float)))
    assert found == pytest.approx(np.array(values.RISE_DB[gain_db]), abs=0.006)


@pytest.mark.parametrize(("kelvin", "rise_db"), values.RISE_OF_ANTENNA)
def test_rise_grows_with_what_the_antenna_collects(kelvin, rise_db):
    assert noise_rise_db(chain(antenna_k=kelvin)) == pytest.approx(rise_db, abs=0.006)


@pytest.mark.parametrize(("figure_db", "rise_db"), values.RISE_OF_RECEIVER)
def test_rise_by_the_receivers_noise(figure_db, rise_db):
    assert noise_rise_db(chain(receiver_noise_db=figure_db)) == pytest.approx(rise_db, abs=0.006)


def test_the_room_of_the_sky_computes_the_same_noise():
    """Two rooms hold the textbook formulas: the sky for the antenna's side, this one for the lead's side."""
    assert noise_temperature_k(1.3) == pytest.approx(float(receiver_temperature_k(1.3)))
    loss = 0.4
    ahead = 10 ** (loss / 10) * system_temperature_k(80.0, loss, 1.0)
    assert 80.0 + cascade_k(line(loss), amplifier(30.0, 1.0)) == pytest.approx(float(ahead))


# --- properties --------------------------------------------------------------------------------------------------

CHAINS = st.builds(
    Chain,
    st.floats(10, 40),
    st.floats(0.3, 3),
    st.floats(0, 20),
    st.floats(2, 12),
    st.floats(10, 300),
)


@settings(deadline=None)
@given(CHAINS, st.floats(0.01, 30))
def test_rise_falls_and_cost_grows_with_loss(healthy, extra_db):
    # Below 290 K at the amplifier's output the lead's own warmth would win; a gain of 10 dB keeps clear of that.
    assert noise_rise_db(healthy.with_loss(extra_db)) < noise_rise_db(healthy)
    assert loss_cost_db(healthy, extra_db) > 0
    assert loss_cost_db(healthy, extra_db + 1) > loss_cost_db(healthy, extra_db)


@settings(deadline=None)
@given(CHAINS, st.floats(0, 25))
def test_extra_loss_is_found_again_from_the_rise(healthy, extra_db):
    rise = noise_rise_db(healthy.with_loss(extra_db))
    if rise > 1e-3:
        assert extra_loss_db(healthy, rise) == pytest.approx(extra_db, abs=1e-4)


@settings(deadline=None)
@given(CHAINS, st.floats(0.01, 5))
def test_rise_grows_with_gain_and_with_the_antennas_noise(healthy, more):
    assert noise_rise_db(Chain(healthy.gain_db + more, *_rest(healthy))) > noise_rise_db(healthy)
    warmer = Chain(healthy.gain_db, *_rest(healthy)[:-1], healthy.antenna_k + more)
    assert noise_rise_db(warmer) > noise_rise_db(healthy)


def _rest(one):
    return one.noise_figure_db, one.lead_loss_db, one.receiver_noise_db, one.antenna_k


def test_no_rise_needs_endless_loss():
    assert extra_loss_db(chain(), 0.0) == np.inf
    assert extra_loss_db(chain(), -1.0) == np.inf


# --- the range of what is not known ------------------------------------------------------------------------------

KNOWN = {
    "gain_db": (28.0, 28.0),
    "noise_figure_db": (0.8, 0.8),
    "lead_loss_db": (6.0, 6.0),
    "receiver_noise_db": (6.0, 6.0),
    "antenna_k": (100.0, 100.0),
}


def test_with_every_figure_given_the_expected_rise_is_one_number():
    found = expected_rise(KNOWN, "open-sky")
    assert found.middle_db == pytest.approx(13.56, abs=0.006)
    assert found.interval == pytest.approx((found.middle_db, found.middle_db))
    assert {one.standing for one in found.inputs} == {"the user's figure"}


def test_one_unknown_figure_is_spread_evenly_over_its_range():
    """Over a lead of 3 to 9 dB the rise falls steadily, so its quantiles are those of the loss."""
    found = expected_rise({**KNOWN, "lead_loss_db": (3.0, 9.0)}, "open-sky")
    ends = [float(noise_rise_db(chain(lead_loss_db=loss))) for loss in (3 + 0.95 * 6, 3 + 0.05 * 6)]
    assert found.interval == pytest.approx(ends, abs=0.02)
    assert found.middle_db == pytest.approx(float(noise_rise_db(chain(lead_loss_db=6.0))), abs=0.02)


def test_the_range_agrees_with_plain_random_draws():
    draws = np.random.default_rng(8).uniform(size=(5, 400_000))
    ends = np.array([(25, 35), (0.6, 1.2), (3, 9), (4, 10), (60, 150)], dtype=float)
    drawn = noise_rise_db(Chain(*(ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * draws)))
    found = expected_rise({}, "open-sky")
    assert found.interval == pytest.approx(np.quantile(drawn, [0.05, 0.95]), abs=0.05)
    assert found.middle_db == pytest.approx(np.median(drawn), abs=0.05)


def test_the_same_inputs_give_the_same_range():
    assert expected_rise({}, None).interval == expected_rise({}, None).interval


def test_indoors_the_rise_is_expected_higher_and_an_unknown_place_is_wide():
    outdoors, indoors, unknown = (expected_rise({}, place) for place in ("open-sky", "indoors", None))
    assert indoors.middle_db > outdoors.middle_db + 1
    assert unknown.interval[1] - unknown.interval[0] > outdoors.interval[1] - outdoors.interval[0]
    assert "place not known" in unknown.inputs[-1].words


def test_what_was_stated_of_an_open_sky_is_not_used_under_a_roof():
    found = expected_rise({"antenna_k": (100.0, 100.0)}, "indoors").inputs[-1]
    assert (found.low, found.high) == (250.0, 300.0)
    assert "judgement" in found.standing


def test_rise_budget_of_given_figures():
    found = rise_budget(KNOWN, "open-sky", (3.0, 3.0), (10.0, 20.0))
    added, figure, system, g_over_t = values.BUDGET[6.0]
    assert found.rise_db == pytest.approx(13.56, abs=0.006)
    assert found.added_k == pytest.approx(added, abs=0.01)
    assert found.noise_figure_db == pytest.approx(figure, abs=1e-3)
    assert found.system_k == pytest.approx(system, abs=0.01)
    assert found.g_over_t_db_k == pytest.approx(g_over_t, abs=0.006)
    assert [one.g_over_t_cost_db for one in found.losses] == pytest.approx([1.45, 7.29], abs=0.006)
    assert found.losses[0].rise_db == pytest.approx(values.RISE_DB[28][4], abs=0.006)
