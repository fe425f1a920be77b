"""The checklist as a page to print and to read on a telephone: boxes drawn, ticked where the log proves."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from satdiag.acceptance.checklist_document import Checklist, Item
from satdiag.errors import SatdiagError
from satdiag.job import Job
from satdiag.language import mark, parted, tell
from satdiag.report import palette
from satdiag.report.cautions import CAUTIONS, Caution
from satdiag.report.local_time import LocalTime, local_time_of
from satdiag.report.page import masker, template_environment
from satdiag.report.words import Words, row_words
from satdiag.report.writing import check_place, replace_file

STATES = Words(
    {
        "proved": mark("proved"),
        "contradicted": mark("the log speaks against it"),
        "partly": mark("in part"),
        "missing": mark("not shown"),
        "does-not-apply": mark("does not apply"),
    }
)
MARKS = {"proved": "[x]", "contradicted": "[!]", "partly": "[/]", "missing": "[ ]", "does-not-apply": "[-]"}
GENERAL = ("airbag", "garage", "rules")


@dataclass(frozen=True)
class Line:
    """One item as it is drawn. `state` names its box, `said` its state in words, `shown` the row and its time."""

    key: str
    title: str
    question: str
    why: str
    how: str
    caution: str
    state: str
    said: str
    text: str
    shown: str


def write_checklist(path: str | os.PathLike[str], job: Job, found: Checklist) -> None:
    """Write the page over an older page if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, checklist_html(job, found).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the page cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def checklist_html(job: Job, found: Checklist) -> str:
    """The page as one HTML text that needs nothing but itself, without any script. The identifier is masked."""
    local = local_time_of(job)
    return (
        template_environment(masker(job))
        .get_template("checklist.html.j2")
        .render(
            job=found.job,
            vehicle=job.sheet.vehicle,
            text=found.text,
            as_of=local.text(found.as_of) if found.as_of else "",
            local=local,
            version=found.satdiag,
            sections=[
                (section.title, [line_of(item, local) for item in section.items]) for section in found.sections
            ],
            states=STATES,
            cautions=general_cautions(),
            palette=palette,
            light={name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")},
        )
    )


def general_cautions() -> tuple[Caution, ...]:
    """What stands above the whole walk."""
    return tuple(caution for caution in CAUTIONS if caution.key in GENERAL)


def line_of(item: Item, local: LocalTime) -> Line:
    """An item with its times as a person at the place reads them."""
    said = STATES[item.state]
    if item.earlier and item.state == "partly":
        said = tell("proved earlier, not now")
    elif item.by_hand:
        said = tell("by hand")
    when = local.text(item.at) if item.at else ""
    rows = row_words(item.rows)
    return Line(
        key=item.key,
        title=item.title,
        question=tell("question {number}", number=item.question) if item.question else "",
        why=item.why,
        how=item.how,
        caution=item.caution,
        state=item.state,
        said=said,
        text=item.text,
        shown=parted(part for part in (item.seen, when, rows) if part),
    )


def checklist_lines(job: Job, found: Checklist) -> list[str]:
    """The plain form for a terminal: a box, the item, and beneath it what the log says and what is left to do."""
    local = local_time_of(job)
    clean = masker(job)
    as_of = tell("As of {moment}; job {job}.", moment=local.text(found.as_of), job=found.job)
    lines = [found.text, f"{as_of} {local.sentence}"]
    for section in found.sections:
        lines += ["", section.title]
        for item in section.items:
            lines += _item_lines(line_of(item, local))
    boxes = tell(
        "[x] proved  [!] the log speaks against it  [/] in part or earlier  [ ] not shown  [-] does not apply"
    )
    lines += ["", boxes, "", *map(_caution_line, general_cautions())]
    return [clean(line) for line in lines]


def _caution_line(caution: Caution) -> str:
    return tell("{head}: {said}", head=caution.head, said=caution.text)


def _item_lines(line: Line) -> list[str]:
    head = f"{MARKS[line.state]} {line.title}" + (f" ({line.question})" if line.question else "")
    lines = [head, f"    {line.text}" + (f" ({line.shown})" if line.shown else "")]
    if line.state not in ("proved", "does-not-apply"):
        lines.append(f"    {tell('How: {what}', what=line.how)}")
        lines += [f"    {tell('Care: {what}', what=line.caution)}"] if line.caution else []
    return lines
