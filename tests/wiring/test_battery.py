"""The battery budget: amperes times hours, and what is said of it."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.cli import run
from satdiag.errors import SatdiagError
from satdiag.findings import Quantiles
from satdiag.sheet import Supply
from satdiag.wiring.battery import asleep_ah, asleep_table, battery_budget, budget_of_wait
from tests.references.supply import BUDGET


@pytest.mark.parametrize(("current_a", "ah", "percent", "wh"), BUDGET)
def test_an_hour_awake(current_a, ah, percent, wh):
    budget = battery_budget(60, current_a, 60)
    assert budget.used_ah == pytest.approx(ah)
    assert 100 * budget.used_share == pytest.approx(percent, abs=0.05)
    assert budget.used_wh == pytest.approx(wh)
    assert (budget.used_ah_90, budget.used_share_90, budget.used_wh_90) == (None, None, None)


def test_what_is_said():
    text = "Awake 60 min at 6 A takes about 10 % of a 60 Ah battery; put a charger on."
    assert battery_budget(60, 6, 60).text == text
    assert "stop at 12.2 V" in battery_budget(10, 6, 60).text
    assert not battery_budget(10, 6, 60).needs_charger


def test_asleep():
    """50 mA for 30 days is 36 Ah, 20 mA 14.4 Ah; 30 Ah are gone at 50 mA after 25 days."""
    assert asleep_ah(50, 30) == pytest.approx(36.0)
    assert asleep_ah(20, 30) == pytest.approx(14.4)
    assert [(one.current_ma, round(one.days_to_half, 1)) for one in asleep_table(60)] == [(20.0, 62.5), (50.0, 25.0)]


def test_the_unknown_gives_a_range():
    budget = battery_budget(60)
    assert (budget.current_a_90, budget.capacity_ah_90) == ((3.0, 10.0), (45.0, 95.0))
    assert budget.used_share_90 == pytest.approx((3 / 95, 10 / 45))
    known = battery_budget(60, 6)
    assert (known.current_a_90, known.used_ah_90) == (None, None)
    assert known.used_share_90 == pytest.approx((6 / 95, 6 / 45))


def test_from_a_start_to_the_stop():
    budget = battery_budget(60, 6, 60, 80)
    assert budget.end_share == pytest.approx(0.7)
    assert budget.to_stop_s == pytest.approx(3 * 3600.0)  # 30 % of 60 Ah at 6 A
    assert battery_budget(30, 6, 60, 45).to_stop_s == 0.0
    assert battery_budget(30, 6, 60, 45).needs_charger


@given(st.floats(0, 1000), st.floats(0.01, 100), st.floats(1, 500), st.floats(0, 100))
def test_more_time_takes_more_and_a_share_stays_one(minutes, current_a, capacity_ah, start):
    budget = battery_budget(minutes, current_a, capacity_ah, start)
    longer = battery_budget(minutes + 10, current_a, capacity_ah, start)
    assert longer.used_ah > budget.used_ah
    assert 0.0 <= longer.end_share <= budget.end_share <= 1.0
    assert longer.needs_charger or not budget.needs_charger


def test_a_predicted_wait():
    budget = budget_of_wait(Quantiles(3600.0, 600.0, 9000.0), Supply(awake_a=6, battery_ah=60))
    assert budget.text == "Awake 60 min at 6 A takes about 10 % of a 60 Ah battery; put a charger on."
    assert budget_of_wait(Quantiles(1e9, 1, 1e10), Supply()).needs_charger


@pytest.mark.parametrize("wrong", [(-1,), (float("nan"),), (60, 0), (60, 6, 0), (60, 6, 60, 101)])
def test_numbers_that_no_vehicle_has(wrong):
    with pytest.raises(SatdiagError, match="give a number from"):
        battery_budget(*wrong)


def test_the_command(capsys):
    assert run(["battery", "--current", "6", "--minutes", "60", "--capacity", "60", "--start-percent", "80"]) == 0
    out = capsys.readouterr().out
    for words in (
        "about 10 % of a 60 Ah battery; put a charger on",
        "6 Ah, 75 Wh",
        "stop at 12.2 V",
        "36 Ah",
        "25 days",
    ):
        assert words in out
    for caution in ("exhaust gas kills", "Connect a charger", "Local codes"):
        assert caution in out
    assert run(["battery", "--json", "--minutes", "20"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["stop_v"], document["budget"]["current_a_90"]) == (12.2, [3, 10])
    assert run(["battery", "--capacity", "0"]) == 2
    assert "give a number from 1 to 1000" in capsys.readouterr().err
