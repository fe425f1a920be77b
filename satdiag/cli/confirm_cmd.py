"""`satdiag confirm PATH`: is the activation confirmed, what holds, and what is still lacking."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.table import Table

    from satdiag.acceptance import Acceptance
    from satdiag.acceptance.document import Criterion

STYLES = {"confirmed": "bold green", "not-confirmed": "bold red", "go-on": "bold yellow"}
MARKS = {"holds": "green", "fails": "red", "open": "yellow"}


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the acceptance document on standard output.")
@click.option("--alpha", default=0.05, show_default=True, help="Highest chance of a false confirmation.")
@click.option("--beta", default=0.05, show_default=True, help="Highest chance of ruling out an activated account.")
def confirm(path: Path, as_json: bool, alpha: float, beta: float) -> int:
    """Say whether the activation is confirmed, with stated error rates, and what is still lacking.

    PATH is a job folder or a job file. Exit code 0: confirmed; 1: not confirmed, or more evidence is needed; 2: it
    cannot be read.
    """
    import satdiag
    from satdiag.acceptance import check_rates
    from satdiag.acceptance import confirm as judge
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.kept import analyse_here

    check_rates(alpha, beta)
    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    found = judge(job, analyse_here(job), alpha, beta)
    if as_json:
        click.echo(json.dumps(found.to_dict(), indent=1, ensure_ascii=False))
    else:
        _show(found)
    return 0 if found.state == "confirmed" else 1


def _show(found: Acceptance) -> None:
    from rich.console import Console

    console = Console(highlight=False)
    if not console.is_terminal:
        click.echo("\n".join(_lines(found)))
        return
    console.print(found.text, style=STYLES[found.state], markup=False)
    console.print(_rates(found), "\n", markup=False)
    console.print(_table(found))
    for text in found.could_not:
        console.print(f"Note: {text}", markup=False)


def _lines(found: Acceptance) -> list[str]:
    """The plain form, one sentence after the other, for files and pipes."""
    criteria = [f"{one.title}: {one.state}. {_sentences(one)}" for one in found.criteria]
    return [found.text, _rates(found), "", *criteria, *(f"Note: {text}" for text in found.could_not)]


def _table(found: Acceptance) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    table.add_column("What", no_wrap=True)
    table.add_column("State", no_wrap=True)
    table.add_column("Evidence, and what is lacking")
    for one in found.criteria:
        table.add_row(Text(one.title), Text(one.state, style=MARKS[one.state]), Text(_sentences(one)))
    return table


def _rates(found: Acceptance) -> str:
    return (
        f"At most {100 * found.alpha:g} % of accounts that are not activated would be confirmed; of activated ones "
        f"at most {100 * found.beta:g} % ruled out, where channels come in as is usual (satdiag docs confirm). "
        f"As of {found.as_of or 'unknown'}; job {found.job}."
    )


def _sentences(one: Criterion) -> str:
    return f"{one.evidence} Still lacking: {one.lacking}" if one.lacking else one.evidence
