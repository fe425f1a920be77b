"""A sound job from what could be read of a damaged one; what is missing is written into its log as missing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timezone
from itertools import chain, combinations

from satdiag.csv_text import decode, records
from satdiag.errors import BadInput, Problem, SatdiagError
from satdiag.job import (
    OBSERVATIONS,
    Job,
    build_job,
    columns_of,
    document_problems,
    extra_columns,
    with_columns,
)
from satdiag.repair.losses import Found, Hole, Losses, LostDocument, Slot
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row, check_rows, parse_number, parse_time_us
from satdiag.sky.constellation import ELEMENT_FILES
from satdiag.sky.elements import parse_elements

SHEET = "job.toml"
SOURCE = "repair"
"""Whose rows they are that say what was lost."""

_SKY_SOURCE = "gnss"
_LONGEST_REASON = 120
_LONGEST_STORY = 2000


def assembled(found: Found, source: str, sheet: bytes | None = None) -> tuple[Job, Losses]:
    """The job that can be made, and what is lost of it. `source` is the name of what it was read from.

    `sheet` takes the place of a job.toml that is lost. Raises SatdiagError if there is nothing to make a job of.
    """
    documents, lost = _sound_documents(found, source, sheet)
    remarks = list(found.remarks)
    header, rows = _with_header(found.header, found.rows)
    if header != found.header:
        remarks.append("the header of the observations is lost and was made anew from the rows")
    if rows != found.rows:
        remarks.append("how some rows were quoted is lost; what they say is not")
    slots = _joined(_checked(_with_rows(found.slots, rows), found.numbers, build_job(documents, (), header)))
    holes = tuple(slot for slot in slots if isinstance(slot, Hole))
    story = _story(holes, lost, found)
    job, added = _with_marks(
        build_job(documents, (), header), slots, f"recovered from a damaged {source}; {story}" if story else ""
    )
    if holes:
        remarks.append("a lost row may have taken back one that is there, or have said what held for those behind it")
    if sheet is not None and documents[SHEET] != sheet:
        found.asides.append(f"the sheet that was given is not used: {SHEET} of the damaged job can be read")
    losses = Losses(
        source, found.unit, len(job.rows) - added, added, holes, tuple(lost), tuple(job.documents), dict(found.agree),
        tuple(remarks), tuple(found.asides),
    )  # fmt: skip
    return job, losses


def _story(holes: Sequence[Hole], lost: Sequence[LostDocument], found: Found) -> str:
    """What is lost, for the note in the log; blank if nothing is."""
    places = [f"{hole.first}" if hole.first == hole.last else f"{hole.first}-{hole.last or '?'}" for hole in holes]
    more = f" and {len(places) - 20} more places" if len(places) > 20 else ""
    parts = [f"{found.unit}s lost: {', '.join(places[:20])}{more}"] if places else []
    parts += [f"{document.name}: {document.state}" for document in lost]
    parts += [
        f"digest of the {name}: {'gone' if one is None else 'wrong'}" for name, one in found.agree.items() if not one
    ]
    return "; ".join([*parts, *found.remarks])


# --- documents ---------------------------------------------------------------------------------------------------


def _sound_documents(found: Found, source: str, given: bytes | None) -> tuple[dict[str, bytes], list[LostDocument]]:
    """The documents that a job may hold, each looked at beside the sheet alone; and what is wrong with the others."""
    lost = list(found.lost)
    sheet = found.documents.get(SHEET)
    if sheet is not None and (problems := document_problems({SHEET: sheet})):
        lost.append(_unreadable(SHEET, problems))
        sheet = None
    if sheet is None:
        if not any(document.name == SHEET for document in lost):
            lost.append(LostDocument(SHEET, "lost", "nothing of it was found"))
        if given is None:
            raise SatdiagError(_no_sheet(found, source, lost))
        if problems := document_problems({SHEET: given}):
            raise BadInput(problems)
        sheet = given
    kept = {SHEET: sheet}
    for name, data in found.documents.items():
        if name == SHEET:
            continue
        if problems := _problems(name, data, sheet):
            lost.append(_unreadable(name, problems))
        else:
            kept[name] = data
    return kept, lost


def _problems(name: str, data: bytes, sheet: bytes) -> list[Problem]:
    """What is wrong with a document beside a sheet."""
    found = document_problems({SHEET: sheet, name: data})
    if not found and name in ELEMENT_FILES:
        try:
            parse_elements(decode(data, name), name)
        except BadInput as error:
            return list(error.problems)
    return found


def _unreadable(name: str, problems: Sequence[Problem]) -> LostDocument:
    first = problems[0]
    where = f"line {first.line}: " if first.line is not None else ""
    return LostDocument(name, "unreadable", f"{where}{first.what}")


def _no_sheet(found: Found, source: str, lost: Sequence[LostDocument]) -> str:
    others = sum(name != SHEET for name in found.documents)
    if not (found.rows or found.documents or found.fragments):
        return f"{source}: nothing can be recovered from it: no observation and no file of a job was found in it."
    what = next(document.what for document in lost if document.name == SHEET)
    text = found.documents.get(SHEET, found.fragments.get(SHEET, b"")).decode("utf-8", "replace").strip()
    read = f" What can be read of it:\n{text}\n" if text else " "
    return (
        f"{source}: {len(found.rows)} observations and {others} other files can be recovered, but not the job sheet, "
        f"job.toml ({what}), and it is not made up.{read}Write one (`satdiag new FOLDER` makes one, `satdiag docs "
        "log` describes it) and give it with --sheet FILE. Nothing was written."
    )


# --- header and rows ---------------------------------------------------------------------------------------------


def _with_header(header: str | None, rows: Sequence[Row]) -> tuple[str, list[Row]]:
    """A header that has every column which the rows use, and the rows; `raw` is dropped where it does not fit it.

    A header that is lost is found again from the rows as they were written, if there are any.
    """
    used = extra_columns(rows)
    if header is not None:
        try:
            if set(used) <= set(columns_of(header)):
                return header, _fitting(rows, columns_of(header))
        except BadInput:
            pass
    written = [row for row in rows if row.raw is not None]
    choices = chain.from_iterable(combinations(OPTIONAL_COLUMNS, size) for size in range(len(OPTIONAL_COLUMNS) + 1))
    for optional in choices:
        columns = [*REQUIRED_COLUMNS, *optional]
        if set(used) <= set(optional) and _fitting(written, columns) == written:
            return ",".join(columns), list(rows)
    columns = [*REQUIRED_COLUMNS, *used]
    return ",".join(columns), _fitting(rows, columns)


def _fitting(rows: Sequence[Row], columns: Sequence[str]) -> list[Row]:
    return [row if row.raw is None or _says(row, columns) else row._replace(raw=None) for row in rows]


def _says(row: Row, columns: Sequence[str]) -> bool:
    """What a row was read from says what the row says."""
    try:
        found = list(records(row.raw or "", OBSERVATIONS))
    except BadInput:
        return False
    return len(found) == 1 and found[0].raw == row.raw and found[0].fields == [getattr(row, one) for one in columns]


def _with_rows(slots: Sequence[Slot], rows: Sequence[Row]) -> list[Slot]:
    """The slots with other rows in the places of theirs."""
    fresh = iter(rows)
    return [next(fresh) if isinstance(slot, Row) else slot for slot in slots]


def _checked(slots: Sequence[Slot], numbers: Sequence[int], job: Job) -> list[Slot]:
    """The slots with a hole for each row that the log does not allow; again until no such row is left.

    A row that takes back a lost one goes too: it has nothing to take back.
    """
    found = list(slots)
    sites = {site.name for site in job.sheet.sites}
    while True:
        places = [place for place, slot in enumerate(found) if isinstance(slot, Row)]
        rows = [slot for slot in found if isinstance(slot, Row)]
        problems = check_rows(OBSERVATIONS, rows, places, job.sheet.naive_times, sites)
        if not problems:
            return found
        for problem in problems:
            place = problem.line or 0
            why = f"{problem.column}: {problem.what}"[:_LONGEST_REASON]
            found[place] = Hole(numbers[place], numbers[place], why)


def _joined(slots: Sequence[Slot]) -> list[Slot]:
    """Holes that follow each other as one, with the times of the rows on either side."""
    found: list[Slot] = []
    for slot in slots:
        before = found[-1] if found else None
        if isinstance(slot, Hole) and isinstance(before, Hole):
            last = None if slot.last is None else max(slot.last, before.last or 0)
            found[-1] = Hole(before.first, last, before.why if before.why == slot.why else "")
        else:
            found.append(slot)
    for place, slot in enumerate(found):
        if isinstance(slot, Hole):
            after, before_it = _beside(found, place)
            found[place] = slot._replace(after=after and after.time, before=before_it and before_it.time)
    return found


def _beside(slots: Sequence[Slot], place: int) -> tuple[Row | None, Row | None]:
    """The rows on either side of a hole."""
    after = slots[place - 1] if place else None
    before = slots[place + 1] if place + 1 < len(slots) else None
    return after if isinstance(after, Row) else None, before if isinstance(before, Row) else None


# --- what is missing, as rows ------------------------------------------------------------------------------------


def _with_marks(job: Job, slots: Sequence[Slot], story: str) -> tuple[Job, int]:
    """The job with its rows, a gap of every source where rows are missing between two others, and a note.

    What was observed in such a stretch is unknown, so that the exposure clock must not join what was proved before
    and after it. A mark stands at the time of a row that is there: it makes the log no longer. Returns how many
    marks there are, too.
    """
    rows = [slot for slot in slots if isinstance(slot, Row)]
    sources = _sources(rows)
    marked: list[Row] = []
    for place, slot in enumerate(slots):
        if isinstance(slot, Row):
            marked.append(slot)
        else:
            marked += _gaps(*_beside(slots, place), sources, job.sheet.naive_times)
    if story and rows:
        last = rows[-1]
        run = last.run if last.elapsed_s else ""
        text = story[:_LONGEST_STORY]
        marked.append(Row(last.time, "note", SOURCE, text, source=SOURCE, run=run, elapsed_s=last.elapsed_s))
    wide = with_columns(replace(job, rows=tuple(marked)), extra_columns(marked))
    return build_job(wide.documents, wide.rows, wide.header), len(marked) - len(rows)


def _sources(rows: Sequence[Row]) -> list[str]:
    """Every source that the rows name; 'unknown' if none of them can have heard the vehicle."""
    found = sorted({row.source for row in rows} - {"", SOURCE})
    hears = any(source.partition(":")[0].partition("/")[0] != _SKY_SOURCE for source in found)
    return found if hears else [*found, "unknown"]


def _gaps(after: Row | None, before: Row | None, sources: Sequence[str], naive: timezone | None) -> Iterator[Row]:
    """A gap of each source from the row after which rows are missing to the one before which they are."""
    if after is None or before is None:
        return
    span_s = _span_s(after, before, naive)
    for source in sources:
        own_s = parse_number(before.span_s) if (before.kind, before.subject) == ("gap", source) else None
        text = f"{max(span_s, own_s or 0.0):.6f}".rstrip("0").rstrip(".")
        run = before.run if before.elapsed_s else ""
        yield Row(before.time, "gap", source, "lost", source=SOURCE, span_s=text, run=run, elapsed_s=before.elapsed_s)


def _span_s(after: Row, before: Row, naive: timezone | None) -> float:
    """Seconds between two rows, either way round: by the recorder's own clock within a run, else by wall clock."""
    if after.run == before.run and after.elapsed_s and before.elapsed_s:
        return abs(float(before.elapsed_s) - float(after.elapsed_s))
    return abs((parse_time_us(before.time, naive) or 0) - (parse_time_us(after.time, naive) or 0)) / 1e6
