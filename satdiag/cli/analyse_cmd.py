"""`satdiag analyse PATH`: the verdict, the reasons, what to do next, and what could not be done."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks
from satdiag.cli.paper_option import sized

if TYPE_CHECKING:
    from satdiag.findings import Findings
    from satdiag.job import Job
    from satdiag.report.sheets import Paper


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the findings document on standard output.")
@click.option("--report", type=click.Path(path_type=Path), help="Also write the report to this HTML file.")
@click.option("--pdf", type=click.Path(path_type=Path), help="Also print the report to this PDF file.")
@sized
@click.option("--can", metavar="WORDS", help="What you have or can do, parted by commas; '--can help' lists them.")
@click.option(
    "--aim",
    type=click.Choice(["repair", "proof"]),
    default="repair",
    show_default=True,
    help="What the next tests are for: least work in all, or a verdict that is sure.",
)
@click.option("--packaged", is_flag=True, help="Use the packaged figures, not what `satdiag learn` moved.")
@click.option(
    "--reference",
    metavar="JOB",
    type=click.Path(path_type=Path),
    help="The job of a known-good receiver that stood beside this one at the same minutes.",
)
@click.option("--remember-open-sky", is_flag=True, help="Keep this receiver's levels under an open sky for later.")
@click.option("--forget-open-sky", is_flag=True, help="Take back what this job taught of these levels.")
@speaks
def analyse(
    path: Path,
    as_json: bool,
    report: Path | None,
    pdf: Path | None,
    paper: Paper | None,
    can: str | None,
    aim: str,
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
    from satdiag.kept import change_open_sky, learned_here, open_sky_here, wait_here
    from satdiag.safe_write import check_form

    if paper is not None and pdf is None:
        raise click.UsageError("--paper is the size of a PDF's sheets: say where to as well, --pdf FILE.pdf.")
    for place, form in ((report, "a page"), (pdf, "a PDF")):
        if place is not None:
            check_form(place, form)
    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    beside = None if reference is None else satdiag.open_job(reference)
    if remember_open_sky or forget_open_sky:
        click.echo(change_open_sky(job, remember=remember_open_sky), err=True)
    known = abilities(can)
    learned, wait = (PACKAGED, None) if packaged else (learned_here(), wait_here(job))
    findings = satdiag.analyse(job, known, learned, beside, open_sky_here(job), aim, wait)
    if report is not None:
        from satdiag.report import write_report

        write_report(report, job, findings, can=known)
        click.echo(f"report written: {report}", err=True)
    if pdf is not None:
        _print_report(pdf, job, findings, known, paper)
    if as_json:
        click.echo(json.dumps(findings.to_dict(), indent=1, ensure_ascii=False))
    else:
        from satdiag.cli.verdict_screen import show

        show(job, findings)


def _print_report(pdf: Path, job: Job, findings: Findings, known: frozenset[str] | None, paper: Paper | None) -> None:
    """The report as a PDF; without a browser the page beside it, and a line that says so."""
    from satdiag.report.writing import write_pdf

    written = write_pdf(pdf, job, findings, can=known, paper=paper)
    if written != pdf.resolve():
        click.echo(f"no browser to make a PDF with: print {written} from any browser, or install Chromium", err=True)
    else:
        click.echo(f"report written: {pdf}", err=True)


def abilities(words: str | None) -> frozenset[str] | None:
    """What the person can do, from the option's words; None: not said. Raises click.UsageError."""
    from satdiag.diagnosis.model import load_model

    if words is None:
        return None
    known = load_model().can
    given = frozenset(word.strip() for word in words.split(",") if word.strip())
    if unknown := sorted(given - set(known)):
        listed = "\n".join(f"  {name}: {text}" for name, text in known.items())
        if unknown == ["help"]:
            click.echo(f"Name any of these, parted by commas:\n{listed}")
            click.get_current_context().exit(0)
        raise click.UsageError(
            f"--can does not know {', '.join(unknown)}. Name any of these, parted by commas:\n{listed}"
        )
    return given


def warn_of_unknown_files(path: Path) -> None:
    from satdiag.opening import is_folder

    if is_folder(path) and (path / "job.toml").is_file():
        from satdiag.folder import unknown_files

        for name in unknown_files(path):
            click.echo(f"warning: {name} does not belong to a job folder and is not read", err=True)
