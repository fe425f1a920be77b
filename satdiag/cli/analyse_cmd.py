"""`satdiag analyse PATH`: the verdict, the reasons, what to do next, and what could not be done."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import Console

    from satdiag.findings import Evidence, Findings

STRONGEST = 3


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the findings document on standard output.")
@click.option("--report", type=click.Path(path_type=Path), help="Also write the report to this HTML file.")
def analyse(path: Path, as_json: bool, report: Path | None) -> None:
    """Say which fault it is, how sure that is, and what to do next.

    PATH is a job folder or a job file.
    """
    import satdiag

    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    findings = satdiag.analyse(job)
    if report is not None:
        from satdiag.report import write_report

        write_report(report, job, findings)
        click.echo(f"report written: {report}", err=True)
    if as_json:
        click.echo(json.dumps(findings.to_dict(), indent=1, ensure_ascii=False))
    else:
        _show(findings)


def warn_of_unknown_files(path: Path) -> None:
    if path.is_dir() and (path / "job.toml").is_file():
        from satdiag.folder import unknown_files

        for name in unknown_files(path):
            click.echo(f"warning: {name} does not belong to a job folder and is not read", err=True)


def _show(findings: Findings) -> None:
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=False)
    verdict = findings.verdict
    style = {"works": "bold green", "fault": "bold red"}.get(verdict.state, "bold yellow")
    console.print(verdict.text, style=style, markup=False)
    firmness = "This stands firm." if verdict.sure else "This is not certain yet."
    console.print(f"{firmness} As of {verdict.as_of or 'unknown'}; job {findings.job}.", markup=False)
    _reasons(console, findings)
    _heading(console, "What to do next")
    console.print(verdict.do_next, markup=False)
    for test in findings.diagnosis.next_tests[:STRONGEST]:
        gain = f"worth about {test.worth_minutes:.0f} minutes, takes {test.minutes:.0f}"
        console.print(f"  - {test.test} ({gain}): {test.text}", markup=False)
    _told(console, findings)
    _cautions(console, findings)
    _earlier(console, findings)
    if findings.could_not:
        _heading(console, "What could not be done")
        for text in findings.could_not:
            console.print(f"  - {text}", markup=False)
    _heading(console, "What to tell the customer")
    console.print(verdict.customer, markup=False)


def _told(console: Console, findings: Findings) -> None:
    """What the estimators say in sentences, where they have something to say."""
    for title, text in (("Channels", findings.entitlement.text), ("Channel changes", findings.tuning.text)):
        if text:
            _heading(console, title)
            console.print(text, markup=False)


def _heading(console: Console, text: str) -> None:
    console.print(f"\n{text}", style="bold", markup=False)


def _reasons(console: Console, findings: Findings) -> None:
    from satdiag.diagnosis.verdict import TITLES

    evidence = findings.diagnosis.evidence
    claim = TITLES.get(findings.verdict.fault or "", "it")
    for title, part in (
        (f"What speaks for it ({claim})", [one for one in evidence if one.weight_db > 0.05]),
        ("What speaks against it", [one for one in evidence if one.weight_db < -0.05]),
    ):
        _heading(console, title)
        for one in part[:STRONGEST]:
            console.print(f"  - {_sentence(one)}", markup=False)
        if not part:
            console.print("  - nothing", markup=False)


def _sentence(one: Evidence) -> str:
    return f"{one.text} ({one.item}: {one.weight_db:+.1f} decibans on its own)"


def _cautions(console: Console, findings: Findings) -> None:
    from satdiag.report.cautions import cautions_for

    _heading(console, "Take care")
    for caution in cautions_for(findings):
        console.print(f"  - {caution.head}. {caution.text}", markup=False)


def _earlier(console: Console, findings: Findings) -> None:
    if findings.diagnosis.earlier:
        _heading(console, "Earlier, and gone now")
        for one in findings.diagnosis.earlier:
            console.print(f"  - {one.fault} from {one.from_} to {one.to}: {one.ended_by}", markup=False)
