"""`satdiag export JOB FOLDER`: a job as a folder of plain files; `--spreadsheet`: its rows, safe to open in one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.words import content

if TYPE_CHECKING:
    from satdiag.job import Job

# What a spreadsheet program may take for a formula at the start of a cell (OWASP, 'CSV Injection').
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER_COLUMNS = ("value", "span_s", "elapsed_s")


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option(
    "--spreadsheet",
    type=click.Path(path_type=Path),
    help="Write the observations to this CSV file; text that looks like a formula gets a leading '.",
)
def export(job: Path, folder: Path | None, spreadsheet: Path | None) -> None:
    """Write JOB (a job file or folder) as a new job folder FOLDER, without loss.

    Nothing that exists is overwritten.
    """
    if folder is None and spreadsheet is None:
        raise click.UsageError("Name a FOLDER to write to, or --spreadsheet FILE.csv.")
    from satdiag.folder import export_files, job_hash, write_folder
    from satdiag.opening import open_job

    opened = open_job(job)
    if folder is not None:
        write_folder(export_files(opened), folder)
        click.echo(f"{folder}: job {opened.sheet.id}, {content(opened)}.")
        click.echo(f"SHA-256 of the content: {job_hash(opened)}")
    if spreadsheet is not None:
        _write_spreadsheet(opened, spreadsheet)
        click.echo(f"{spreadsheet}: the observations, for a spreadsheet; it is not meant to be read back.")


def _write_spreadsheet(job: Job, place: Path) -> None:
    from satdiag.errors import SatdiagError
    from satdiag.safe_write import write_new

    try:
        write_new(place, spreadsheet_text(job).encode("utf-8-sig"))
    except FileExistsError:
        raise SatdiagError(f"{place}: it is there already. Name a new file, or move the old one away.") from None
    except OSError as error:
        raise SatdiagError(f"{place}: cannot be written ({error.strerror}). Is its folder there?") from None


def spreadsheet_text(job: Job) -> str:
    """The observations as CSV with CRLF line ends, in which no cell can act as a formula; numbers stay numbers."""
    from satdiag.csv_text import csv_line
    from satdiag.job import columns_of

    columns = columns_of(job.header)
    lines = [columns, *([_cell(name, getattr(row, name)) for name in columns] for row in job.rows)]
    return "".join(csv_line(line) + "\r\n" for line in lines)


def _cell(column: str, text: str) -> str:
    from satdiag.rows import parse_number

    if column in _NUMBER_COLUMNS and parse_number(text) is not None:
        return text
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
