"""`satdiag import FOLDER JOBFILE`: a job folder becomes one job file."""

from __future__ import annotations

from pathlib import Path

import click

from satdiag.cli.words import content


@click.command("import")
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("jobfile", type=click.Path(path_type=Path))
def import_(folder: Path, jobfile: Path) -> None:
    """Put the job in FOLDER into the new job file JOBFILE (NAME.satjob), without loss.

    Files that do not belong to a job are named and left out. An existing file is never overwritten.
    """
    from satdiag.errors import NotAJob, SatdiagError
    from satdiag.folder import job_hash, read_folder, unknown_files
    from satdiag.opening import is_folder
    from satdiag.store import create_job_file

    if jobfile.suffix != ".satjob":
        raise SatdiagError(
            f"{jobfile}: a job file is named NAME.satjob. Write e.g. {jobfile.stem or 'my-job'}.satjob."
        )
    if not is_folder(folder):
        raise NotAJob(f"{folder}: this is a file. Name the job folder to import.")
    job = read_folder(folder)
    for name in unknown_files(folder):
        click.echo(f"warning: {name} does not belong to a job folder and is not imported", err=True)
    create_job_file(jobfile, job)
    click.echo(f"{jobfile}: job {job.sheet.id}, {content(job)}.")
    click.echo(f"SHA-256 of the content: {job_hash(job)}")
