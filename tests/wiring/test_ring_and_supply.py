"""Ring and supply states, and the findings of the whole room."""

import pytest

from satdiag.findings import RingFindings, WiringFindings
from satdiag.wiring import estimate_wiring
from satdiag.wiring.supply import CODE_C_MAXIMUM_V, CODE_C_MINIMUM_V, LOW_V
from tests.helpers import make_job


def ring(rows_text):
    return estimate_wiring(make_job(rows_text)).ring


def supply(rows_text):
    return estimate_wiring(make_job(rows_text)).supply


def levels(found):
    """State, lowest and middle voltage, restarts."""
    return found.state, found.minimum_v, found.median_v, found.resets


def said(rows_text):
    return " | ".join(estimate_wiring(make_job(rows_text)).could_not)


# --- ring --------------------------------------------------------------------------------------------------------


def test_nothing_logged_of_the_ring():
    assert ring("0:00 note - a") is None
    assert "nothing of the optical ring was logged" in said("0:00 note - a")


def test_last_report_of_each_kind_counts():
    found = ring("""
        0:00 ring bus open
        0:00 ring node:amplifier absent
        0:00 ring node:receiver absent
        0:00 ring other-sources lost
        5:00 ring bus closed
        5:00 ring node:receiver present
        5:00 ring node:head-unit present
        6:00 ring other-sources working
        9:00 note - z
    """)
    assert found == RingFindings(
        state="closed",
        nodes_present=("head-unit", "receiver"),
        nodes_absent=("amplifier",),
        other_sources="working",
        open_s=300.0,
    )


def test_unreadable_is_no_report():
    assert ring("0:00 ring bus open\n1:00 ring bus unreadable").state == "open"
    assert ring("0:00 ring node:receiver present\n1:00 ring node:receiver unreadable").nodes_present == ("receiver",)


def test_seconds_open_run_to_the_last_row_and_stop_overnight():
    assert ring("0:00 ring bus closed\n2:00 ring bus open\n9:00 note - z").open_s == 420
    assert ring("0:00 ring bus closed").open_s == 0
    night = "0:00 ring bus open\n10:00 note - home\n20:00:00 note - back\n20:05:00 ring bus closed"
    assert ring(night).open_s == 15 * 60


def test_nodes_without_a_bus_report():
    found = ring("0:00 ring node:receiver absent")
    assert (found.state, found.open_s, found.nodes_absent) == (None, None, ("receiver",))
    assert "was not reported open or closed" in said("0:00 ring node:receiver absent")


def test_positions_without_a_plan_tell_no_break():
    assert ring("0:00 ring position:amplifier 2") is None
    assert "without ring.toml the nodes' order is unknown" in said("0:00 ring position:amplifier 2")


# --- supply ------------------------------------------------------------------------------------------------------


def test_nothing_logged_of_the_supply():
    assert supply("0:00 note - a") is None
    assert "the supply at the receiver was not measured" in said("0:00 note - a")


def test_limits_of_supply_code_c():
    """ISO 16750-2:2010, table 1: code C is 9 V to 16 V."""
    assert (CODE_C_MINIMUM_V, CODE_C_MAXIMUM_V) == (9.0, 16.0)


@pytest.mark.parametrize(
    ("readings", "state"),
    [
        ([12.3, 12.2, 12.4], "normal"),
        ([13.6], "normal"),
        ([14.1, 13.9, 9.0], "normal"),
        ([14.1, 13.9, 8.9], "dropouts"),
        ([LOW_V - 0.1, LOW_V - 0.2, LOW_V], "low"),
        ([6.0, 6.1, 5.9], "low"),
        ([17.0, 16.5, 16.8], None),
    ],
)
def test_state_from_readings(readings, state):
    rows = "\n".join(f"{k}:00 supply receiver {volts} V" for k, volts in enumerate(readings))
    found = supply(rows)
    assert found.state == state
    assert found.minimum_v == min(readings)
    assert found.resets == 0


def test_lowest_counts_the_minimum_rows_and_the_median_does_not():
    found = supply("""
        0:00 supply receiver 12.6 V
        1:00 supply receiver 12.4 V
        2:00 supply receiver 12.5 V
        3:00 supply receiver-minimum 6.8 V span_s=180
    """)
    assert levels(found) == ("dropouts", 6.8, 12.5, 0)


def test_only_a_minimum():
    assert levels(supply("0:00 supply receiver-minimum 11 V")) == ("normal", 11.0, None, 0)
    assert levels(supply("0:00 supply receiver-minimum 5 V")) == ("dropouts", 5.0, None, 0)


def test_restarts_are_dropouts_though_no_meter_saw_them():
    rows = "0:00 supply receiver 12.6 V\n1:00 reset receiver seen\n2:00 reset receiver seen"
    assert levels(supply(rows)) == ("dropouts", 12.6, 12.6, 2)
    assert levels(supply("0:00 reset receiver seen")) == ("dropouts", None, None, 1)
    assert "how low it falls is unknown" in said("0:00 reset receiver seen")


def test_unreadable_supply_is_not_a_zero():
    assert supply("0:00 supply receiver 12.6 V\n1:00 supply receiver unreadable").minimum_v == 12.6
    assert supply("0:00 supply receiver unreadable") is None


# --- the room ----------------------------------------------------------------------------------------------------


def test_a_sweep_of_the_lead_is_said_to_be_unread():
    found = estimate_wiring(make_job("", documents={"feedline.s1p": b"# Hz S RI R 50\n1e6 0 0\n"}))
    assert found.feedline is not None
    assert any("feedline.s1p: the sweep has 1 point;" in text for text in found.could_not)


def test_an_empty_log_has_no_findings_and_says_so():
    found = estimate_wiring(make_job(""))
    assert found == WiringFindings(could_not=found.could_not)
    assert len(found.could_not) == 3
