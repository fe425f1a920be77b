"""What a wait with the vehicle awake, or asleep for days, takes from its battery.

Q = I t (Ah), share = Q / C, E = Q U at 12.5 V. A charger or a running engine is not counted. Usual currents and
capacities stand for unknown ones and are marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.errors import SatdiagError
from satdiag.findings import BatteryBudget, Interval, Quantiles
from satdiag.language import in_figures, tell
from satdiag.sheet import Supply

USUAL_AWAKE_A: tuple[float, float, float] = (3.0, 6.0, 10.0)
"""What a vehicle draws with the ignition on and the engine off: low, middle, high (common practice, no source)."""

USUAL_CAPACITY_AH: tuple[float, float, float] = (45.0, 60.0, 95.0)
"""Capacity of the starter battery of a car: low, middle, high (common practice, no source)."""

NOMINAL_V = 12.5

STOP_V = 12.2
"""Stop a long wait here, read under light load, or put a charger on (judgement, no source)."""

STOP_SHARE = 0.5
"""A rested battery at 12.2 V holds half its charge (a published table of resting voltages)."""

NEEDS_CHARGER_SHARE = 0.10
"""A wait that takes so much of the capacity, or more, calls for a charger (judgement, no source)."""

USUAL_ASLEEP_MA = (20.0, 50.0)
"""Draw of a sleeping vehicle: 50 mA is the most a workshop lets pass (common practice, no source)."""

HOUR_S, DAY_S = 3600.0, 86400.0
_LIMITS = {
    "current_a": (0.001, 500.0),
    "capacity_ah": (1.0, 1000.0),
    "minutes": (0.0, 60.0 * 24 * 30),
    "start_percent": (0.0, 100.0),
}
_SAID = {
    "current_a": "the current in A",
    "capacity_ah": "the capacity in Ah",
    "minutes": "the time awake in minutes",
    "start_percent": "the charge at the start in per cent",
}


def battery_budget(
    minutes: float,
    current_a: float | None = None,
    capacity_ah: float | None = None,
    start_percent: float | None = None,
) -> BatteryBudget:
    """What so many minutes awake take from the battery. What is None is not known.

    Raises SatdiagError for a number that no vehicle has.
    """
    for name, value in (
        ("minutes", minutes),
        ("current_a", current_a),
        ("capacity_ah", capacity_ah),
        ("start_percent", start_percent),
    ):
        _check(name, value)
    hours = minutes / 60.0
    low_a, middle_a, high_a = (current_a,) * 3 if current_a is not None else USUAL_AWAKE_A
    small_ah, usual_ah, big_ah = (capacity_ah,) * 3 if capacity_ah is not None else USUAL_CAPACITY_AH
    used = (low_a * hours, middle_a * hours, high_a * hours)
    share = (used[0] / big_ah, used[1] / usual_ah, used[2] / small_ah)
    start = None if start_percent is None else start_percent / 100.0
    end = None if start is None else tuple(max(0.0, start - part) for part in share)
    ranged_a, ranged = current_a is None, current_a is None or capacity_ah is None
    to_stop_s = None if start is None else max(0.0, start - STOP_SHARE) * usual_ah / middle_a * HOUR_S
    # A rounding error must not decide where the share is the very limit.
    needs = share[1] >= NEEDS_CHARGER_SHARE - 1e-9 or (to_stop_s is not None and minutes * 60.0 > to_stop_s)
    budget = BatteryBudget(
        awake_s=minutes * 60.0,
        current_a=middle_a,
        current_a_90=(low_a, high_a) if ranged_a else None,
        capacity_ah=usual_ah,
        capacity_ah_90=(small_ah, big_ah) if capacity_ah is None else None,
        used_ah=used[1],
        used_ah_90=(used[0], used[2]) if ranged_a else None,
        used_share=share[1],
        used_share_90=(share[0], share[2]) if ranged else None,
        used_wh=used[1] * NOMINAL_V,
        used_wh_90=(used[0] * NOMINAL_V, used[2] * NOMINAL_V) if ranged_a else None,
        start_share=start,
        end_share=None if end is None else end[1],
        end_share_90=(end[2], end[0]) if end is not None and ranged else None,
        to_stop_s=to_stop_s,
        needs_charger=needs,
        text="",
    )
    return _with_text(budget)


def budget_of_wait(wait: Quantiles, supply: Supply) -> BatteryBudget:
    """The budget of a predicted wait, with what job.toml says of the battery; the middle of the wait counts."""
    return battery_budget(min(wait.median / 60.0, _LIMITS["minutes"][1]), supply.awake_a, supply.battery_ah)


def _check(name: str, value: float | None) -> None:
    low, high = _LIMITS[name]
    if value is not None and not low <= value <= high:  # a NaN fails too
        raise SatdiagError(f"{_SAID[name]} is {value:g}; give a number from {low:g} to {high:g}.")


def _with_text(budget: BatteryBudget) -> BatteryBudget:
    from dataclasses import replace

    return replace(budget, text=budget_text(budget))


def budget_text(budget: BatteryBudget) -> str:
    """'Awake 60 min at 6 A takes about 10 % of a 60 Ah battery; put a charger on.', with ranges where unknown."""
    current = tell("{current:g} A", current=budget.current_a)
    if budget.current_a_90 is not None:
        current = tell("a usual {low:g} to {high:g} A", **_ends(budget.current_a_90))
    battery = tell("a {capacity:g} Ah battery", capacity=budget.capacity_ah)
    if budget.capacity_ah_90 is not None:
        battery = tell("a usual battery of {low:g} to {high:g} Ah", **_ends(budget.capacity_ah_90))
    used = _percent(budget.used_share)
    if budget.used_share_90 is not None:
        low, high = map(_percent, budget.used_share_90)
        battery = tell("{battery} ({low} to {high})", battery=battery, low=low, high=high)
    values = {"minutes": budget.awake_s / 60.0, "current": current, "used": used, "battery": battery}
    if budget.needs_charger:
        return tell(
            "Awake {minutes:.0f} min at {current} takes about {used} of {battery}; put a charger on.", **values
        )
    return tell(
        "Awake {minutes:.0f} min at {current} takes about {used} of {battery}; stop at {stop:g} V, or put a charger "
        "on.",
        stop=STOP_V,
        **values,
    )


def _ends(ends: Interval) -> dict[str, float]:
    return {"low": ends[0], "high": ends[1]}


def _percent(share: float) -> str:
    percent = 100.0 * share
    digits = f"{percent:.0f}" if percent >= 9.95 or percent == 0.0 else f"{percent:.2g}"
    return tell("{share} %", share=in_figures(digits))


# --- asleep ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Asleep:
    """What a sleeping vehicle takes: `after_30_days_ah`, and the days until half the capacity is gone."""

    current_ma: float
    after_30_days_ah: float
    days_to_half: float


def asleep_ah(current_ma: float, days: float) -> float:
    """The charge that a steady small current takes in so many days, Ah."""
    return current_ma / 1000.0 * 24.0 * days


def asleep_table(capacity_ah: float, currents_ma: Sequence[float] = USUAL_ASLEEP_MA) -> tuple[Asleep, ...]:
    """A line for each current. Raises SatdiagError for a capacity or current that no vehicle has."""
    _check("capacity_ah", capacity_ah)
    found = []
    for current_ma in currents_ma:
        if not 0.1 <= current_ma <= 10_000.0:
            raise SatdiagError(f"the current asleep is {current_ma:g} mA; give a number from 0.1 to 10000.")
        days = STOP_SHARE * capacity_ah / (current_ma / 1000.0) / 24.0
        found.append(Asleep(current_ma, asleep_ah(current_ma, 30.0), days))
    return tuple(found)
