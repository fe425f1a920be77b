"""A job as a workbook (.xlsx, Office Open XML, ECMA-376) with the sheets observations, channels and findings.

Text is stored as text, whatever it looks like, so that no cell can act as a formula; numbers are numbers; times are
dates in UTC, beside the time as it was written.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from satdiag.errors import SatdiagError
from satdiag.findings import Findings
from satdiag.folder import job_hash
from satdiag.handover.extras import needed
from satdiag.handover.masking import Clean, cleaner, shown_id
from satdiag.handover.rows_csv import FORMULA_STARTS
from satdiag.job import Job
from satdiag.language import tell
from satdiag.report.local_time import local_time_of

MOST_ROWS = 1_048_575
"""Rows of a sheet under its heads: ECMA-376 (Part 1, 18.3.1.73) and the programs stop at 2^20."""

MOST_CHARACTERS = 32_767
"""In one cell, for the same programs."""

_INSTEAD = "Export it as .csv, Parquet or JSON."
MANY_CHANNELS = 1000
"""Above that, what was found of each channel stands in the sheet of channels alone."""

_EARLIEST = datetime(1900, 3, 1)
"""Before it, the day numbers of the format are in doubt (it counts a 29 February 1900)."""

_NOT_IN_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_ESCAPE_LIKE = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
OBSERVATION_HEADS = (
    "time, UTC", "time as written", "kind", "subject", "value", "unit", "source", "note", "span_s", "run",
    "elapsed_s", "id", "withdrawn",
)  # fmt: skip
CHANNEL_HEADS = ("channel", "name", "category", "packages", "state", "p_will_come", "remaining_s", "reason")
FINDING_HEADS = ("what", "value")
_WIDTHS = {
    "time, UTC": 21, "time as written": 31, "subject": 18, "value": 14, "source": 16, "note": 50, "name": 28,
    "category": 16, "what": 52,
}  # fmt: skip

Value = str | float | int | bool | datetime | None


def workbook_bytes(job: Job, findings: Findings, full_id: bool = False) -> bytes:
    """The workbook as bytes of an .xlsx file. Raises MissingPart, SatdiagError if a sheet cannot hold all rows."""
    openpyxl = needed("openpyxl", "spreadsheet", "A spreadsheet file (.xlsx)")
    clean, found = cleaner(job, full_id), list(_findings(job, findings, full_id))
    for title, count in (
        ("observations", len(job.rows)),
        ("channels", len(_known(job, findings))),
        ("findings", len(found)),
    ):
        if count > MOST_ROWS:
            raise SatdiagError(f"There are {count} {title}, and a sheet holds {MOST_ROWS} rows. {_INSTEAD}")
    book = openpyxl.Workbook(write_only=True)  # cells are written as they come, and none is kept
    book.properties.creator = "satdiag"
    book.properties.title = clean(job.sheet.id)
    _fill(book, "observations", OBSERVATION_HEADS, _observations(job, clean), clean)
    _fill(book, "channels", CHANNEL_HEADS, _channels(job, findings), clean)
    _fill(book, "findings", FINDING_HEADS, iter(found), clean)
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def time_sentence(job: Job) -> str:
    """Which zone the times are in, and what the place's own clock is."""
    zone = next((site.timezone for site in job.sheet.sites if site.timezone), None)
    if zone is None:
        return tell("Times are UTC. The job names no time zone.")
    return tell("Times are UTC. The vehicle's local time zone is {zone}.", zone=zone)


def _fill(book: Any, title: str, heads: Sequence[str], rows: Iterator[Sequence[Value]], clean: Clean) -> None:
    """A sheet of heads, then rows; the first row stays in sight and can be filtered by."""
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(title)
    for column, head in enumerate(heads, 1):
        sheet.column_dimensions[get_column_letter(column)].width = _WIDTHS.get(head, 12)
    sheet.freeze_panes = "A2"
    sheet.append([_head(sheet, head) for head in heads])
    number = 1
    for row in rows:
        number += 1
        sheet.append([_cell(sheet, clean(value) if isinstance(value, str) else value) for value in row])
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(heads))}{number}"


def _head(sheet: Any, text: str) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    cell = WriteOnlyCell(sheet, text)
    cell.font = Font(bold=True)
    return cell


def _cell(sheet: Any, value: Value) -> Any:
    """A cell of a row; None for nothing in it."""
    from openpyxl.cell import WriteOnlyCell

    if value is None or value == "":
        return None
    if not isinstance(value, str):
        cell = WriteOnlyCell(sheet, value)
        if isinstance(value, datetime):
            cell.number_format = "yyyy-mm-dd hh:mm:ss.000"
        return cell
    cell = WriteOnlyCell(sheet, "text")
    cell.number_format = "@"
    # Set past openpyxl's guess, which would make a formula of '=...'; a date or number in text stays text too.
    cell._value, cell.data_type = _text(value), "s"
    cell.quotePrefix = value.startswith(FORMULA_STARTS)
    return cell


def _text(value: str) -> str:
    """A text as the format can hold it: no control characters, '_x0041_' not read as an escape, cut and said so."""
    safe = _ESCAPE_LIKE.sub("_x005F_", _NOT_IN_XML.sub("\ufffd", value))
    if len(safe) <= MOST_CHARACTERS:
        return safe
    said = f" … ({len(value)} characters in the log)"
    return safe[: MOST_CHARACTERS - len(said)] + said


def _observations(job: Job, clean: Clean) -> Iterator[Sequence[Value]]:
    frame = job.observations
    numbers = frame["number"].to_numpy()
    moments = frame["time"].to_numpy().astype(object)  # naive datetimes, UTC
    for row, moment, number, withdrawn in zip(job.rows, moments, numbers, frame["withdrawn"], strict=True):
        yield (
            moment if moment >= _EARLIEST else None,
            row.time,
            row.kind,
            _whole(row.subject) if row.kind in ("channel", "tune") else row.subject,
            row.value if number != number else _plain(number),
            row.unit,
            row.source,
            row.note,
            float(row.span_s) if row.span_s else None,
            row.run,
            float(row.elapsed_s) if row.elapsed_s else None,
            row.id,
            "withdrawn" if withdrawn else None,
        )


def _whole(text: str) -> int | str:
    return int(text) if text.isdigit() and text.isascii() else text


def _plain(number: float) -> float | int:
    return int(number) if float(number).is_integer() else float(number)


def _known(job: Job, findings: Findings) -> set[int]:
    return {line.channel for line in job.lineup or ()} | {one.channel for one in findings.entitlement.channels}


def _channels(job: Job, findings: Findings) -> Iterator[Sequence[Value]]:
    """Every channel of the line-up and every one that was seen, with what was found of it."""
    listed = {line.channel: line for line in job.lineup or ()}
    found = {one.channel: one for one in findings.entitlement.channels}
    for channel in sorted(_known(job, findings)):
        line, one = listed.get(channel), found.get(channel)
        yield (
            channel,
            line.name if line else None,
            line.category if line else None,
            " ".join(sorted(line.packages)) if line else None,
            one.state if one else None,
            one.p_will_come if one else None,
            one.remaining_s.median if one and one.remaining_s else None,
            one.reason if one else None,
        )


def _findings(job: Job, findings: Findings, full_id: bool) -> Iterator[Sequence[Value]]:
    """What the job is and was found to be, then every figure of the findings under its key."""
    yield (tell("Time zone"), time_sentence(job))
    yield (tell("Job"), job.sheet.id)
    yield (tell("Vehicle"), job.sheet.vehicle)
    yield (tell("Receiver"), shown_id(job, full_id))
    yield (tell("Fingerprint of the log (SHA-256)"), job_hash(job))
    yield (tell("As of"), local_time_of(job).text(findings.verdict.as_of))
    document = findings.to_dict()
    if len(findings.entitlement.channels) > MANY_CHANNELS:
        document["entitlement"]["channels"] = tell("see the sheet of channels")
    yield from _leaves("", document)


def _leaves(key: str, value: Any) -> Iterator[tuple[str, Value]]:
    """Every value of a JSON document with its key, e.g. 'verdict.state'; a list of figures in one cell."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield from _leaves(f"{key}.{name}" if key else name, part)
    elif isinstance(value, list) and any(isinstance(part, (dict, list)) for part in value):
        for number, part in enumerate(value):
            yield from _leaves(f"{key}[{number}]", part)
    elif isinstance(value, list):
        yield key, "; ".join("unknown" if part is None else str(part) for part in value)
    else:
        yield key, "unknown" if value is None else str(value).lower() if isinstance(value, bool) else value
