"""`satdiag bundle JOB OUT.zip`: the hand-over in one file; `satdiag bundle --check OUT.zip`: is it as it was made."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks
from satdiag.cli.paper_option import sized
from satdiag.language import counted, spoken

if TYPE_CHECKING:
    from satdiag.handover.figures import Format
    from satdiag.report.sheets import Paper


@click.command()
@click.argument("paths", nargs=-1, metavar="JOB OUT.zip", type=click.Path(path_type=Path))
@click.option("--check", is_flag=True, help="Compare a bundle with its manifest: satdiag bundle --check OUT.zip")
@click.option("--by", default="", help="Who hands over, for letters and record; without it: not stated.")
@click.option("--figures", type=click.Choice(["png", "svg"]), help="Put the figures of the report in as files too.")
@click.option("--no-pdf", is_flag=True, help="Leave the report as a PDF out.")
@sized
@click.option("--full-id", is_flag=True, help="Show the identifier in full to the provider, in job, rows and JSON.")
@speaks
def bundle(
    paths: tuple[Path, ...],
    check: bool,
    by: str,
    figures: Format | None,
    no_pdf: bool,
    paper: Paper | None,
    full_id: bool,
) -> int:
    """Put report, letters, acceptance record, job and rows of JOB into one new ZIP file.

    A manifest lists each file with its SHA-256. With --check exit code 0: nothing was changed; 1: a file was changed,
    is missing or was added; 2: it cannot be read.
    """
    if check:
        if len(paths) != 1 or by or figures or no_pdf or paper or full_id:
            raise click.UsageError("--check takes the bundle alone: satdiag bundle --check OUT.zip")
        return _check(paths[0])
    if len(paths) != 2:
        raise click.UsageError("Name the job and the file to make: satdiag bundle JOB OUT.zip")
    if paper and no_pdf:
        raise click.UsageError("--paper is the size of the PDF, and --no-pdf leaves it out: take one of them.")
    _make(*paths, by=by, figures=figures, pdf=not no_pdf, paper=paper, full_id=full_id)
    return 0


def _make(
    path: Path, out: Path, *, by: str, figures: Format | None, pdf: bool, paper: Paper | None, full_id: bool
) -> None:
    from satdiag.acceptance.record import checked_name
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.handover.bundle import Wishes, bundle_bytes
    from satdiag.handover.bundle_check import check_bundle
    from satdiag.handover.writing import check_free, write_file
    from satdiag.opening import open_job

    if out.suffix.lower() != ".zip":
        raise click.UsageError(f"A bundle is named NAME.zip. Write e.g. {out.stem or 'handover'}.zip.")
    by = checked_name(by) or ""
    warn_of_unknown_files(path)
    job = open_job(path)
    check_free(out)
    write_file(out, bundle_bytes(job, spoken(), Wishes(full_id, by, figures, pdf, paper)))
    checked = check_bundle(out)
    click.echo(f"{out}: {counted(checked.files, 'file')} of job {checked.job} and their manifest.")
    click.echo(f"SHA-256 of the job: {checked.job_sha256}")


def _check(place: Path) -> int:
    from satdiag.handover.bundle_check import check_bundle

    checked = check_bundle(place)
    for name, trouble in checked.wrong.items():
        click.echo(f"{name}: {trouble}")
    if checked.wrong:
        click.echo(f"{place}: not as it was made.", err=True)
        return 1
    click.echo(f"{place}: all {checked.files} files of job {checked.job} are as the manifest lists them.")
    return 0
