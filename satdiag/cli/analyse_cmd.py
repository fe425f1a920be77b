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
@click.option("--can", metavar="WORDS", help="What you have or can do, parted by commas; '--can help' lists them.")
@click.option("--packaged", is_flag=True, help="Use the packaged figures, not what `satdiag learn` moved.")
@click.option(
    "--reference",
    metavar="JOB",
    type=click.Path(path_type=Path),
    help="The job of a known-good receiver that stood beside this one at the same minutes.",
)
@click.option("--remember-open-sky", is_flag=True, help="Keep this receiver's levels under an open sky for later.")
@click.option("--forget-open-sky", is_flag=True, help="Take back what this job taught of them.")
def analyse(
    path: Path,
    as_json: bool,
    report: Path | None,
    can: str | None,
    packaged: bool,
    reference: Path | None,
    remember_open_sky: bool,
    forget_open_sky: bool,
) -> None:
    """Say which fault it is, how sure that is, and what to do next.

    PATH is a job folder or a job file. With --can no test is offered that needs something else.
    """
    import satdiag
    from satdiag.diagnosis.learning import PACKAGED
    from satdiag.kept import change_open_sky, learned_here, open_sky_here

    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    beside = None if reference is None else satdiag.open_job(reference)
    if remember_open_sky or forget_open_sky:
        click.echo(change_open_sky(job, remember=remember_open_sky), err=True)
    known = abilities(can)
    findings = satdiag.analyse(job, known, PACKAGED if packaged else learned_here(), beside, open_sky_here(job))
    if report is not None:
        from satdiag.report import write_report

        write_report(report, job, findings)
        click.echo(f"report written: {report}", err=True)
    if as_json:
        click.echo(json.dumps(findings.to_dict(), indent=1, ensure_ascii=False))
    else:
        _show(findings)


def abilities(words: str | None) -> frozenset[str] | None:
    """What the person can do, from the option's words; None: not said. Raises click.UsageError."""
    from satdiag.diagnosis.model import load_model

    if words is None:
        return None
    known = load_model().can
    given = frozenset(word.strip() for word in words.split(",") if word.strip())
    if unknown := sorted(given - set(known)):
        listed = "\n".join(f"  {name}: {text}" for name, text in known.items())
        said = "" if unknown == ["help"] else f"--can does not know {', '.join(unknown)}. "
        raise click.UsageError(f"{said}Name any of these, parted by commas:\n{listed}")
    return given


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
    if findings.diagnosis.explanation is not None:
        console.print(findings.diagnosis.explanation.kind_text, markup=False)
        console.print(findings.diagnosis.explanation.of_hundred, markup=False)
    _reasons(console, findings)
    _next(console, findings)
    _told(console, findings)
    _cautions(console, findings)
    _earlier(console, findings)
    if findings.could_not:
        _heading(console, "What could not be done")
        for text in findings.could_not:
            console.print(f"  - {text}", markup=False)
    _heading(console, "What to tell the customer")
    console.print(verdict.customer, markup=False)


def _next(console: Console, findings: Findings) -> None:
    from satdiag.report.numbers import percent
    from satdiag.report.words import fault_words

    diagnosis = findings.diagnosis
    _heading(console, "What to do next")
    console.print(findings.verdict.do_next, markup=False)
    for test in diagnosis.next_tests[:STRONGEST]:
        gain = f"worth about {test.worth_minutes:.0f} minutes, takes {test.minutes:.0f}"
        console.print(f"  - {test.test} ({gain}): {test.text}", markup=False)
    if diagnosis.stop_text and findings.verdict.state in ("fault", "cannot-tell"):
        console.print(diagnosis.stop_text, markup=False)
    for repair in diagnosis.repairs[1:STRONGEST]:
        console.print(f"  - if that is not it ({repair.minutes:.0f} minutes): {repair.text}", markup=False)
    for step in diagnosis.plan[:1]:
        _heading(console, f"What the answers to {step.test} would mean")
        for answer in step.answers:
            leads = f"{fault_words(answer.fault)}, {percent(answer.probability)}"
            console.print(f"  - {answer.text} (chance {percent(answer.chance)}): {leads}", markup=False)
    if len(diagnosis.plan) > 1:
        console.print(f"After the likeliest answers: {', then '.join(step.test for step in diagnosis.plan[1:])}.")
    if diagnosis.explanation is not None and findings.verdict.state != "works":
        _heading(console, "What would change this")
        for text in diagnosis.explanation.change_mind:
            console.print(f"  - {text}", markup=False)


def _told(console: Console, findings: Findings) -> None:
    """What the estimators say in sentences, where they have something to say."""
    beside = findings.diagnosis.beside
    for title, text in (
        ("Side by side", beside.text if beside else ""),
        ("Channels", findings.entitlement.text),
        ("Channel changes", findings.tuning.text),
    ):
        if text:
            _heading(console, title)
            console.print(text, markup=False)


def _heading(console: Console, text: str) -> None:
    console.print(f"\n{text}", style="bold", markup=False)


def _reasons(console: Console, findings: Findings) -> None:
    from satdiag.diagnosis.titles import TITLES

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
    return f"{one.text} ({one.item}: {one.strength}, {one.weight_db:+.1f} decibans on its own)"


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
