"""`satdiag cable`: what a length of a class of cable loses, and what that hides."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from satdiag.wiring.feedline.cable import CableLoss, Range

CHOICES = ("rg-174", "rg-58", "rg-316", "195-type", "240-type", "unknown")
NEAR = 0.02
"""A measured loss this close to the class's range still fits it (judgement, no source)."""
TEMPERATURES_C = (-60.0, 125.0)


class Finite(click.FloatRange):
    """A number within a range; click itself lets 'nan' through every range."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number. Raises click.BadParameter."""
        number = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number


@click.command()
@click.option("--type", "cable_type", type=click.Choice(CHOICES), required=True, help="The class of cable.")
@click.option("--length", "length_m", metavar="M", type=Finite(0.0, 1000.0), required=True, help="Metres.")
@click.option("--mhz", type=Finite(10.0, 10_000.0), default=2332.5, show_default=True, help="The frequency in MHz.")
@click.option(
    "--temperature", "temperature_c", type=Finite(*TEMPERATURES_C), default=20.0, show_default=True,
    help="In degrees Celsius.",
)  # fmt: skip
@click.option("--connectors", type=click.IntRange(0, 50), default=0, help="Pairs of connectors in the way.")
@click.option(
    "--return-loss", "return_loss_db", metavar="DB", type=Finite(0.0, 100.0),
    help="Measured at the near end with the far end open or shorted: the loss follows from it.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON on standard output.")
def cable(
    cable_type: str,
    length_m: float,
    mhz: float,
    temperature_c: float,
    connectors: int,
    return_loss_db: float | None,
    as_json: bool,
) -> None:
    """Say what a length of a class of cable loses, and what that loss hides.

    A class is not a specification: the ranges span the published cables of one class.
    """
    from satdiag.wiring.feedline.cable import cable_loss, one_port_loss_db

    name = None if cable_type == "unknown" else cable_type
    found = cable_loss(name, length_m, mhz, temperature_c, connectors)
    measured = None if return_loss_db is None else one_port_loss_db(return_loss_db)
    if as_json:
        click.echo(json.dumps(_document(found, return_loss_db, measured), indent=1))
        return
    click.echo("\n".join(_lines(found)))
    if measured is not None:
        click.echo(_measured(found, return_loss_db or 0.0, measured))


def _document(found: CableLoss, return_loss_db: float | None, measured: float | None) -> dict[str, object]:
    """Ranges as {low, middle, high}; a VSWR without bound is null."""
    plain: dict[str, object] = {}
    for part in dataclasses.fields(found):
        value = getattr(found, part.name)
        plain[part.name] = _ends(value) if hasattr(value, "_asdict") else value
    return {**plain, "measured_return_loss_db": return_loss_db, "measured_loss_db": measured}


def _ends(value: Range) -> dict[str, float | None]:
    return {key: (float(f"{end:.6g}") if end < 1e300 else None) for key, end in value._asdict().items()}


def _lines(found: CableLoss) -> list[str]:
    name = found.cable or "a cable of which nothing is known"
    per_m, loss, open_end, standing = (
        found.db_per_m,
        found.loss_db,
        found.open_end_return_loss_db,
        found.open_end_vswr,
    )
    velocity, delay = found.velocity_factor, found.delay_ns
    lines = [
        f"{found.length_m:g} m of {name} at {found.mhz:g} MHz and {found.temperature_c:g} °C",
        f"  loss one way        {loss.middle:.1f} dB ({loss.low:.1f} to {loss.high:.1f}); per metre "
        f"{per_m.middle:.2f} dB ({per_m.low:.2f} to {per_m.high:.2f})",
        f"  delay one way       {delay.middle:.1f} ns ({delay.low:.1f} to {delay.high:.1f}); velocity factor "
        f"{velocity.middle:.3g} ({velocity.low:.3g} to {velocity.high:.3g})",
        f"  an open far end     return loss {open_end.middle:.1f} dB at the near end ({open_end.low:.1f} to "
        f"{open_end.high:.1f}), VSWR {standing.middle:.2f}",
    ]
    if found.connectors:
        lines.append(f"  connectors          {found.connectors} pairs at 0.1 to 0.2 dB each are in these figures")
    lines.append(
        "A class is not a specification: the ranges span published cables of the class, whose fits were mostly made "
        "below 1 GHz; the growth with temperature is from memory. Take twice the loss off a return loss measured at "
        "the near end before you judge the antenna by it."
    )
    return lines


def _measured(found: CableLoss, return_loss_db: float, measured: float) -> str:
    low, high = found.loss_db.low * (1 - NEAR), found.loss_db.high * (1 + NEAR)
    said = (
        f"A return loss of {return_loss_db:g} dB with the far end open or shorted means {measured:.2f} dB one way"
        + (f", {measured / found.length_m:.2f} dB/m" if found.length_m else "")
        + "."
    )
    if measured > high:
        return f"{said} That is more than this class loses: a bad plug, a wet cable, or not this class."
    if measured < low:
        return f"{said} That is less than this class loses: a shorter lead, a better cable, or a break on the way."
    return f"{said} That fits this class."
