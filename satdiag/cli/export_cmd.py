"""`satdiag export JOB`: a job in other people's forms: plain files, spreadsheet, Parquet, JSON, figures, a copy."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks
from satdiag.cli.words import content, misnamed
from satdiag.language import counted

if TYPE_CHECKING:
    from satdiag.findings import Findings
    from satdiag.handover.figures import Format
    from satdiag.job import Job

_PLACE = click.Path(path_type=Path)


@click.command()
@click.argument("job", type=_PLACE)
@click.argument("folder", type=_PLACE, required=False)
@click.option(
    "--spreadsheet",
    metavar="FILE",
    type=_PLACE,
    help="FILE.csv: the observations, what looks like a formula gets an apostrophe before it; FILE.xlsx: a "
    "workbook with observations, channels and findings.",
)
@click.option("--parquet", metavar="FILE", type=_PLACE, help="The observations as typed columns.")
@click.option("--json", "json_file", metavar="FILE", type=_PLACE, help="Job and findings in one JSON document.")
@click.option("--figures", metavar="FOLDER", type=_PLACE, help="Every figure of the report, each with its text.")
@click.option(
    "--format",
    "kind",
    type=click.Choice(["png", "svg"]),
    default="png",
    show_default=True,
    help="With --figures: what kind of files they are.",
)
@click.option("--copy", metavar="FILE.satjob", type=_PLACE, help="The whole job as a new job file.")
@click.option("--full-id", is_flag=True, help="Write the receiver's identifier in full in what is made.")
@speaks
def export(
    job: Path,
    folder: Path | None,
    spreadsheet: Path | None,
    parquet: Path | None,
    json_file: Path | None,
    figures: Path | None,
    kind: Format,
    copy: Path | None,
    full_id: bool,
) -> None:
    """Write JOB (a job file or folder) as a new job folder FOLDER, without loss, or in another form.

    FOLDER and --copy hold the receiver's identifier as the job does; all else masks it unless --full-id is given.
    Nothing that exists is overwritten.
    """
    if not any((folder, spreadsheet, parquet, json_file, figures, copy)):
        raise click.UsageError(
            "Say what to write: a FOLDER, --spreadsheet FILE.csv or FILE.xlsx, --parquet FILE, --json FILE, "
            "--figures FOLDER or --copy FILE.satjob."
        )
    if spreadsheet is not None and spreadsheet.suffix.lower() not in (".csv", ".xlsx"):
        raise click.UsageError(f"--spreadsheet writes FILE.csv or FILE.xlsx, not {spreadsheet.name}.")
    if copy is not None and copy.suffix.lower() != ".satjob":
        raise click.UsageError(misnamed(copy))
    from satdiag.handover.writing import check_free
    from satdiag.opening import open_job
    from satdiag.safe_write import check_form

    for place, form in ((folder, "a folder"), (figures, "a folder"), (parquet, "Parquet"), (json_file, "JSON")):
        if place is not None:
            check_form(place, form)

    places = [place.absolute() for place in (folder, spreadsheet, parquet, json_file, figures, copy) if place]
    if len(set(places)) < len(places):
        raise click.UsageError("Two of these have the same name. Give each its own; nothing was written.")
    opened = open_job(job)
    for place in (spreadsheet, parquet, json_file):
        if place is not None:
            check_free(place)
    _write_job(opened, folder, copy)
    findings = _findings(opened) if _wants_findings(spreadsheet, json_file, figures) else None
    _write_tables(opened, findings, spreadsheet, parquet, full_id)
    if findings is not None and json_file is not None:
        _write_json(opened, findings, json_file, full_id)
    if findings is not None and figures is not None:
        _write_figures(opened, findings, figures, kind, full_id)


def _wants_findings(spreadsheet: Path | None, json_file: Path | None, figures: Path | None) -> bool:
    is_book = spreadsheet is not None and spreadsheet.suffix.lower() == ".xlsx"
    return is_book or json_file is not None or figures is not None


def _findings(job: Job) -> Findings:
    from satdiag.kept import analyse_here

    return analyse_here(job)


def _write_job(job: Job, folder: Path | None, copy: Path | None) -> None:
    from satdiag.folder import export_files, hash_of, write_folder

    if folder is not None:
        files = export_files(job)
        write_folder(files, folder)
        click.echo(f"{folder}: job {job.sheet.id}, {content(job)}.")
        click.echo(f"SHA-256 of the content: {hash_of(files)}")
    if copy is not None:
        from satdiag.store import create_job_file

        create_job_file(copy, job)
        click.echo(f"{copy}: job {job.sheet.id}, {content(job)}.")


def _write_tables(
    job: Job, findings: Findings | None, spreadsheet: Path | None, parquet: Path | None, full_id: bool
) -> None:
    from satdiag.handover.writing import write_file

    if spreadsheet is not None:
        if findings is not None and spreadsheet.suffix.lower() == ".xlsx":
            from satdiag.handover.workbook import workbook_bytes

            write_file(spreadsheet, workbook_bytes(job, findings, full_id))
            click.echo(f"{spreadsheet}: observations, channels and findings; it is not meant to be read back.")
        else:
            from satdiag.handover.masking import cleaner
            from satdiag.handover.rows_csv import rows_csv

            write_file(spreadsheet, rows_csv(job, cleaner(job, full_id)).encode("utf-8-sig"))
            click.echo(f"{spreadsheet}: the observations, for a spreadsheet; it is not meant to be read back.")
    if parquet is not None:
        from satdiag.handover.columns import parquet_bytes

        write_file(parquet, parquet_bytes(job, full_id))
        click.echo(f"{parquet}: {counted(len(job.rows), 'observation')} in typed columns; times are UTC.")


def _write_json(job: Job, findings: Findings, place: Path, full_id: bool) -> None:
    from satdiag.handover.document import export_bytes
    from satdiag.handover.writing import write_file

    write_file(place, export_bytes(job, findings, full_id))
    click.echo(f"{place}: job and findings; `satdiag schema export` prints its JSON Schema.")


def _write_figures(job: Job, findings: Findings, folder: Path, kind: Format, full_id: bool) -> None:
    from satdiag.folder import write_folder
    from satdiag.handover.figures import pictures
    from satdiag.report.browser import find_browser

    drawn = pictures(job, findings, kind, find_browser(), full_id)
    files = {f"{picture.name}.{kind}": picture.data for picture in drawn}
    files |= {f"{picture.name}.txt": picture.text.encode() for picture in drawn}
    write_folder(files, folder)
    click.echo(f"{folder}: {counted(len(drawn), 'figure')}, each with a text that says what it shows.")
