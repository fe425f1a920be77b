"""`satdiag redact JOB OUT`: a copy of a job for sharing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks

if TYPE_CHECKING:
    from satdiag.job import Job


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--shift-time", default=0, metavar="DAYS", help="Move every time by so many days; the hours stay.")
@speaks
def redact(job: Path, out: Path, shift_time: int) -> int:
    """Copy a job for sharing: without identifier, names, notes, raw lines and captures, positions to 0.1 degree.

    JOB is a job folder or a job file; OUT is a new folder, or a new file NAME.satjob. Times stay as they are. It is
    printed what was taken out, and whether the analysis of the copy says the same.
    """
    import satdiag
    from satdiag.language import tell
    from satdiag.redact import redact_job, removed_lines, write_copy

    original = satdiag.open_job(job)
    found = redact_job(original, shift_time)
    write_copy(found, out)
    click.echo(tell("Copy for sharing written to {place}:", place=out))
    for line in removed_lines(found):
        click.echo(f"- {line}")
    if shift_time:
        click.echo("- " + tell("days by which every time was moved: {days}", days=shift_time))
    click.echo(_compared(original, found.job))
    return 0


def _compared(original: Job, copy: Job) -> str:
    """Whether both are judged alike, in a sentence."""
    from satdiag.analysis import analyse
    from satdiag.language import tell

    before, after = analyse(original).verdict, analyse(copy).verdict
    if (before.state, before.fault) == (after.state, after.fault):
        return tell("The analysis of the copy comes to the same verdict.")
    return tell(
        "The analysis of the copy comes to another verdict, because positions, captures or orbits are gone: "
        "{verdict}",
        verdict=after.text,
    )
