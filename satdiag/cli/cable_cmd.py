"""`satdiag cable`: what a length of a class of cable loses, and what that hides."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import TYPE_CHECKING, Any

import click

from satdiag.cli.language_option import speaks
from satdiag.language import in_figures, tell, tell_many

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
@speaks
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
    lines = [
        tell(
            "{length:g} m of {cable} at {mhz:g} MHz and {degrees:g} °C",
            length=found.length_m,
            cable=found.cable or tell("a cable of which nothing is known"),
            mhz=found.mhz,
            degrees=found.temperature_c,
        ),
        tell("  loss one way: {loss}; per metre {per_m}", loss=_db(found.loss_db, 1), per_m=_db(found.db_per_m, 2)),
        _delay(found),
        tell(
            "  an open far end: return loss {loss} at the near end, VSWR {vswr:.2f}",
            loss=_db(found.open_end_return_loss_db, 1),
            vswr=found.open_end_vswr.middle,
        ),
    ]
    if found.connectors:
        lines.append(
            tell_many(
                "  connectors: {n} pair at 0.1 to 0.2 dB is in these figures",
                "  connectors: {n} pairs at 0.1 to 0.2 dB each are in these figures",
                found.connectors,
            )
        )
    lines.append(
        tell(
            "A class is not a specification: the ranges span published cables of the class, whose fits were mostly "
            "made below 1 GHz; the growth with temperature is from memory. Take twice the loss off a return loss "
            "measured at the near end before you judge the antenna by it."
        )
    )
    return lines


def _db(value: Range, digits: int) -> str:
    """'8.0 dB (6.0 to 9.5)'."""
    middle, low, high = (in_figures(f"{end:.{digits}f}") for end in (value.middle, value.low, value.high))
    return tell("{middle} dB ({low} to {high})", middle=middle, low=low, high=high)


def _delay(found: CableLoss) -> str:
    delay, velocity = found.delay_ns, found.velocity_factor
    return tell(
        "  delay one way: {delay:.1f} ns ({delay_low:.1f} to {delay_high:.1f}); velocity factor {vf:.3g} "
        "({vf_low:.3g} to {vf_high:.3g})",
        delay=delay.middle,
        delay_low=delay.low,
        delay_high=delay.high,
        vf=velocity.middle,
        vf_low=velocity.low,
        vf_high=velocity.high,
    )


def _measured(found: CableLoss, return_loss_db: float, measured: float) -> str:
    low, high = found.loss_db.low * (1 - NEAR), found.loss_db.high * (1 + NEAR)
    said = tell(
        "A return loss of {measured:g} dB with the far end open or shorted means {loss:.2f} dB one way.",
        measured=return_loss_db,
        loss=measured,
    )
    if found.length_m:
        said = tell(
            "A return loss of {measured:g} dB with the far end open or shorted means {loss:.2f} dB one way, "
            "{per_m:.2f} dB/m.",
            measured=return_loss_db,
            loss=measured,
            per_m=measured / found.length_m,
        )
    if measured > high:
        fits = tell("That is more than this class loses: a bad plug, a wet cable, or not this class.")
    elif measured < low:
        fits = tell("That is less than this class loses: a shorter lead, a better cable, or a break on the way.")
    else:
        fits = tell("That fits this class.")
    return f"{said} {fits}"
