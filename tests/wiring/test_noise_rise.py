"""The noise-rise test: which readings belong together, the rise with its interval, what it means.

Coverage and words are tried on made-up readings: they prove the code against our own model only.
"""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.wiring import estimate_wiring
from satdiag.wiring.cascade import Chain, noise_rise_db
from satdiag.wiring.expected_rise import expected_rise
from satdiag.wiring.noise_blocks import Block, noise_blocks
from satdiag.wiring.noise_rise import Fit, fit_rise, meaning_of
from tests.helpers import make_job

KNOWN = "[feed]\ngain_db = 28\nnoise_figure_db = 0.8\nlead_loss_db = 6\nreceiver_noise_db = 6\nantenna_k = 100\n"
HEALTHY_DB = 13.56  # of these figures, see test_cascade


def switched(levels, start="0:00", every_s=20, first="on", source="hand"):
    """Noise readings with the feed switched between each two; levels as read."""
    rows, at = [], sum(60**nth * int(part) for nth, part in enumerate(reversed(start.split(":"))))
    states = ["on", "off"] if first == "on" else ["off", "on"]
    for nth, level in enumerate(levels):
        if nth:
            rows.append(f"{at} feed bias {states[nth % 2]}")
        rows.append(f"{at + 5} noise receiver {level} dB source={source}")
        at += every_s
    return "\n".join(rows)


def rise(rows, sheet=""):
    return estimate_wiring(make_job(rows, sheet)).noise_rise


def said(rows, sheet=""):
    return " | ".join(estimate_wiring(make_job(rows, sheet)).could_not)


OUTDOORS = "0:00 place vehicle open-sky\n"


# --- which readings ----------------------------------------------------------------------------------------------


def test_without_a_switched_feed_there_is_no_test():
    assert rise("0:00 noise receiver 40 dB\n1:00 noise receiver 41 dB") is None
    assert "noise" not in said("0:00 noise receiver 40 dB")


def test_a_switched_feed_without_noise_is_said():
    assert rise("0:00 feed bias off\n1:00 feed bias on") is None
    assert "no noise was read" in said("0:00 feed bias off\n1:00 feed bias on")


def test_noise_on_one_side_only_is_said():
    rows = "0:00 feed bias off\n0:05 noise receiver 40 dB\n0:20 feed bias on"
    assert rise(rows) is None
    assert "not read both on and off" in said(rows)


def test_before_the_first_switching_the_feed_stood_the_other_way():
    found = rise(OUTDOORS + switched([53.5, 40.0]))
    assert [block.feed for block in found.blocks] == ["on", "off"]
    assert found.rise_db == pytest.approx(13.5)
    assert rise(OUTDOORS + switched([40.0, 53.5], first="off")).rise_db == pytest.approx(13.5)


def test_a_block_counts_once_by_its_median():
    more = "\n".join(
        f"{6 + nth} noise receiver {level} dB source=hand" for nth, level in enumerate([53.4, 53.6, 90.0, 53.5])
    )
    found = rise(OUTDOORS + switched([53.5, 40.0]) + "\n" + more)
    assert found.blocks[0].n == 5
    assert found.blocks[0].noise_db == 53.5


def test_only_readings_near_a_switching_count():
    rows = "0:01 noise receiver 99 dB\n" + switched([53.5, 40.0, 53.5], start="10:00")
    assert [block.noise_db for block in rise(rows).blocks] == [53.5, 40.0, 53.5]


def test_a_reading_written_before_the_switching_of_the_same_second_belongs_before_it():
    rows = "0:10 noise receiver 53 dB\n0:20 noise receiver 53 dB\n0:20 feed bias off\n0:25 noise receiver 40 dB"
    assert [block.n for block in noise_blocks(make_job(rows)).blocks] == [2, 1]


def test_different_readouts_have_no_common_scale():
    rows = switched([53.5], source="hand") + "\n0:20 feed bias off\n0:25 noise receiver 40 dB source=serial:demo"
    assert rise(rows) is None
    assert "no common scale" in said(rows)


def test_each_of_two_readouts_is_compared_with_itself():
    rows = (
        OUTDOORS
        + switched([53.5, 40.0, 53.5])
        + "\n"
        + "\n".join(
            f"{at} noise receiver {level} dB source=serial:demo"
            for at, level in ((7, 113.5), (27, 100.0), (47, 113.5))
        )
    )
    found = rise(rows)
    assert found.tests == 2
    assert found.rise_db == pytest.approx(13.5, abs=0.01)


@pytest.mark.parametrize(
    "between", ["reset receiver seen", "power receiver standby", "swap lead better", "place vehicle indoors"]
)
def test_a_test_ends_where_the_scale_may_have_changed(between):
    rows = f"0:00 noise receiver 53 dB\n0:10 {between}\n0:20 feed bias off\n0:25 noise receiver 40 dB"
    assert not noise_blocks(make_job(OUTDOORS + rows)).blocks


def test_noise_in_another_unit_is_no_legal_row():
    with pytest.raises(BadInput, match="unit"):
        make_job("0:00 noise receiver 40 percent")


def test_readings_before_the_last_swap_do_not_count():
    rows = OUTDOORS + switched([41.0, 40.0, 41.0]) + "\n5:00 swap antenna better\n"
    after = rise(rows + switched([53.5, 40.0, 53.5], start="6:00"))
    assert after.rise_db == pytest.approx(13.5, abs=0.01)
    assert "not repeated after the last swap" in said(rows + "6:00 note - x")


def test_tests_at_another_kind_of_place_are_left_out_and_that_is_said():
    rows = OUTDOORS + switched([53.5, 40.0, 53.5]) + "\n5:00 place vehicle indoors\n"
    rows += switched([57.0, 40.0, 57.0], start="6:00")
    found = rise(rows)
    assert (found.place, found.tests) == ("indoors", 1)
    assert found.rise_db == pytest.approx(17.0)
    assert "another kind of place" in said(rows)


# --- the rise and its interval -----------------------------------------------------------------------------------


def blocks_of(levels, test=1, drift=0.0, every_s=20.0, first_on=True):
    return [
        Block(test, "hand", (nth % 2 == 0) == first_on, nth * every_s, level + drift * nth * every_s, 1, 0.1)
        for nth, level in enumerate(levels)
    ]


@settings(deadline=None)
@given(st.floats(-20, 40), st.floats(-0.05, 0.05), st.integers(3, 9), st.booleans())
def test_a_straight_drift_is_taken_out(true_db, drift, count, first_on):
    levels = [30.0 + true_db * ((nth % 2 == 0) == first_on) for nth in range(count)]
    found = fit_rise(blocks_of(levels, drift=drift, first_on=first_on))
    assert found.rise_db == pytest.approx(true_db, abs=1e-6)
    assert found.drift_removed


def test_a_single_pair_says_that_its_interval_is_not_measured():
    found = rise(OUTDOORS + switched([53.5, 40.0]), KNOWN)
    assert (found.interval_from, found.drift_removed, found.switchings) == ("stated scatter", False, 1)
    low, high = found.rise_db_90
    assert high - low > 2.0
    assert "a scatter of 0.5 dB that the readout is taken to have" in found.text
    assert "A drift of the readout is not taken out" in found.text


def test_with_switchings_enough_the_interval_is_that_of_the_readings():
    found = rise(OUTDOORS + switched([53.5, 40.0, 53.6, 40.1, 53.4, 40.0, 53.5]), KNOWN)
    assert (found.interval_from, found.switchings, found.drift_removed) == ("blocks", 6, True)
    low, high = found.rise_db_90
    assert high - low < 0.4
    assert "scatter" not in found.text


def test_more_switchings_narrow_the_interval():
    widths = []
    for count in (5, 9, 17, 33):
        levels = [40.0 + 13.5 * (nth % 2 == 0) + 0.3 * (-1) ** (nth // 2) for nth in range(count)]
        low, high = fit_rise(blocks_of(levels)).interval
        widths.append(high - low)
    assert widths == sorted(widths, reverse=True)


def test_readings_that_repeat_exactly_still_have_the_error_of_rounding():
    low, high = fit_rise(blocks_of([53.0, 40.0] * 4)).interval
    assert 0.02 < high - low < 0.2


@pytest.mark.parametrize(
    ("tests", "count", "sigma", "most"),
    [(1, 2, 0.8, 1.0), (1, 3, 0.8, 1.0), (2, 3, 0.8, 1.0), (1, 7, 0.2, 0.937), (3, 5, 1.5, 0.937)],
)
def test_the_interval_holds_the_rise_nine_times_in_ten(tests, count, sigma, most):
    """Own model only: normal scatter, straight drift. Few blocks lean on a stated scatter, even if it is exceeded."""
    rng = np.random.default_rng(11)
    hits, tries = 0, 600
    for _ in range(tries):
        drift = rng.normal(0, 0.01) if count > 2 else 0.0
        levels = [[rng.normal(40.0 + 12.0 * (nth % 2 == 0), sigma) for nth in range(count)] for _ in range(tests)]
        blocks = [one for test, part in enumerate(levels) for one in blocks_of(part, test, drift)]
        low, high = fit_rise(blocks).interval
        hits += low <= 12.0 <= high
    assert 0.863 <= hits / tries <= most  # 90 % and three standard errors of 600 tries


# --- what it means -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on_db", "meaning"),
    [(40.2, "none"), (43.0, "low"), (53.6, "as expected"), (62.0, "high"), (35.0, "cannot tell")],
)
def test_meaning_beside_known_figures(on_db, meaning):
    found = rise(OUTDOORS + switched([on_db, 40.0, on_db, 40.1, on_db, 40.0, on_db]), KNOWN)
    assert found.meaning == meaning
    assert found.expected_db == pytest.approx(HEALTHY_DB, abs=0.01)


def test_a_low_rise_names_the_extra_loss_and_its_cost():
    """With every figure given the loss is found again: 10 dB more than the 6 dB of the lead."""
    lossy = float(noise_rise_db(Chain(28.0, 0.8, 16.0, 6.0, 100.0)))  # 5.01 dB
    on = [round(40.0 + lossy, 2)] * 4
    found = rise(OUTDOORS + switched([on[0], 40.0, on[1], 40.0, on[2], 40.0, on[3]]), KNOWN)
    assert found.meaning == "low"
    assert found.extra_loss_db == pytest.approx(10.0, abs=0.05)
    assert found.g_over_t_cost_db == pytest.approx(1.45, abs=0.02)
    low, high = found.extra_loss_db_90
    assert low < 10.0 < high
    assert "costs 1.5 dB" in found.text or "costs 1.4 dB" in found.text


def test_without_known_figures_the_extra_loss_is_wide():
    found = rise(OUTDOORS + switched([43.0, 40.0, 43.1, 40.0, 43.0, 40.1]))
    low, high = found.extra_loss_db_90
    assert found.meaning == "low"
    assert high - low > 8.0
    assert {one.standing for one in found.inputs} == {"common practice, from memory", "judgement, no source"}


def test_no_rise_has_an_open_upper_end_of_the_loss():
    found = rise(OUTDOORS + switched([40.1, 40.0, 40.0]), KNOWN)
    assert found.meaning == "none"
    assert found.extra_loss_db_90[1] is None
    assert "amplifier is dead to radio signals" in found.text


def test_a_readout_that_runs_the_other_way_is_not_judged():
    found = rise(OUTDOORS + switched([26.5, 40.0, 26.4, 40.0]), KNOWN)
    assert found.meaning == "cannot tell"
    assert "perhaps it counts gain" in found.text


def test_indoors_more_is_expected():
    indoors = rise("0:00 place vehicle indoors\n" + switched([57.0, 40.0, 57.0]), KNOWN)
    assert indoors.expected_db > HEALTHY_DB + 2.5
    assert indoors.meaning == "as expected"


def test_an_unknown_place_is_said():
    assert "The place was not logged" in rise(switched([53.5, 40.0, 53.5]), KNOWN).text


def test_a_repeater_heard_during_the_test_is_said():
    rows = OUTDOORS + "0:01 lock repeater yes\n" + switched([53.5, 40.0, 53.5])
    assert "A repeater was received" in rise(rows, KNOWN).text


@cache
def usual_outdoors():
    return expected_rise({}, "open-sky")


ORDER = ["none", "low", "as expected", "high"]


@settings(deadline=None, max_examples=40)
@given(st.floats(-1, 40), st.floats(0, 10), st.floats(0.02, 1.5))
def test_words_rise_with_the_rise(rise_db, more_db, error_db):
    expected = usual_outdoors()
    words = [meaning_of(Fit(value, error_db, 6, "blocks", True), expected) for value in (rise_db, rise_db + more_db)]
    if "cannot tell" not in words:
        assert ORDER.index(words[0]) <= ORDER.index(words[1])


def test_a_healthy_feed_is_seldom_called_faulty():
    """Own model only: chains drawn from the stated ranges, readings with the stated scatter."""
    rng = np.random.default_rng(5)
    expected = expected_rise({}, "open-sky")
    words = []
    for _ in range(400):
        true_db = float(
            noise_rise_db(
                Chain(rng.uniform(25, 35), rng.uniform(0.6, 1.2), rng.uniform(3, 9), rng.uniform(4, 10),
                      rng.uniform(60, 150))
            )
        )  # fmt: skip
        levels = [rng.normal(40.0 + true_db * (nth % 2 == 0), 0.4) for nth in range(5)]
        words.append(meaning_of(fit_rise(blocks_of(levels)), expected))
    wrong = sum(word in ("none", "low", "high") for word in words)
    assert wrong <= 400 * 0.08  # 5 % and three standard errors
    assert words.count("as expected") >= 400 * 0.90


@pytest.mark.parametrize(
    ("volts", "milliamps", "why"),
    [
        (0.1, 0, "no feed reaches the amplifier"),
        (5.0, 0, "no current of the feed reaches the amplifier"),
        (0.3, 250, "the feed is shorted"),
        (4.6, 40, "though the amplifier draws its current"),
    ],
)
def test_a_rise_that_is_not_there_is_explained_by_the_feed(volts, milliamps, why):
    fed = f"0:01 bias voltage {volts} V\n0:01 bias current {milliamps} mA\n"
    found = rise(
        OUTDOORS + fed + switched([40, 40, 40.1, 40, 40, 40.1], start="1:00"), "[receiver]\nbias_nominal_v = 5.0\n"
    )
    assert found.meaning == "none"
    assert why in found.text
    assert ("dead to radio" in found.text) == (milliamps == 40)
