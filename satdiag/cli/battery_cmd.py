"""`satdiag battery`: what a wait with the vehicle awake takes from its battery."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks
from satdiag.language import in_figures, tell, tell_many

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
@speaks
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
    energy = _pair(budget.used_wh, budget.used_wh_90, "Wh")
    volts = in_figures("12.5")
    lines = [budget.text, tell("That is {charge}, {energy} at {volts} V.", charge=charge, energy=energy, volts=volts)]
    if budget.end_share is not None and budget.start_share is not None:
        lines += _shares(budget.start_share, budget.end_share, budget.end_share_90, budget.to_stop_s)
    lines.append(
        tell(
            "Rule: read the battery now and then, and stop at {volts:g} V under light load (judgement).", volts=STOP_V
        )
    )
    if budget.current_a_90 or budget.capacity_ah_90:
        lines.append(
            tell("Ranges are common practice, without a source: name --current and --capacity if you know them.")
        )
    return lines


def _shares(start: float, end: float, end_90: tuple[float, float] | None, to_stop_s: float | None) -> list[str]:
    """From which share of the charge to which, and when half of it is gone."""
    falls = tell("From {start:.0f} % it falls to {end:.0f} %.", start=100 * start, end=100 * end)
    if end_90:
        falls = tell(
            "From {start:.0f} % it falls to {end:.0f} % ({low:.0f} to {high:.0f}).",
            start=100 * start,
            end=100 * end,
            low=100 * end_90[0],
            high=100 * end_90[1],
        )
    if not to_stop_s:
        return [falls, tell("Half the charge, where it should rest, is gone already.")]
    return [falls, tell("Half the charge is left after {minutes:.0f} min.", minutes=to_stop_s / 60.0)]


def _pair(value: float, ends: tuple[float, float] | None, unit: str) -> str:
    if ends is None:
        return tell("{value:.3g} {unit}", value=value, unit=unit)
    return tell("{value:.3g} {unit} ({low:.3g} to {high:.3g})", value=value, unit=unit, low=ends[0], high=ends[1])


def _asleep_lines(budget: BatteryBudget, asleep: tuple[Asleep, ...]) -> list[str]:
    rows = [(tell("draws"), tell("in 30 days"), tell("half gone in"))]
    for one in asleep:
        days = tell_many("{n} day", "{n} days", round(one.days_to_half))
        rows.append((in_figures(f"{one.current_ma:g} mA"), in_figures(f"{one.after_30_days_ah:.3g} Ah"), days))
    widths = [max(len(row[k]) for row in rows) for k in range(3)]
    lines = ["  ".join(f"{text:>{wide}}" for text, wide in zip(row, widths, strict=True)) for row in rows]
    head = tell(
        "Asleep, with a battery of {capacity:g} Ah (50 mA is the most a workshop lets pass):",
        capacity=budget.capacity_ah,
    )
    return [head, *(f"  {line}" for line in lines)]


def _caution_lines() -> list[str]:
    from satdiag.report.cautions import CAUTIONS as ALL

    known = {caution.key: caution for caution in ALL}
    return [tell("{label}: {value}", label=known[key].head, value=known[key].text) for key in CAUTIONS]
