"""`satdiag fleet report DIR`: one page on all jobs of a data set."""

from __future__ import annotations

from pathlib import Path

import click

from satdiag.cli.language_option import speaks


@click.command()
@click.argument("directory", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--to", "page", metavar="FILE", type=click.Path(path_type=Path), help="The page; DIR/report.html by default."
)
@speaks
def report(directory: Path, page: Path | None) -> None:
    """Write one page on all jobs of a data set that `satdiag fleet SRC... --to DIR` made.

    How many jobs, the classes of faults over time, how long channels take by package, region and receiver, how
    verdicts fare against what people found, and jobs worth a look. The page names the paths of jobs.
    """
    from satdiag.errors import SatdiagError
    from satdiag.fleet.report_page import write_fleet_report

    if not directory.is_dir():
        raise SatdiagError(
            f"{directory}: there is no such folder. Name a data set; `satdiag fleet SRC... --to DIR` makes one."
        )
    place = page if page is not None else directory / "report.html"
    write_fleet_report(place, directory)
    click.echo(f"report written: {place}", err=True)
