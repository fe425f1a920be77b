"""`satdiag paper JOB`: a form to fill in with a pen, and what was written on it typed in afterwards."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks
from satdiag.cli.paper_option import sized
from satdiag.language import counted

if TYPE_CHECKING:
    from datetime import date, tzinfo

    from satdiag.handover.paper_lines import PaperReader, Understood
    from satdiag.job import Job
    from satdiag.report.sheets import Paper

PROMPT_NAME = "typed"


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--out", metavar="FILE.html", type=click.Path(path_type=Path), help="Write the form to this file.")
@click.option("--pdf", metavar="FILE.pdf", type=click.Path(path_type=Path), help="Also, or only, as a PDF.")
@sized
@click.option("--full-id", is_flag=True, help="Print the receiver's identifier in full.")
@click.option("--enter", is_flag=True, help="Type in what was written on the form.")
@click.option("--from", "source", metavar="FILE", help="With --enter: read lines from a file; -: standard input.")
@click.option("--date", "day", metavar="DAY", help="With --enter: the day, e.g. 2031-05-03.")
@click.option("--zone", metavar="ZONE", help="With --enter: time zone or offset; default: that of the job's site.")
@click.option("--yes", is_flag=True, help="With --enter: write without asking.")
@speaks
def paper(
    job: Path,
    out: Path | None,
    pdf: Path | None,
    paper: Paper | None,
    full_id: bool,
    enter: bool,
    source: str | None,
    day: str | None,
    zone: str | None,
    yes: bool,
) -> None:
    """Write a form of JOB to print and fill in with a pen: `satdiag paper my-job --out form.html`.

    Afterwards `satdiag paper my-job --enter` takes lines such as '14:05 31+ 32- 33? 40-45+' (plays, refused, no
    signal), '14:10 place open-sky' and '14:12 la 3', shows what it understood, and adds all of it to the job or
    nothing. `satdiag docs handover` has more.
    """
    from satdiag.opening import open_job

    if enter and (out is not None or pdf is not None):
        raise click.UsageError("--enter goes alone; write the form with a command of its own.")
    if not enter and (source or day or zone or yes):
        raise click.UsageError("--from, --date, --zone and --yes belong to --enter.")
    if enter:
        _enter(job, open_job(job), source, day, zone, yes)
        return
    if out is None and pdf is None:
        raise click.UsageError("Say where to: --out FILE.html, --pdf FILE.pdf; or --enter to type it in.")
    _write_form(open_job(job), out, pdf, paper, full_id)


def _write_form(job: Job, out: Path | None, pdf: Path | None, paper: Paper | None, full_id: bool) -> None:
    from satdiag.handover.paper_form import form_html
    from satdiag.handover.writing import check_free, write_file
    from satdiag.report.sheets import paper_or_default
    from satdiag.safe_write import check_form

    for place, form in ((out, "a page"), (pdf, "a PDF")):
        if place is not None:
            check_form(place, form)
    if out is not None:
        check_free(out)
    page = form_html(job, paper_or_default(paper), full_id)
    if pdf is not None:
        from satdiag.report.browser import print_pdf

        print_pdf(page, pdf)
        click.echo(f"{pdf}: the form to print.")
    if out is not None:
        write_file(out, page.encode())
        click.echo(f"{out}: the form; print it from a browser.")


def _enter(place: Path, job: Job, source: str | None, day: str | None, zone: str | None, yes: bool) -> None:
    from satdiag.errors import SatdiagError
    from satdiag.handover.paper_lines import PaperReader, check_together
    from satdiag.opening import add_rows

    asks = source is None and sys.stdin.isatty()
    name = source if source not in (None, "-") else PROMPT_NAME
    reader = PaperReader(job, _day(day, asks), _zone(job, zone), str(name))
    if asks:
        lines = _typed(reader)
        check_together(job, lines, str(name))
    else:
        lines = reader.read(_lines(source))
    rows = [row for line in lines for row in line.rows]
    if not rows:
        click.echo("Nothing was entered, nothing was written.")
        return
    _show(job, lines)
    if not yes:
        if not sys.stdin.isatty():
            raise SatdiagError("Nothing was written: say --yes if this is right.")
        these = "this one observation" if len(rows) == 1 else f"these {len(rows)} observations"
        if not click.confirm(f"Add {these}?"):
            click.echo("Nothing was written.")
            return
    add_rows(place, rows)
    ids = rows[0].id if len(rows) == 1 else f"{rows[0].id} to {rows[-1].id}"
    click.echo(f"{counted(len(rows), 'observation')} added, {ids}.")


def _day(text: str | None, asks: bool) -> date | None:
    from satdiag.handover.paper_lines import given_day

    if text is None and asks:
        text = click.prompt("Date on the form (year-month-day)")
    return None if text is None else given_day(text)


def _zone(job: Job, text: str | None) -> tzinfo | None:
    """The zone asked for, else the job's own: that of its site, or the offset of its times."""
    from satdiag.handover.paper_lines import given_zone

    if text is not None:
        return given_zone(text)
    named = next((site.timezone for site in job.sheet.sites if site.timezone), None)
    if named is not None:
        click.echo(f"Times are read as {named}, the zone of the job's site.", err=True)
        return given_zone(named)
    return job.sheet.naive_times


def _lines(source: str | None) -> Sequence[str]:
    from satdiag.csv_text import decode
    from satdiag.folder import bytes_of

    if source in (None, "-"):
        return decode(sys.stdin.buffer.read(), PROMPT_NAME).split("\n")
    return decode(bytes_of(Path(str(source))), str(source)).split("\n")


def _typed(reader: PaperReader) -> list[Understood]:
    """Lines from a person until a blank one; what cannot be taken is said at once and asked again."""
    from satdiag.errors import BadInput

    click.echo("One line at a time, e.g. 14:05 31+ 32-. A blank line ends it.")
    found: list[Understood] = []
    while text := click.prompt("", prompt_suffix="> ", default="", show_default=False).strip():
        try:
            found.append(reader.line(len(found) + 1, text))
        except BadInput as error:
            click.echo(str(error), err=True)
    return found


def _show(job: Job, lines: Sequence[Understood]) -> None:
    """What was understood, and how far it lies from the rest of the job."""
    from satdiag.handover.paper_lines import doubts

    for line in lines:
        for row in line.rows:
            words = " ".join(part for part in (row.kind, row.subject, row.value, row.unit) if part)
            click.echo(f"{line.number:>4}  {row.time}  {words}" + (f"  # {row.note}" if row.note else ""))
        if line.say:
            click.echo(f"{line.number:>4}  {line.say}")
    for said in doubts(job, lines):
        click.echo(said, err=True)
