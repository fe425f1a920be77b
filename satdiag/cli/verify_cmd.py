"""`satdiag verify FILE JOB`: do an acceptance record and a job belong together, unchanged?"""

from __future__ import annotations

from pathlib import Path

import click

from satdiag.cli.language_option import speaks


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
@speaks
def verify(file: Path, job: Path, as_json: bool) -> int:
    """Say whether an acceptance record and a job belong together and were not changed since.

    FILE is the page that `satdiag confirm JOB --record FILE` wrote; JOB is a job folder or a job file. Exit code 0:
    they belong together, unchanged; 1: they do not (it is said which differs); 2: one of them cannot be read.
    """
    import json
    from dataclasses import asdict

    import satdiag
    from satdiag.report.record_check import no_proof, verify_record

    found = verify_record(file, satdiag.open_job(job))
    if as_json:
        click.echo(json.dumps({**asdict(found), "caution": no_proof()}, indent=1, ensure_ascii=False))
    else:
        click.echo("\n".join([found.text, *(f"- {one.text}" for one in found.checks), no_proof()]))
    return 0 if found.belongs else 1
