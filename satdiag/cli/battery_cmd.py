"""`satdiag battery`: what a wait with the vehicle awake takes from its battery."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from satdiag.findings import BatteryBudget
    from satdiag.wiring.battery import Asleep

CAUTIONS = ("garage", "battery", "rules")


@click.command()
@click.option("--minutes", type=float, default=60.0, show_default=True, help="How long the vehicle is to stay awake.")
@click.option("--current", "current_a", metavar="A", type=float, help="What it draws awake, engine off, in amperes.")
@click.option(
    "--capacity", "capacity_ah", metavar="AH", type=float, help="Capacity of the battery, as printed on it."
)
@click.option("--start-percent", metavar="%", type=float, help="Charge of the battery at the start.")
@click.option("--asleep-ma", metavar="MA", type=float, help="What it draws asleep. [20 and 50]")
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON on standard output.")
def battery(
    minutes: float,
    current_a: float | None,
    capacity_ah: float | None,
    start_percent: float | None,
    asleep_ma: float | None,
    as_json: bool,
) -> None:
    """Say what a wait awake takes from the battery, and when to stop.

    Where current or capacity is left out, usual ones stand for it and the result is a range.
    """
    from satdiag.wiring.battery import USUAL_ASLEEP_MA, asleep_table, battery_budget

    budget = battery_budget(minutes, current_a, capacity_ah, start_percent)
    asleep = asleep_table(budget.capacity_ah, USUAL_ASLEEP_MA if asleep_ma is None else (asleep_ma,))
    if as_json:
        _print_json(budget, asleep)
    else:
        click.echo("\n".join([*_awake_lines(budget), "", *_asleep_lines(budget, asleep), "", *_caution_lines()]))


def _print_json(budget: BatteryBudget, asleep: tuple[Asleep, ...]) -> None:
    from satdiag.findings import plain_values
    from satdiag.wiring.battery import STOP_V

    document = {"budget": plain_values(budget), "stop_v": STOP_V, "asleep": [plain_values(one) for one in asleep]}
    click.echo(json.dumps(document, indent=1, ensure_ascii=False))


def _awake_lines(budget: BatteryBudget) -> list[str]:
    from satdiag.wiring.battery import STOP_V

    charge = _pair(budget.used_ah, budget.used_ah_90, "Ah")
    lines = [budget.text, f"That is {charge}, {_pair(budget.used_wh, budget.used_wh_90, 'Wh')} at 12.5 V."]
    if budget.end_share is not None and budget.start_share is not None:
        ends = budget.end_share_90
        spread = f" ({100 * ends[0]:.0f} to {100 * ends[1]:.0f})" if ends else ""
        lines.append(f"From {100 * budget.start_share:.0f} % it falls to {100 * budget.end_share:.0f} %{spread}.")
        lines.append(
            "Half the charge, where it should rest, is gone already."
            if not budget.to_stop_s
            else f"Half the charge is left after {budget.to_stop_s / 60.0:.0f} min."
        )
    lines.append(f"Rule: read the battery now and then, and stop at {STOP_V:g} V under light load (judgement).")
    if budget.current_a_90 or budget.capacity_ah_90:
        lines.append("Ranges are common practice, without a source: name --current and --capacity if you know them.")
    return lines


def _pair(value: float, ends: tuple[float, float] | None, unit: str) -> str:
    return f"{value:.3g} {unit}" + (f" ({ends[0]:.3g} to {ends[1]:.3g})" if ends else "")


def _asleep_lines(budget: BatteryBudget, asleep: tuple[Asleep, ...]) -> list[str]:
    lines = [f"Asleep, with a battery of {budget.capacity_ah:g} Ah (50 mA is the most a workshop lets pass):"]
    lines.append(f"  {'draws':>8}  {'in 30 days':>10}  {'half gone in':>12}")
    for one in asleep:
        ma, ah, days = f"{one.current_ma:g} mA", f"{one.after_30_days_ah:.3g} Ah", f"{one.days_to_half:.0f} days"
        lines.append(f"  {ma:>8}  {ah:>10}  {days:>12}")
    return lines


def _caution_lines() -> list[str]:
    from satdiag.report.cautions import CAUTIONS as ALL

    known = {caution.key: caution for caution in ALL}
    return [f"{known[key].head}: {known[key].text}" for key in CAUTIONS]
