"""`satdiag checklist PATH`: walk the installation, with what the log proves, contradicts, or leaves open."""

from __future__ import annotations

import json
from pathlib import Path

import click

from satdiag.cli.language_option import speaks


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the checklist as JSON on standard output.")
@click.option("--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Also write a page to print.")
@speaks
def checklist(path: Path, as_json: bool, report: Path | None) -> None:
    """Walk installation, ring, configuration, feed, reception and activation, step by step.

    PATH is a job folder or a job file. A step is ticked only where rows of the log prove it; an old proof is none of
    now.
    """
    import satdiag
    from satdiag.acceptance.checklist import checklist as walk
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.kept import analyse_here
    from satdiag.report.checklist import checklist_lines, write_checklist

    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    found = walk(job, analyse_here(job))
    if report is not None:
        write_checklist(report, job, found)
        click.echo(f"page written: {report}", err=True)
    if as_json:
        click.echo(json.dumps(found.to_dict(), indent=1, ensure_ascii=False))
    else:
        click.echo("\n".join(checklist_lines(job, found)))
