"""The part of `satdiag sky` that tells what to expect in a kind of place, and makes a level series of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

if TYPE_CHECKING:
    from satdiag.sky.day_plan import DayPlan
    from satdiag.sky.expect_day import DayExpectation
    from satdiag.sky.propagation.street import Street

SERIES_MINUTES = (0.1, 1440.0)
SPEEDS_KMH = (1.0, 200.0)
COLUMNS = ("site", "satellite", "elevation_deg", "t_s", "level_db", "state")

_OPTIONS = (
    click.option(
        "--environment",
        type=click.Choice(["street", "trees", "garage", "open"]),
        help="Also say what to expect there.",
    ),
    click.option(
        "--street", "along", metavar="AZ", type=float, help="The street runs along this azimuth, true north."
    ),
    click.option("--width", metavar="M", type=float, help="With --street: from front to front, in metres."),
    click.option(
        "--heights", metavar="LEFT,RIGHT", help="With --street: its buildings, metres above the antenna, along AZ."
    ),
    click.option(
        "--synthesise", metavar="MINUTES", type=float, help="Also make a level series of a drive in that environment."
    ),
    click.option(
        "--out", metavar="FILE.csv", type=click.Path(path_type=Path), help="Where the series goes: a new file."
    ),
    click.option("--speed", metavar="KMH", type=float, help="Of that drive. [50]"),
)


def environment_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options of this part, in their order."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


class Asked(NamedTuple):
    """What those options said; `minutes` is None where no series is wanted."""

    environment: str | None
    street: Street | None
    minutes: float | None
    out: Path | None
    speed_kmh: float


def what_was_asked(
    environment: str | None,
    along: float | None,
    width: float | None,
    heights: str | None,
    synthesise: float | None,
    out: Path | None,
    speed: float | None,
) -> Asked:
    """The options, checked against each other. Raises UsageError, SatdiagError."""
    if synthesise is None and (out is not None or speed is not None):
        raise click.UsageError("--out and --speed go with --synthesise MINUTES.")
    if synthesise is not None:
        if environment not in ("street", "trees") or out is None:
            raise click.UsageError("--synthesise needs --environment street or trees, and --out FILE.csv.")
        _inside("--synthesise", synthesise, SERIES_MINUTES, "minutes")
    kmh = 50.0 if speed is None else speed
    _inside("--speed", kmh, SPEEDS_KMH, "km/h")
    return Asked(environment, _street(environment, along, width, heights), synthesise, out, kmh)


def _inside(option: str, value: float, ends: tuple[float, float], unit: str) -> None:
    if not ends[0] <= value <= ends[1]:
        raise click.UsageError(f"{option} {value:g} is outside {ends[0]:g} .. {ends[1]:g} {unit}.")


def _street(environment: str | None, along: float | None, width: float | None, heights: str | None) -> Street | None:
    given = [part is not None for part in (along, width, heights)]
    if not any(given):
        return None
    if environment != "street":
        raise click.UsageError("--street, --width and --heights go with --environment street.")
    if along is None or width is None or heights is None:
        raise click.UsageError("A street needs all three: --street AZ --width M --heights LEFT,RIGHT.")
    _inside("--street", along, (0.0, 360.0), "degrees")
    from satdiag.sky.street_of import street_named

    try:
        left, right = (float(part) for part in heights.split(","))
    except ValueError:
        raise click.UsageError(f"--heights '{heights}' is not a pair of numbers such as 12,8.") from None
    if not math.isfinite(left + right):
        raise click.UsageError(f"--heights '{heights}' is not a pair of numbers such as 12,8.")
    return street_named(along, width, left, right)


def expectation_of(plan: DayPlan, asked: Asked) -> DayExpectation | None:
    """What to expect of a plan's satellites; None where it was not asked for."""
    if asked.environment is None:
        return None
    if plan.frequency_mhz is None:
        raise click.UsageError("--environment needs a constellation that states band_mhz or frequency_mhz.")
    from satdiag.sky.expect_day import day_expectation

    return day_expectation(plan, asked.environment, asked.street)


def text_of(found: DayExpectation | None, plan: DayPlan) -> str | None:
    """An expectation in lines, with the times of the plan's site."""
    if found is None:
        return None
    from satdiag.report.day_plan import clock, local_time_of_site
    from satdiag.sky.expect_text import expectation_text

    local = local_time_of_site(plan.site)
    return expectation_text(found, lambda instant: clock(local, instant)[:5])


# --- a made series -----------------------------------------------------------------------------------------------


def write_series(plans: Sequence[DayPlan], found: Sequence[DayExpectation | None], asked: Asked) -> None:
    """Write the made series of all sites where one was asked for, a satellite after another. Raises SatdiagError."""
    if asked.minutes is None or asked.out is None:
        return
    from satdiag.errors import SatdiagError
    from satdiag.safe_write import write_new

    lines = [",".join(COLUMNS)]
    for plan, each in zip(plans, found, strict=True):
        lines += _series_lines(plan, each, asked) if each is not None else []
    if len(lines) == 1:
        raise SatdiagError("no series was made: no satellite stands high enough, and none too high, for the model.")
    place = asked.out.resolve()
    try:
        write_new(place, "".join(f"{line}\n" for line in lines).encode())
    except FileExistsError:
        raise SatdiagError(f"{place}: this file exists and is not written over. Name another one.") from None
    except OSError as error:
        raise SatdiagError(f"{place}: the series cannot be written ({error.strerror or error}).") from None
    click.echo(f"series written: {asked.out}", err=True)


def _series_lines(plan: DayPlan, found: DayExpectation, asked: Asked) -> list[str]:
    """The rows of one site: its satellites where they stand in the worst hour. What no model covers is told."""
    from satdiag.csv_text import csv_line
    from satdiag.sky.made_series import made_series
    from satdiag.sky.propagation.standing import OutsideDomain

    lines = []
    for seed, one in enumerate(found.moments[-1].satellites, 1):
        try:
            series = made_series(
                found.environment,
                one.elevation_deg,
                (plan.frequency_mhz or 0.0) * 1e6,
                asked.minutes or 0.0,
                asked.speed_kmh / 3.6,
                seed,
            )
        except OutsideDomain as trouble:
            click.echo(f"no series of {one.name}: {trouble}", err=True)
            continue
        begin = (plan.site.name, one.name, f"{one.elevation_deg:.1f}")
        lines += [
            csv_line((*begin, f"{time_s:g}", f"{level:.1f}", "good" if good else "bad")).rstrip("\r\n")
            for time_s, level, good in zip(series.time_s, series.level_db, series.good, strict=True)
        ]
    return lines
