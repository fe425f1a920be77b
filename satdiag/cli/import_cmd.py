"""`satdiag import FOLDER JOBFILE`: a job folder becomes a job file. With `--map`: a foreign CSV log becomes rows."""

from __future__ import annotations

import os
import re
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.words import content, misnamed
from satdiag.language import counted

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.mapping import Made

_SHOWN_ROWS = 10
_PREFIX = re.compile(r"i(\d{1,9})-")


@click.command("import")
@click.argument("source", metavar="FOLDER|FOREIGN.csv", type=click.Path(path_type=Path))
@click.argument("job", metavar="JOB", type=click.Path(path_type=Path))
@click.option(
    "--map",
    "map_file",
    metavar="MAP.toml",
    type=click.Path(path_type=Path),
    help="Says which column of a foreign CSV log is what; `satdiag docs import` tells how to write one.",
)
@click.option("--dry-run", is_flag=True, help="With --map: show what would be added, and write nothing.")
def import_(source: Path, job: Path, map_file: Path | None, dry_run: bool) -> None:
    """Put the job in FOLDER into the new job file JOB (NAME.satjob), without loss.

    Files that do not belong to a job are named and left out. An existing file is never overwritten.

    With --map, add the lines of FOREIGN.csv to JOB, a job file or folder that is there or a new NAME.satjob: all of
    them, or none if any line is in doubt.
    """
    if map_file is not None:
        _import_foreign(source, job, map_file, dry_run)
        return
    if dry_run:
        raise click.UsageError("--dry-run goes with --map.")
    _import_folder(source, job)


def _import_folder(folder: Path, jobfile: Path) -> None:
    from satdiag.errors import NotAJob, SatdiagError
    from satdiag.folder import job_hash, read_folder, unknown_files
    from satdiag.opening import is_folder
    from satdiag.store import create_job_file

    if jobfile.suffix != ".satjob":
        raise SatdiagError(misnamed(jobfile))
    if not is_folder(folder):
        raise NotAJob(f"{folder}: this is a file. Name the job folder to import; a foreign CSV log needs --map.")
    job = read_folder(folder)
    for name in unknown_files(folder):
        click.echo(f"warning: {name} does not belong to a job folder and is not imported", err=True)
    create_job_file(jobfile, job)
    click.echo(f"{jobfile}: job {job.sheet.id}, {content(job)}.")
    click.echo(f"SHA-256 of the content: {job_hash(job)}")


def _import_foreign(source: Path, place: Path, map_file: Path, dry_run: bool) -> None:
    """Every line of a foreign log goes into the job, or none."""
    from satdiag.csv_text import decode
    from satdiag.errors import BadInput
    from satdiag.folder import bytes_of
    from satdiag.mapping import check_made, convert, parse_map

    is_new = not os.path.lexists(place)
    job = _new_job(place) if is_new else _open(place)
    form = parse_map(decode(bytes_of(map_file), map_file.name), map_file.name)
    made = convert(bytes_of(source), source.name, form, _free_prefix(job))
    sites = {site.name for site in job.sheet.sites}
    problems = check_made(made, source.name, job.rows, job.sheet.naive_times, sites)
    if problems:
        raise BadInput(problems)
    _refuse_nothing_new(made, job, source)
    for line in _summary(made, source):
        click.echo(line)
    if dry_run:
        _show_rows(made)
        return
    _write(place, job, made, is_new)


def _open(place: Path) -> Job:
    from satdiag.opening import open_job

    return open_job(place)


def _new_job(place: Path) -> Job:
    """A job of which only the name is known. Raises NotAJob for a name that is no job file's."""
    from satdiag.cli.sheet_form import empty_job
    from satdiag.errors import NotAJob

    if place.suffix != ".satjob":
        raise NotAJob(f"{place}: nothing there. Name a job that is there, or a new job file NAME.satjob.")
    return empty_job(place)


def _free_prefix(job: Job) -> str:
    """The first of i1, i2, ... that no row's id starts with."""
    used = [int(found[1]) for row in job.rows if (found := _PREFIX.match(row.id))]
    return f"i{max(used, default=0) + 1}"


def _refuse_nothing_new(made: Made, job: Job, source: Path) -> None:
    from satdiag.errors import SatdiagError

    if not made.rows:
        raise SatdiagError(
            f"{source}: no line gave an observation ({counted(made.lines, 'line')} of data). Look at `when` and the "
            "columns of the map."
        )
    there = {row[:9] for row in job.rows}
    again = sum(row[:9] in there for row in made.rows)
    if again == len(made.rows):
        all_of_it = "its one observation stands" if again == 1 else f"all of its {again} observations stand"
        raise SatdiagError(f"{source}: {all_of_it} in the job already. Nothing was added.")
    if again:
        stand = "stands" if again == 1 else "stand"
        click.echo(f"warning: {again} of {len(made.rows)} observations {stand} in the job already", err=True)


def _summary(made: Made, source: Path) -> list[str]:
    """What became of the lines, and what was seen, by kind."""
    from satdiag.rows import parse_time_us
    from satdiag.vocabulary import UNREADABLE

    skipped = made.skipped
    counts = Counter(row.kind for row in made.rows)
    unreadable = Counter(row.kind for row in made.rows if row.value == UNREADABLE)
    times = sorted((row.time for row in made.rows), key=lambda text: parse_time_us(text, None) or 0)
    lines = [
        f"{source}: lines: {made.lines}; observations: {len(made.rows)}; lines that gave none: {made.silent}.",
        f"Skipped: blank lines: {skipped.blank}; remarks: {skipped.remarks}; repeated headers: {skipped.headers}.",
        f"From {times[0]} to {times[-1]}.",
    ]
    if made.unused:
        lines.insert(2, f"Columns that the map does not use: {', '.join(made.unused)}.")
    for kind, count in counts.items():
        lines.append(f"  {kind:<14}{count:>8}" + (f"  ({unreadable[kind]} unreadable)" if unreadable[kind] else ""))
    return lines


def _show_rows(made: Made) -> None:
    from satdiag.csv_text import csv_line
    from satdiag.job import extra_columns
    from satdiag.rows import REQUIRED_COLUMNS

    columns = [*REQUIRED_COLUMNS, *extra_columns(made.rows)]
    click.echo("Nothing is written. The first rows would be:")
    click.echo(csv_line(columns))
    for row in made.rows[:_SHOWN_ROWS]:
        click.echo(csv_line([getattr(row, name) for name in columns]))


def _write(place: Path, job: Job, made: Made, is_new: bool) -> None:
    from satdiag.job import with_rows
    from satdiag.opening import add_rows
    from satdiag.store import create_job_file

    if not is_new:
        whole = add_rows(place, made.rows)
        click.echo(f"{place}: job {whole.sheet.id}, {content(whole)} now.")
        return
    whole = with_rows(job, made.rows)
    create_job_file(place, whole)
    click.echo(f"{place}: new job {whole.sheet.id}, {content(whole)}.")
    click.echo(
        "Its job.toml holds the id alone: site, receiver and service are not known, and the analysis says what it "
        "cannot do without them. To name them, make the job with `satdiag new` and import into that one."
    )
