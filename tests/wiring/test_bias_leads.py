"""Each lead of the feed: intervals, chances beside the edges of windows, what was learnt, the series resistance.

The windows are common practice, no source; Ohm's law gives the voltages. Chances and coverage are tried on made-up
readings: they prove the code against our own model only.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.sheet import Receiver
from satdiag.wiring import estimate_wiring
from satdiag.wiring.bias import working_readings
from satdiag.wiring.bias_leads import DECISIVE
from satdiag.wiring.bias_windows import bias_windows, judge, narrowed, state_chances
from satdiag.wiring.learnt import learnt_normal
from satdiag.wiring.meter import Estimate, accuracy, estimate, step_of
from tests.helpers import make_job
from tests.references.feed_values import OHM
from tests.steps import steps

NOMINAL = "[receiver]\nbias_nominal_v = 5.0\n"


def bias(rows, sheet=NOMINAL):
    return estimate_wiring(make_job(rows, sheet)).bias


def lead(rows, sheet=NOMINAL, path=None):
    return next(one for one in bias(rows, sheet).leads if one.path == path)


def said(rows, sheet=NOMINAL):
    return " | ".join(estimate_wiring(make_job(rows, sheet)).could_not)


def both(volts, milliamps, at="0:00"):
    return f"{at} bias voltage {volts} V\n{at} bias current {milliamps} mA\n"


# --- intervals ---------------------------------------------------------------------------------------------------


def test_one_reading_has_the_meters_stated_accuracy_and_says_so():
    """2 % + 0.5 mA and 1 % + 0.02 V: judgement, no source."""
    found = lead(both(4.6, 40))
    assert found.current_ma_90 == pytest.approx((38.7, 41.3))
    assert found.voltage_v_90 == pytest.approx((4.534, 4.666))
    assert (found.voltage_from, found.current_from) == ("meter", "meter")
    assert (found.n_voltage, found.n_current) == (1, 1)


def test_three_readings_that_agree_have_students_interval():
    """Mean 41, standard deviation 1, 2 degrees of freedom: 2.920 (95 %, printed tables); rounding to 0.1 in it."""
    found = lead("\n".join(f"{at} bias current {ma} mA" for at, ma in ((0, "40.0"), (60, "41.0"), (120, "42.0"))))
    half = 2.920 * math.sqrt((1 + 0.01 / 12) / 3)
    assert found.current_ma_90 == pytest.approx((41 - half, 41 + half), abs=2e-3)
    assert found.current_from == "readings"


def test_a_bad_contact_among_three_leaves_the_meters_accuracy():
    found = lead("\n".join(f"{at} bias current {ma} mA" for at, ma in ((0, 40), (60, 0), (120, 41))))
    assert (found.current_ma, found.current_from) == (40.0, "meter")


def test_readings_that_repeat_exactly_still_have_the_error_of_rounding():
    low, high = estimate("current", [41.0, 41.0, 41.0], [1.0, 1.0, 1.0]).interval
    assert 0.5 < high - low < 1.5


@pytest.mark.parametrize(
    ("text", "step"), [("4.60", 0.01), ("42", 1.0), ("42.", 1.0), ("1e1", 10.0), ("4.2e1", 1.0), ("-0.5", 0.1)]
)
def test_the_last_digit_written(text, step):
    assert step_of(text) == pytest.approx(step)


def test_students_interval_holds_nine_times_in_ten():
    """Own model only: normal errors."""
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(1000):
        low, high = estimate("current", list(rng.normal(41.0, 0.6, 3)), [0.01] * 3).interval
        hits += low <= 41.0 <= high
    assert 0.872 <= hits / 1000 <= 0.928


# --- chances -----------------------------------------------------------------------------------------------------


def test_a_reading_beside_an_edge_is_no_verdict():
    found = bias("0:00 bias current 14.6 mA")
    assert found.state is None
    assert found.current_ma == 14.6
    assert 0.6 < found.state_p["low"] < DECISIVE
    assert found.state_p["low"] + found.state_p["normal"] == pytest.approx(1.0)
    assert "beside the edge of a window (less current than normal" in said("0:00 bias current 14.6 mA")


@pytest.mark.parametrize(("milliamps", "state"), [(13.5, "low"), (16.5, "normal"), (78, "normal"), (84, "high")])
def test_a_little_farther_from_the_edge_it_is_one(milliamps, state):
    assert bias(f"0:00 bias current {milliamps} mA").state == state


def test_repeating_a_reading_does_not_make_up_for_the_meter():
    """Three alike readings of 14.8 mA may all be off alike."""
    rows = "\n".join(f"{at} bias current 14.8 mA" for at in (0, 30, 60))
    assert bias(rows).state is None


def test_chances_of_a_far_reading_are_certain():
    assert lead(both(5.0, 0)).state_p["open"] > 0.999
    assert lead(both(0.1, 0)).state_p["absent"] > 0.999


def test_what_stays_open_is_unknown():
    found = lead("0:00 bias voltage 5.0 V")
    assert found.state is None
    assert found.state_p["unknown"] > 0.99


ESTIMATES = st.builds(
    lambda value, share: Estimate(value, (value - 1, value + 1), "meter", share),
    st.floats(0, 12),
    st.floats(0.005, 0.5),
)
CURRENTS = st.builds(
    lambda value, share: Estimate(value, (value - 1, value + 1), "meter", share),
    st.floats(0, 300),
    st.floats(0.05, 20),
)
RECEIVERS = st.builds(
    Receiver,
    bias_nominal_v=st.none() | st.floats(2.5, 13),
    bias_normal_ma=st.none() | st.tuples(st.floats(1, 50), st.floats(60, 150)),
    adaptor=st.sampled_from(["none", "combiner"]),
)


@settings(deadline=None)
@given(RECEIVERS, st.none() | ESTIMATES, st.none() | CURRENTS)
def test_chances_are_chances(receiver, volts, milliamps):
    found = state_chances(bias_windows(receiver), volts, milliamps)
    assert sum(found.values()) == pytest.approx(1.0)
    assert all(0.0 <= p <= 1.0 for p in found.values())


@settings(deadline=None)
@given(RECEIVERS, st.floats(0, 12), st.floats(0, 300))
def test_with_a_perfect_meter_the_chance_is_the_word(receiver, volts, milliamps):
    windows = bias_windows(receiver)
    exact = [Estimate(value, (value, value), "meter", 1e-9) for value in (volts, milliamps)]
    edges_v = (windows.no_voltage_v, *windows.normal_v, windows.unloaded_v or -1.0)
    edges_ma = (windows.no_current_ma, *windows.normal_ma, windows.limit_ma)
    if min(abs(volts - edge) for edge in edges_v) < 1e-6 or min(abs(milliamps - edge) for edge in edges_ma) < 1e-6:
        return
    judged = judge(windows.voltage_word(volts), windows.current_word(milliamps))
    assert state_chances(windows, *exact)[judged.state or "unknown"] == pytest.approx(1.0)


CURRENT_ORDER = ["none", "low", "normal", "high", "limit"]
VOLTAGE_ORDER = ["none", "drooping", "loaded", "full", "over"]


@settings(deadline=None)
@given(RECEIVERS, st.floats(0, 400), st.floats(0, 100), st.floats(0, 15), st.floats(0, 5))
def test_words_rise_with_the_reading(receiver, milliamps, more_ma, volts, more_v):
    windows = bias_windows(receiver)
    words = [CURRENT_ORDER.index(windows.current_word(value)) for value in (milliamps, milliamps + more_ma)]
    assert words == sorted(words)
    words = [VOLTAGE_ORDER.index(windows.voltage_word(value)) for value in (volts, volts + more_v)]
    assert words == sorted(words)


# --- series resistance -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("milliamps", "at_antenna_v"), OHM)
def test_voltage_behind_a_series_resistance(milliamps, at_antenna_v):
    found = lead(both(5.0, milliamps), NOMINAL + "bias_series_ohm = 10\n")
    assert found.antenna_v == pytest.approx(at_antenna_v, abs=1e-9)
    assert found.voltage_v == 5.0
    low, high = found.antenna_v_90
    assert low < at_antenna_v < high
    assert f"the antenna gets {at_antenna_v:.3g} V" in found.text


def test_without_a_series_resistance_the_voltage_at_the_antenna_is_unknown():
    assert lead(both(5.0, 35)).antenna_v is None
    assert lead("0:00 bias voltage 5.0 V", NOMINAL + "bias_series_ohm = 10\n").antenna_v is None


def test_the_state_is_judged_behind_the_series_resistance():
    """5 V ahead of 40 ohm at 60 mA leaves 2.6 V: the amplifier hardly works though the current is normal."""
    rows = both(5.0, 60)
    assert "voltage is low though its current is normal" not in said(rows)
    assert "voltage is low though its current is normal" in said(rows, NOMINAL + "bias_series_ohm = 40\n")


# --- learnt ------------------------------------------------------------------------------------------------------


def working(milliamps, start=0, every_s=120, volts=4.6):
    """Readings each a minute after a lock of the satellite."""
    rows = ""
    for nth, one in enumerate(milliamps):
        at = start + nth * every_s
        rows += f"{at} lock satellite:east yes\n{at + 60} bias current {one} mA\n{at + 60} bias voltage {volts} V\n"
    return rows


def test_earlier_readings_of_this_vehicle_narrow_the_window():
    rows = working([41, 42, 41.5, 41.2, 41.8]) + both(4.2, 70, "3:00:00")
    found = lead(rows)
    assert found.state == "high"
    assert found.windows.current_from == "learnt"
    learnt = found.windows.learnt_ma
    assert (learnt.n, learnt.n_job, learnt.n_kept, learnt.centre) == (5, 5, 0, 41.5)
    low, high = learnt.window
    assert 35 < low < 38
    assert 45 < high < 48
    assert "learnt from 5 readings around 41.5 mA taken while the receiver worked (5 in this job)." in found.text
    assert lead(both(4.2, 70)).state == "normal"


def test_the_readings_that_are_judged_teach_nothing():
    """All three are the latest, and so are judged: none is left to learn from."""
    assert lead(working([41, 42, 41])).windows.learnt_ma is None
    assert lead(working([41, 42, 41, 42])).windows.learnt_ma.n == 1


def test_few_readings_are_said_to_be_few():
    found = lead(working([41, 42, 41.5, 41.8]))
    assert "learnt from 1 reading around 41 mA" in found.text
    assert "that is few, so the window is wide" in found.text


@pytest.mark.parametrize(
    "between",
    [
        "lock any no",
        "lock satellite no",
        "power receiver off",
        "feed bias off",
        "reset receiver seen",
        "swap lead better",
    ],
)
def test_nothing_is_learnt_across_something_contrary(between):
    rows = f"0:00 lock satellite:east yes\n0:30 {between}\n1:00 bias current 41 mA\n"
    assert lead(rows + "1:00:00 bias current 60 mA").windows.learnt_ma is None


@pytest.mark.parametrize(
    ("proof", "counts"),
    [
        ("lock satellite:east yes", True),
        ("lock any yes", True),
        ("channel 31 authorised", True),
        ("audio output playing", True),
        ("channel 31 authorised span_s=600", False),
        ("lock repeater yes", False),
        ("channel 31 refused", False),
        ("power receiver awake", False),
    ],
)
def test_what_proves_that_the_receiver_worked(proof, counts):
    rows = f"0:00 {proof}\n1:00 bias current 41 mA\n2:00:00 bias current 60 mA"
    assert (lead(rows).windows.learnt_ma is not None) == counts


def test_a_proof_holds_for_some_minutes_only():
    rows = "0:00 lock any yes\n4:00 bias current 41 mA\n6:00 bias current 44 mA\n2:00:00 bias current 60 mA"
    assert lead(rows).windows.learnt_ma.centre == 41


def test_a_reading_that_looks_faulty_teaches_nothing():
    rows = working([41, 9, 100, 0, 42]) + both(4.6, 60, "3:00:00")
    assert lead(rows).windows.learnt_ma.n == 2


def test_what_was_read_with_another_part_teaches_nothing():
    rows = working([41, 42, 41, 42]) + "30:00 swap antenna better\n" + both(4.4, 60, "1:00:00")
    assert lead(rows).windows.learnt_ma is None


def test_each_conductor_learns_for_itself():
    rows = "0:00 lock satellite:east yes\n1:00 bias current:satellite 41 mA\n1:00 bias current:repeater 25 mA\n"
    rows += "1:00:00 bias current:satellite 42 mA\n1:00:00 bias current:repeater 26 mA"
    sheet = NOMINAL + 'antenna_lead = "dual"\n'
    assert lead(rows, sheet, "satellite").windows.learnt_ma.centre == 41
    assert lead(rows, sheet, "repeater").windows.learnt_ma is None
    assert lead(rows + "\n0:30 lock repeater yes", sheet, "repeater").windows.learnt_ma.centre == 25


def test_kept_readings_narrow_the_window_too():
    sheet = NOMINAL + "bias_learnt_ma = [41, 42, 41.5, 300]\nbias_learnt_v = [4.6, 4.61, 4.62]\n"
    found = lead(both(4.2, 70), sheet)
    assert found.state == "high"
    assert (found.windows.learnt_ma.n, found.windows.learnt_ma.n_kept) == (3, 3)
    assert found.windows.voltage_from == "learnt"
    assert "3 kept with the job sheet" in found.text


def test_kept_readings_speak_of_a_single_lead_only():
    rows = "0:00 bias current:satellite 60 mA"
    assert lead(rows, NOMINAL + "bias_learnt_ma = [41, 42, 41]\n", "satellite").windows.learnt_ma is None


def test_a_confirmed_finding_changes_nothing_in_its_own_analysis():
    rows = working([41, 42, 41.5, 41.2]) + both(4.2, 70, "3:00:00")
    assert bias(rows) == bias(rows + "3:10:00 finding antenna-weak confirmed")


@settings(deadline=None)
@given(st.lists(st.floats(16, 79), min_size=1, max_size=30))
def test_a_learnt_window_holds_its_centre_and_is_never_narrower_than_the_meter(numbers):
    found = learnt_normal("current", numbers, ())
    low, high = found.window
    assert low <= found.centre - min(found.centre, 2 * accuracy("current", found.centre)) + 1e-9
    assert high >= found.centre + 2 * accuracy("current", found.centre) - 1e-9
    assert (found.spread is None) == (len(numbers) < 3)
    base = bias_windows(Receiver())
    narrow = narrowed(base, None, found)
    assert base.normal_ma[0] <= narrow.normal_ma[0] <= found.centre <= narrow.normal_ma[1] <= base.normal_ma[1]


def test_one_bad_reading_hardly_moves_a_learnt_window():
    good = learnt_normal("current", [41.0, 41.5, 42.0, 41.2, 41.8], ())
    spoilt = learnt_normal("current", [41.0, 41.5, 42.0, 41.2, 79.0], ())
    assert spoilt.centre == pytest.approx(good.centre, abs=0.5)
    assert spoilt.window == pytest.approx(good.window, rel=0.05)


def test_a_learnt_window_narrows_with_readings_down_to_the_least():
    widths = [learnt_normal("current", [41.0] * n, ()).window for n in (1, 2, 3, 5, 10, 30)]
    spans = [high - low for low, high in widths]
    assert spans == sorted(spans, reverse=True)
    assert spans[-1] == pytest.approx(0.2 * 41.0)


def test_readings_to_be_kept():
    job = make_job(working([41, 9, 42]) + "20:00 bias current 50 mA", NOMINAL)
    assert working_readings(job) == {"voltage": (4.6, 4.6, 4.6), "current": (41.0, 42.0)}


# --- combiner, leads, readings -----------------------------------------------------------------------------------


def test_through_a_combiner_two_amplifiers_may_draw():
    sheet = NOMINAL + 'adaptor = "combiner"\n'
    assert bias(both(4.4, 110), sheet).state == "normal"
    assert bias(both(4.4, 110)).state == "high"
    assert bias(both(0.4, 190), sheet).state == "short"
    assert bias(both(4.4, 110), sheet + "bias_normal_ma = [15, 80]\n").state == "high"


def test_both_conductors_are_there_and_the_worst_speaks():
    rows = """
        0:00 bias voltage:satellite 5.0 V
        0:00 bias current:satellite 0.1 mA
        0:01 bias voltage:repeater 4.6 V
        0:01 bias current:repeater 41 mA
    """
    found = bias(rows, NOMINAL + 'antenna_lead = "dual"\n')
    assert [(one.path, one.state) for one in found.leads] == [("repeater", "normal"), ("satellite", "open")]
    assert (found.path, found.state, found.current_ma_90) == ("satellite", "open", found.leads[1].current_ma_90)
    assert "The satellite lead reads 5 V and 0.1 mA: no current flows." in found.leads[1].text


def test_readings_are_paired_and_say_whether_the_receiver_worked():
    rows = working([41]) + "5:00 feed bias off\n5:10 bias current 0 mA\n9:00 feed bias on\n20:00 bias voltage 4.7 V"
    found = bias(rows).readings
    assert [(one.voltage_v, one.current_ma, one.live, one.worked) for one in found] == [
        (4.6, 41.0, True, True),
        (None, 0.0, False, False),
        (4.7, None, True, False),
    ]


def test_work_grows_with_thousands_of_readings_and_no_faster():
    found, done = {}, {}
    for count in (750, 1500, 3000):
        rows = "\n".join(f"{at} bias current {41 + at % 3} mA\n{at} lock any yes" for at in range(0, 2 * count, 2))
        job = make_job(rows, NOMINAL)
        _ = job.log
        done[count] = steps(lambda job=job, count=count: found.update({count: estimate_wiring(job).bias}))
    assert done[3000] < 2.2 * done[1500]
    assert len(found[3000].readings) == 60
    assert found[3000].leads[0].windows.learnt_ma.n == 2997
