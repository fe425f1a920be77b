"""The antenna's feed: windows, words, states, and which readings speak of the last row.

The windows are common practice, no source. Ohm's law gives the voltages: 5 V behind 10 ohm.
"""

import itertools

import numpy as np
import pytest

from satdiag.sheet import Receiver
from satdiag.wiring import bias_readings, estimate_wiring
from satdiag.wiring.bias_windows import bias_windows, judge
from tests.helpers import make_job

NOMINAL = "[receiver]\nbias_nominal_v = 5.0\n"


def windows(**known):
    return bias_windows(Receiver(**known))


def wiring(rows_text, sheet_text=""):
    return estimate_wiring(make_job(rows_text, sheet_text))


def bias(rows_text, sheet_text=""):
    return wiring(rows_text, sheet_text).bias


def said(rows_text, sheet_text=""):
    return " | ".join(wiring(rows_text, sheet_text).could_not)


# --- words -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("milliamps", "word"),
    [
        (-0.2, "none"),
        (0, "none"),
        (4.9, "none"),
        (5, "low"),
        (14.9, "low"),
        (15, "normal"),
        (42, "normal"),
        (80, "normal"),
        (81, "high"),
        (150, "high"),
        (151, "limit"),
    ],
)
def test_current_words_without_a_sheet(milliamps, word):
    assert windows().current_word(milliamps) == word


@pytest.mark.parametrize(
    ("milliamps", "word"), [(9, "none"), (11, "low"), (31, "normal"), (101, "high"), (188, "limit")]
)
def test_current_words_scale_with_the_sheets_normal_range(milliamps, word):
    assert windows(bias_normal_ma=(30.0, 100.0)).current_word(milliamps) == word


@pytest.mark.parametrize("draw_ma", [15, 35, 60, 80])
def test_voltage_behind_10_ohm_at_a_normal_current_is_loaded(draw_ma):
    assert windows(bias_nominal_v=5.0).voltage_word(5.0 - draw_ma * 0.010) == "loaded"


@pytest.mark.parametrize(
    ("nominal_v", "volts", "word"),
    [
        (5.0, 0.99, "none"),
        (5.0, 1.0, "drooping"),
        (5.0, 4.19, "drooping"),
        (5.0, 4.95, "full"),
        (5.0, 5.2, "full"),
        (5.0, 5.3, "over"),
        (8.0, 1.5, "none"),
        (8.0, 5.0, "drooping"),
        (8.0, 7.0, "loaded"),
        (8.0, 8.0, "full"),
        (None, 0.9, "none"),
        (None, 3.3, "full"),
        (None, 4.5, "full"),
        (None, 12.0, "over"),
    ],
)
def test_voltage_words_are_relative_to_the_nominal(nominal_v, volts, word):
    assert windows(bias_nominal_v=nominal_v).voltage_word(volts) == word


def test_every_pair_of_words_has_a_judgement():
    voltages = (None, "none", "drooping", "loaded", "full", "over")
    currents = (None, "none", "low", "normal", "high", "limit")
    for voltage, current in itertools.product(voltages, currents):
        judged = judge(voltage, current)
        assert judged.state is not None or judged.doubt is not None or (voltage, current) == (None, None)


# --- states ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volts", "milliamps", "state"),
    [
        (4.6, 42, "normal"),
        (5.0, 0, "open"),
        (5.0, 0.1, "open"),
        (0.2, 190, "short"),
        (4.0, 170, "short"),
        (4.9, 9, "low"),
        (3.2, 9, "low"),
        (4.1, 100, "high"),
        (0.0, 0, "absent"),
        (0.1, 0.4, "absent"),
    ],
)
def test_state_from_voltage_and_current(volts, milliamps, state):
    found = bias(f"0:00 bias voltage {volts} V\n0:00 bias current {milliamps} mA", NOMINAL)
    assert (found.state, found.voltage_v, found.current_ma, found.path) == (state, volts, milliamps, None)


@pytest.mark.parametrize(
    ("volts", "milliamps", "state", "doubt"),
    [
        (0.5, 40, "short", "taken as a short that is limited"),
        (3.5, 40, "normal", "the current was believed"),
        (9.0, 40, "normal", "is the nominal voltage right?"),
        (2.5, 0, None, "measure both again"),
    ],
)
def test_voltage_and_current_that_disagree_are_resolved_and_said(volts, milliamps, state, doubt):
    rows = f"0:00 bias voltage {volts} V\n0:00 bias current {milliamps} mA"
    assert bias(rows, NOMINAL).state == state
    assert doubt in said(rows, NOMINAL)


@pytest.mark.parametrize(("milliamps", "state"), [(9, "low"), (42, "normal"), (120, "high"), (190, "short")])
def test_current_alone(milliamps, state):
    found = bias(f"0:00 bias current {milliamps} mA")
    assert (found.state, found.voltage_v, found.current_ma) == (state, None, milliamps)


def test_no_current_without_a_voltmeter_is_open_with_a_doubt():
    rows = "0:00 bias current 0.2 mA"
    assert bias(rows).state == "open"
    assert "an open lead and a missing feed look alike" in said(rows)


@pytest.mark.parametrize(
    ("volts", "state", "doubt"),
    [
        (0.0, None, "a short and a missing feed look alike"),
        (3.0, "high", ""),
        (4.6, "normal", ""),
        (5.0, None, "does not tell whether a current flows"),
    ],
)
def test_voltage_alone(volts, state, doubt):
    rows = f"0:00 bias voltage {volts} V"
    found = bias(rows, NOMINAL)
    assert (found.state, found.voltage_v, found.current_ma) == (state, volts, None)
    assert doubt in said(rows, NOMINAL)


def test_voltage_alone_and_no_nominal_tells_no_state():
    assert bias("0:00 bias voltage 4.6 V").state is None


def test_a_3_3_volt_feed_is_normal_where_the_nominal_is_unknown():
    assert bias("0:00 bias voltage 3.2 V\n0:00 bias current 30 mA").state == "normal"


# --- nothing, unreadable, dead -----------------------------------------------------------------------------------


def test_nothing_measured():
    assert bias("0:00 note - a") is None
    assert "no voltage or current of the antenna's feed was measured" in said("0:00 note - a")


def test_unreadable_is_not_a_zero():
    rows = "0:00 bias voltage unreadable\n0:00 bias current unreadable"
    found = bias(rows)
    assert (found.state, found.voltage_v, found.current_ma) == (None, None, None)
    assert "was tried and gave no reading" in said(rows)
    assert bias("0:00 bias current 40 mA\n1:00 bias current unreadable").state == "normal"


def test_feed_switched_off_for_a_test_is_not_absent():
    rows = """
        0:00 bias voltage 4.6 V
        0:00 bias current 40 mA
        1:00 feed bias off
        1:10 bias voltage 0 V
        1:10 bias current 0 mA
    """
    assert bias(rows).state == "normal"
    assert bias(rows + "2:00 feed bias on\n3:00 bias voltage 0 V\n3:00 bias current 0 mA").state == "absent"


@pytest.mark.parametrize("state", ["off", "standby"])
def test_no_feed_while_the_receiver_sleeps_says_nothing(state):
    rows = f"0:00 power receiver {state}\n1:00 bias voltage 0 V\n1:00 bias current 0 mA"
    assert bias(rows).state is None
    assert "only while it or the receiver was off" in said(rows)
    woken = rows + "\n2:00 lock any yes\n3:00 bias voltage 0 V\n3:00 bias current 0 mA"
    assert bias(woken).state == "absent"


def test_a_current_that_flows_is_believed_though_the_receiver_was_noted_off():
    assert bias("0:00 power receiver off\n1:00 bias current 40 mA").state == "normal"


# --- which readings ----------------------------------------------------------------------------------------------


def currents(numbers, every_s=60):
    return "\n".join(f"{k * every_s} bias current {number} mA" for k, number in enumerate(numbers))


def test_median_of_the_last_three_withstands_one_bad_contact():
    assert bias(currents([40, 41, 42, 0, 40])).current_ma == 40
    assert bias(currents([40, 42, 0])).state == "normal"


def test_a_change_is_followed_after_two_readings():
    assert bias(currents([40, 41, 42, 0, 0])).state == "open"
    assert bias(currents([0, 0, 0, 0, 41, 42])).state == "normal"


def test_of_two_readings_the_last_counts_not_their_middle():
    assert bias(currents([0, 42])).current_ma == 42
    assert bias(currents([42, 0])).current_ma == 0


def test_old_readings_are_not_paired_with_new_ones():
    """Absent at first; an hour later only the current was measured again."""
    rows = "0:00 bias voltage 0 V\n0:00 bias current 0 mA\n1:00:00 bias current 42 mA"
    found = bias(rows)
    assert (found.state, found.voltage_v, found.current_ma) == ("normal", None, 42)


def test_readings_since_the_last_swap_of_a_part_count():
    before, after = currents([0, 0, 0]), "10:00 bias current 41 mA"
    assert bias(f"{before}\n5:00 swap antenna better\n{after}").state == "normal"
    assert bias(f"{before}\n5:00 swap place same\n{after}").state == "open"


def test_not_measured_after_the_swap_is_said():
    rows = currents([0, 0, 0]) + "\n5:00 swap antenna better"
    assert bias(rows).state == "open"
    assert "was not measured after the swap of the antenna" in said(rows)


def test_last_visit_counts_and_an_earlier_one_is_said():
    rows = currents([0, 0, 0]) + "\n20:00:00 note - next-day"
    assert bias(rows).state == "open"
    assert "not measured in the last visit" in said(rows)
    assert bias(rows + "\n20:01:00 bias current 42 mA").current_ma == 42


def test_dual_lead_reports_the_lead_that_looks_worst():
    sheet = NOMINAL + 'antenna_lead = "dual"\n'
    rows = """
        0:00 bias voltage:satellite 5.0 V
        0:00 bias current:satellite 0.1 mA
        0:01 bias voltage:repeater 4.6 V
        0:01 bias current:repeater 41 mA
    """
    found = bias(rows, sheet)
    assert (found.state, found.path, found.current_ma) == ("open", "satellite", 0.1)
    both_fine = rows.replace("0.1 mA", "44 mA").replace("5.0 V", "4.5 V")
    assert bias(both_fine, sheet).state == "normal"


def test_a_lead_that_cannot_be_judged_hides_no_other_and_is_said():
    rows = "0:00 bias voltage:satellite 0 V\n0:00 bias current:repeater 41 mA"
    assert (bias(rows).state, bias(rows).path) == ("normal", "repeater")
    assert "satellite lead: only the feed's voltage was measured" in said(rows)


# --- all readings ------------------------------------------------------------------------------------------------


def test_all_readings_with_their_words():
    job = make_job(
        """
        0:00 bias voltage:satellite 4.6 V
        0:10 bias current unreadable
        1:00 feed bias off
        1:10 bias current 0 mA
        2:00 feed bias on
        2:10 bias current 190 mA
        """,
        NOMINAL,
    )
    found = bias_readings(job)
    assert found["word"].tolist() == ["loaded", "unreadable", "none", "limit"]
    assert found["path"].tolist() == ["satellite", "", "", ""]
    assert found["quantity"].tolist() == ["voltage", "current", "current", "current"]
    assert found["live"].tolist() == [True, True, False, True]
    assert np.isnan(found["number"][1])
    assert found["t_s"].tolist() == [0, 10, 70, 130]
    assert found["row"].tolist() == [0, 1, 3, 5]


def test_no_readings_make_an_empty_table_with_its_columns():
    found = bias_readings(make_job("0:00 note - a"))
    assert found.empty
    assert list(found.columns) == ["row", "at", "t_s", "path", "quantity", "number", "word", "live"]
