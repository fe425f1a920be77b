"""`satdiag compare A B`: two jobs, or two visits of one, before and after a repair."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks

if TYPE_CHECKING:
    from satdiag.acceptance.compare_document import Comparison
    from satdiag.job import Job


@click.command()
@click.argument("before", type=click.Path(path_type=Path))
@click.argument("after", type=click.Path(path_type=Path), required=False)
@click.option("--visits", metavar="A,B", help="Compare two visits of the one job named, e.g. 1,2.")
@click.option("--json", "as_json", is_flag=True, help="Print the comparison as JSON.")
@click.option("--report", type=click.Path(path_type=Path), help="Write the comparison as a page to this file.")
@speaks
def compare(before: Path, after: Path | None, visits: str | None, as_json: bool, report: Path | None) -> int:
    """Compare two jobs, such as before and after a repair: what changed, and is what was wrong repaired?

    BEFORE and AFTER are job folders or job files. With --visits only one is named, and two of its visits are
    compared. Exit code 0: compared, whatever came out; 2: it cannot be read.
    """
    import json

    from satdiag.acceptance import compare as judge
    from satdiag.kept import analyse_here

    jobs, numbers = _jobs(before, after, visits)
    found = judge(jobs[0], analyse_here(jobs[0]), jobs[1], analyse_here(jobs[1]), numbers)
    if report is not None:
        from satdiag.report.compare import write_comparison

        write_comparison(report, jobs, found)
        click.echo(f"Page written to {report}.", err=True)
    if as_json:
        click.echo(json.dumps(found.to_dict(), indent=1, ensure_ascii=False))
    elif report is None:
        click.echo("\n".join(_lines(found)))
    return 0


def _jobs(before: Path, after: Path | None, visits: str | None) -> tuple[tuple[Job, Job], tuple[int, int] | None]:
    import satdiag
    from satdiag.acceptance.visits import visit_of

    if (after is None) == (visits is None):
        raise click.UsageError("Name two jobs, or one job and two of its visits with --visits 1,2.")
    job = satdiag.open_job(before)
    if after is not None:
        return (job, satdiag.open_job(after)), None
    numbers = (visits or "").split(",")
    if len(numbers) != 2 or not all(text.strip().isdecimal() for text in numbers):
        raise click.UsageError("--visits takes two numbers, e.g. --visits 1,2.")
    first, second = int(numbers[0]), int(numbers[1])
    return (visit_of(job, first), visit_of(job, second)), (first, second)


def _lines(found: Comparison) -> list[str]:
    from satdiag.acceptance.compare_words import STATES
    from satdiag.language import tell, translated

    lines = [found.text, *(f"! {text}" for text in found.warnings), ""]
    for one in found.items:
        state = translated(STATES[one.state])
        lines.append(_changed(one.title, one.before_text, one.after_text, state))
        lines.append(f"    {one.effect_text}. {one.text}" if one.effect is not None else f"    {one.text}")
    lines += ["", *_fault_lines(found)]
    lines += [tell("To tell: {what}", what=text) for text in found.to_log]
    return [*lines, *(tell("Note: {what}", what=text) for text in found.could_not)]


def _fault_lines(found: Comparison) -> list[str]:
    from satdiag.acceptance.compare_words import FAULT_STATES
    from satdiag.diagnosis.wording import percent
    from satdiag.language import translated

    return [
        _changed(one.title, percent(one.before), percent(one.after), translated(FAULT_STATES[one.state]))
        for one in found.faults
    ]


def _changed(title: str, before: str, after: str, state: str) -> str:
    from satdiag.language import tell

    return tell("{title}: {before} → {after}; {state}.", title=title, before=before, after=after, state=state)
