"""`satdiag confirm PATH`: is the activation confirmed, what holds, and what is still lacking."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks
from satdiag.language import in_figures, tell

if TYPE_CHECKING:
    from rich.table import Table

    from satdiag.acceptance import Acceptance
    from satdiag.acceptance.document import Criterion
    from satdiag.job import Job

STYLES = {"confirmed": "bold green", "not-confirmed": "bold red", "go-on": "bold yellow"}
MARKS = {"holds": "green", "fails": "red", "open": "yellow"}


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the acceptance document on standard output.")
@click.option("--alpha", default=0.05, show_default=True, help="Highest chance of a false confirmation.")
@click.option("--beta", default=0.05, show_default=True, help="Highest chance of ruling out an activated account.")
@click.option("--record", type=click.Path(path_type=Path), help="Write the acceptance record as a page to this file.")
@click.option("--by", default=None, help="Who confirms it, for the record; else the job sheet's technician.")
@speaks
def confirm(path: Path, as_json: bool, alpha: float, beta: float, record: Path | None, by: str | None) -> int:
    """Say whether the activation is confirmed, with stated error rates, and what is still lacking.

    PATH is a job folder or a job file. Exit code 0: confirmed; 1: not confirmed, or more evidence is needed; 2: it
    cannot be read. With --record the job alone is judged, without what this computer has learned from other jobs, so
    that `satdiag verify` finds the same anywhere.
    """
    import satdiag
    from satdiag.acceptance import check_rates
    from satdiag.cli.analyse_cmd import warn_of_unknown_files

    check_rates(alpha, beta)
    if by is not None and record is None:
        raise click.UsageError("--by is for the record: name its file with --record.")
    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    found = _judged(job, alpha, beta, alone=record is not None)
    if record is not None:
        _write(record, job, found, by)
    if as_json:
        click.echo(json.dumps(found.to_dict(), indent=1, ensure_ascii=False))
    else:
        _show(job, found)
    return 0 if found.state == "confirmed" else 1


def _judged(job: Job, alpha: float, beta: float, *, alone: bool) -> Acceptance:
    from satdiag.acceptance import confirm as judge
    from satdiag.analysis import analyse
    from satdiag.kept import analyse_here

    return judge(job, analyse(job) if alone else analyse_here(job), alpha, beta)


def _write(place: Path, job: Job, found: Acceptance, by: str | None) -> None:
    from satdiag.acceptance.record import now_text
    from satdiag.language import spoken
    from satdiag.report.record import record_of, write_record

    made = record_of(job, found, by=by, made_at=now_text(), language=spoken())
    write_record(place, made)
    click.echo(f"Record written to {place}; SHA-256 {made.sha256}.", err=True)


def _show(job: Job, found: Acceptance) -> None:
    from rich.console import Console

    console = Console(highlight=False)
    if not console.is_terminal:
        click.echo("\n".join(_lines(job, found)))
        return
    console.print(found.text, style=STYLES[found.state], markup=False)
    console.print(_rates(job, found), "\n", markup=False)
    console.print(_table(found))
    for text in found.could_not:
        console.print(tell("Note: {what}", what=text), markup=False)


def _lines(job: Job, found: Acceptance) -> list[str]:
    """The plain form, one sentence after the other, for files and pipes."""
    from satdiag.acceptance.seen import state_word

    criteria = [
        tell("{title}: {state}. {what}", title=one.title, state=state_word(one.state), what=_sentences(one))
        for one in found.criteria
    ]
    notes = [tell("Note: {what}", what=text) for text in found.could_not]
    return [found.text, _rates(job, found), "", *criteria, *notes]


def _table(found: Acceptance) -> Table:
    from rich.table import Table
    from rich.text import Text

    from satdiag.acceptance.seen import state_word

    table = Table(box=None, pad_edge=False)
    table.add_column(tell("Criterion"), no_wrap=True)
    table.add_column(tell("State"), no_wrap=True)
    table.add_column(tell("Evidence, and what is lacking"))
    for one in found.criteria:
        table.add_row(Text(one.title), Text(state_word(one.state), style=MARKS[one.state]), Text(_sentences(one)))
    return table


def _rates(job: Job, found: Acceptance) -> str:
    """What the error rates are, and of what time and job all of it is."""
    from satdiag.report.local_time import local_time_of

    rates = tell(
        "At most {alpha} % of accounts that are not activated would be confirmed; of activated ones at most {beta} % "
        "ruled out, where channels come in as is usual (satdiag docs confirm).",
        alpha=in_figures(f"{100 * found.alpha:g}"),
        beta=in_figures(f"{100 * found.beta:g}"),
    )
    return f"{rates} {local_time_of(job).as_of(found.as_of, found.job)}"


def _sentences(one: Criterion) -> str:
    lacking = tell("Still lacking:")
    return f"{one.evidence} {lacking} {one.lacking}" if one.lacking else one.evidence
