"""`satdiag sky`: where the satellites stand over a day, and how to park for them."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.cli.language_option import speaks
from satdiag.cli.sky_expect import environment_options, expectation_of, text_of, what_was_asked, write_series

if TYPE_CHECKING:
    from datetime import date, tzinfo

    import numpy as np

    from satdiag.job import Job
    from satdiag.sky.constellation import Constellation
    from satdiag.sky.day_plan import DayPlan
    from satdiag.sky.stay import Stay

AT_MEND = "Write latitude,longitude in degrees, north and east positive (WGS84), such as 41.2,-96.1."
HEIGHTS_M = (-500.0, 9000.0)


@click.command()
@click.argument("path", type=click.Path(path_type=Path), required=False)
@click.option("--at", metavar="LAT,LON", help="Instead of a job: where, in degrees, north and east positive (WGS84).")
@click.option("--constellation", metavar="NAME", help="Packaged, in your user folder, or a file NAME.toml.")
@click.option("--day", metavar="DATE", help="The day, such as 2031-05-03. [a job's last day, else today]")
@click.option("--height", metavar="M", type=float, help="With --at: height above the ellipsoid in metres. [0]")
@click.option("--mask-file", type=click.Path(path_type=Path), help="With --at: a skyline as horizon.csv.")
@click.option("--timezone", metavar="ZONE", help="With --at: the place's time zone, such as America/Chicago. [UTC]")
@environment_options
@click.option(
    "--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Also write a page with a figure."
)
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON on standard output.")
@speaks
def sky(
    path: Path | None,
    at: str | None,
    constellation: str | None,
    day: str | None,
    height: float | None,
    mask_file: Path | None,
    timezone: str | None,
    report: Path | None,
    as_json: bool,
    **environment: Any,
) -> None:
    """Say where the satellites stand over a day, and how to park for them.

    PATH is a job folder or a job file: its sites, place and horizon are used. Or name a place with --at and the
    satellites with --constellation.
    """
    asked = what_was_asked(**environment)
    if (path is None) == (at is None):
        raise click.UsageError("Name a job, or a place with --at LAT,LON: one of the two.")
    if path is not None:
        for option, given in (("--height", height), ("--mask-file", mask_file), ("--timezone", timezone)):
            if given is not None:
                raise click.UsageError(f"{option} goes with --at; a job says that itself (job.toml, horizon.csv).")
        plans, job = _plans_of_job(path, constellation, day)
    else:
        if constellation is None:
            raise click.UsageError("--at needs --constellation NAME: which satellites to look for.")
        plans, job = _plans_at(at or "", constellation, day, height, mask_file, timezone), None
    found = [expectation_of(plan, asked) for plan in plans]
    expected = [text_of(one, plan) for one, plan in zip(found, plans, strict=True)]
    write_series(plans, found, asked)
    if report is not None:
        _write(report, plans, expected, job)
    if as_json:
        numbers = [
            None if one is None else {**one.to_dict(), "text": text}
            for one, text in zip(found, expected, strict=True)
        ]
        document = {"plans": [{**plan.to_dict(), "expect": one} for plan, one in zip(plans, numbers, strict=True)]}
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
    else:
        _show(plans, expected)


# --- what was asked for ------------------------------------------------------------------------------------------


def _plans_of_job(path: Path, named: str | None, day: str | None) -> tuple[list[DayPlan], Job]:
    """A plan for each site of a job. Raises SatdiagError."""
    import satdiag
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.errors import bad_input
    from satdiag.sky.estimate import constellation_of
    from satdiag.sky.stay import stays_of

    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    if not job.sheet.sites:
        what = "the job names no place"
        raise bad_input("job.toml", what, "Add [[site]] with name, latitude_deg and longitude_deg, or use --at.")
    documents = dict(job.documents)
    if named is not None:
        found, beside = _constellation(named)
        documents |= beside
    else:
        own = constellation_of(job)
        if own is None:
            mend = "Set constellation in [service], or use --constellation NAME."
            raise bad_input("job.toml", "the job names no constellation", mend)
        found = own
    return [_plan(stay, found, documents, _day(day, _zone(stay.site.timezone), job)) for stay in stays_of(job)], job


def _plans_at(
    at: str, named: str, day: str | None, height: float | None, mask_file: Path | None, timezone: str | None
) -> list[DayPlan]:
    """The plan for a place named on the command line. Raises SatdiagError."""
    from satdiag.csv_text import decode
    from satdiag.errors import bad_input
    from satdiag.folder import bytes_of
    from satdiag.language import tell
    from satdiag.sheet import Site
    from satdiag.sky.stay import Stay
    from satdiag.tables import parse_horizon

    latitude, longitude = _coordinates(at)
    if height is not None and not HEIGHTS_M[0] <= height <= HEIGHTS_M[1]:
        raise click.UsageError(f"--height {height:g} is outside {HEIGHTS_M[0]:g} .. {HEIGHTS_M[1]:g} metres.")
    zone = _zone(timezone)
    readings = None
    if mask_file is not None:
        readings = parse_horizon(decode(bytes_of(mask_file), str(mask_file)), str(mask_file))
        if not readings:
            mend = "Write a line azimuth_deg,elevation_deg for each reading, or leave --mask-file out."
            raise bad_input(str(mask_file), "the skyline has a head and no reading", mend)
    found, documents = _constellation(named)
    site = Site(tell("the place"), latitude, longitude, height or 0.0, timezone)
    return [_plan(Stay(site, None, None, readings or None, None), found, documents, _day(day, zone, None))]


def _coordinates(text: str) -> tuple[float, float]:
    parts = text.split(",")
    try:
        latitude, longitude = (float(part) for part in parts)
    except ValueError:
        raise click.UsageError(f"--at '{text}' is not a pair of numbers. {AT_MEND}") from None
    for name, value, limit in (("latitude", latitude, 90.0), ("longitude", longitude, 180.0)):
        if not math.isfinite(value) or abs(value) > limit:
            raise click.UsageError(
                f"--at '{text}': the {name} {value:g} is outside -{limit:g} .. {limit:g}. {AT_MEND}"
            )
    return latitude, longitude


def _zone(name: str | None) -> tzinfo:
    from datetime import UTC

    from satdiag.csv_text import quoted
    from satdiag.sheet import zone_named

    if name is None:
        return UTC
    try:
        return zone_named(name)
    except ValueError:
        what = f"--timezone {quoted(name)} is not an IANA time zone such as America/Chicago."
        raise click.UsageError(what) from None


def _constellation(named: str) -> tuple[Constellation, dict[str, bytes]]:
    """A constellation by its name or file, and the element files beside it. Raises SatdiagError."""
    from satdiag.cli.new_cmd import constellation_file
    from satdiag.csv_text import decode
    from satdiag.folder import bytes_of
    from satdiag.sky.constellation import ELEMENT_FILES, load_packaged, parse_constellation

    place = constellation_file(named)
    if place is None:
        return load_packaged(named), {}
    found = parse_constellation(decode(bytes_of(place), str(place)), str(place))
    beside = {name: place.parent / name for name in ELEMENT_FILES}
    return found, {name: bytes_of(file) for name, file in beside.items() if file.is_file()}


# --- the day -----------------------------------------------------------------------------------------------------


def _day(text: str | None, zone: tzinfo, job: Job | None) -> tuple[date, tzinfo]:
    """The day asked for; else that of the job's last row or its opening; else today."""
    from datetime import UTC, date, datetime

    if text is not None:
        try:
            day = date.fromisoformat(text)
        except ValueError:
            raise click.UsageError(f"--day '{text}' is not a day such as 2031-05-03.") from None
        if not 1960 <= day.year <= 2200:
            raise click.UsageError(f"--day '{text}' is outside the years 1960 to 2200.")
        return day, zone
    if job is not None and (last := job.instant(job.end_s)) is not None:
        seconds = int(last.astype("datetime64[s]").astype(int))
        return datetime.fromtimestamp(seconds, UTC).astimezone(zone).date(), zone
    if job is not None and job.sheet.opened is not None:
        return job.sheet.opened.astimezone(zone).date(), zone
    return datetime.now(zone).date(), zone


def _plan(
    stay: Stay, constellation: Constellation, documents: Mapping[str, bytes], day: tuple[date, tzinfo]
) -> DayPlan:
    from satdiag.language import date_text
    from satdiag.sky.day_plan import plan_day
    from satdiag.sky.orbits import orbits_of

    begin, end = _ends(*day)
    return plan_day(stay, date_text(day[0]), (begin, end), constellation, orbits_of(constellation, documents))


def _ends(day: date, zone: tzinfo) -> tuple[np.datetime64, np.datetime64]:
    """From midnight to midnight in the zone, in UTC: 23 or 25 hours where clocks are changed."""
    from datetime import UTC, datetime, time, timedelta

    import numpy as np

    ends = (datetime.combine(one, time(), zone).astimezone(UTC) for one in (day, day + timedelta(days=1)))
    begin, end = (np.datetime64(moment.replace(tzinfo=None), "us") for moment in ends)
    return begin, end


# --- what is printed ---------------------------------------------------------------------------------------------


def _write(report: Path, plans: Sequence[DayPlan], expected: Sequence[str | None], job: Job | None) -> None:
    from satdiag.report.day_plan import write_day_plan
    from satdiag.report.page import masker

    write_day_plan(report, plans, expected, masker(job) if job is not None else lambda text: text)
    click.echo(f"page written: {report}", err=True)


def _show(plans: Sequence[DayPlan], expected: Sequence[str | None]) -> None:
    from satdiag.language import tell
    from satdiag.report.day_plan import cautions_of

    for caution in cautions_of(plans):
        click.echo(tell("Check first: {caution}.", caution=caution))
    for number, (plan, text) in enumerate(zip(plans, expected, strict=True)):
        if number or plan.cautions:
            click.echo()
        click.echo("\n".join(_lines(plan)))
        if text is not None:
            click.echo(f"\n{tell('What to expect')}\n{text}")


def _lines(plan: DayPlan) -> list[str]:
    from satdiag.language import tell
    from satdiag.report import day_plan
    from satdiag.report.text_table import table_lines

    local = day_plan.local_time_of_site(plan.site)
    tables = (
        day_plan.satellites_table(plan, local),
        day_plan.passes_table(plan, local),
        day_plan.clear_hours_table(plan, local),
        day_plan.hours_table(plan, local),
        day_plan.handover_table(plan, local),
    )
    head = tell(
        "{site}, {where}; {day}; constellation {constellation}.",
        site=plan.site.name,
        where=day_plan.where(plan.site),
        day=plan.day,
        constellation=plan.constellation,
    )
    parts = [part for table in tables if table is not None for part in ("", *table_lines(table))]
    return [head, local.sentence, "", tell("How to park"), *(f"  {text}" for text in plan.advice), *parts]
