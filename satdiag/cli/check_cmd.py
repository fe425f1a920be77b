"""`satdiag check PATH`: everything that is wrong with a job, file by file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.words import content

if TYPE_CHECKING:
    from satdiag.errors import Problem
    from satdiag.job import Job


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--all", "show_all", is_flag=True, help="Print every problem, not the first 20 and a count.")
@click.option(
    "--repair",
    "to",
    metavar="NEW",
    type=click.Path(path_type=Path),
    help="Write what can be recovered as a new job, NEW.satjob or a folder; PATH stays as it is.",
)
@click.option(
    "--sheet",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="With --repair: the job sheet, where that of PATH is lost.",
)
@click.option("--json", "as_json", is_flag=True, help="With --repair: say what is lost as JSON.")
def check(path: Path, show_all: bool, to: Path | None, sheet: Path | None, as_json: bool) -> int:
    """Name every problem of the job at PATH, a job folder or a job file; or recover what is left of a damaged one.

    Exit code 0: no problem found, or all recovered; 1: problems found, or something is lost; 2: it cannot be read at
    all, or nothing can be recovered.
    """
    if to is not None:
        return _repair(path, to, sheet, as_json)
    if sheet is not None or as_json:
        raise click.UsageError("--sheet and --json belong to --repair NEW.")
    from satdiag.errors import BadInput
    from satdiag.folder import job_hash
    from satdiag.opening import is_folder, open_job

    problems = _folder_problems(path) if is_folder(path) else _job_file_problems(path)
    if problems:
        lines = [str(problem) for problem in problems] if show_all else [str(BadInput(problems))]
        click.echo("\n".join(lines))
        return 1
    job = open_job(path)
    click.echo(f"{path}: no problem found in {content(job)}.")
    click.echo(f"SHA-256 of the content: {job_hash(job)}")
    return 0


def _repair(path: Path, to: Path, sheet: Path | None, as_json: bool) -> int:
    """Write the new job, and say what is lost."""
    import json

    from satdiag.folder import bytes_of, job_hash
    from satdiag.repair import repair

    job, losses = repair(path, to, bytes_of(sheet) if sheet else None)
    if as_json:
        click.echo(json.dumps({**losses.as_json(), "written": str(to), "sha256": job_hash(job)}, indent=2))
    else:
        click.echo("\n".join([f"{path}:", *losses.lines(), f"Written to {to}; {path} is as it was."]))
        click.echo(f"SHA-256 of the content: {job_hash(job)}")
    return 0 if losses.whole else 1


def _folder_problems(path: Path) -> list[Problem]:
    from satdiag.errors import Problem
    from satdiag.folder import read_folder, unknown_files

    job, problems = _or_problems(lambda: read_folder(path))
    mend = "Move it out of the folder, or give it the name that `satdiag docs log` asks for."
    strange = [Problem(name, "this does not belong to a job folder", mend) for name in unknown_files(path)]
    return [*strange, *problems, *(_constellation_problems(job) if job else [])]


def _job_file_problems(path: Path) -> list[Problem]:
    from satdiag.store import check_job_file, read_job_file

    return check_job_file(path) or _constellation_problems(read_job_file(path))


def _or_problems(read: Callable[[], Job]) -> tuple[Job | None, list[Problem]]:
    from satdiag.errors import BadInput

    try:
        return read(), []
    except BadInput as error:
        return None, list(error.problems)


def _constellation_problems(job: Job) -> list[Problem]:
    """What is wrong with the constellation that the job names, and with the orbits it brings along."""
    from satdiag.csv_text import decode
    from satdiag.errors import BadInput, Problem, SatdiagError
    from satdiag.sky.constellation import ELEMENT_FILES
    from satdiag.sky.elements import parse_elements
    from satdiag.sky.estimate import constellation_of

    problems: list[Problem] = []
    reads: list[Callable[[], object]] = [lambda: constellation_of(job)]
    for name in ELEMENT_FILES:
        if name in job.documents:
            reads.append(lambda name=name: parse_elements(decode(job.documents[name], name), name))  # type: ignore[misc]
    for read in reads:
        try:
            read()
        except BadInput as error:
            problems += error.problems
        except SatdiagError as error:
            what, _, mend = str(error).partition("; ")
            problems.append(Problem("job.toml", what, mend[:1].upper() + mend[1:], column="constellation"))
    return problems
