"""One observation row: its texts as written, the check against the vocabulary, and the typed table."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Sequence
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pandas as pd

from satdiag.csv_text import MAX_FIELD, quoted
from satdiag.errors import Problem
from satdiag.vocabulary import (
    FAULTS,
    KINDS,
    TEMPLATES,
    UNREADABLE,
    VISIT_PAUSE_S,
    Entry,
    bars_of,
    entry_of,
    subjects_of,
    takes_unreadable,
    unit_allowed,
    values_text,
)

REQUIRED_COLUMNS = ("time", "kind", "subject", "value", "unit", "source", "note")
OPTIONAL_COLUMNS = ("span_s", "run", "elapsed_s", "id")

TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)?")
NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?")
WORD = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]*")
_SOURCE = re.compile(TEMPLATES["SOURCE"])
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FORBIDDEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")
MAX_SECONDS = 1e9
YEARS = (1900, 9900)
"""First and last year of a row: years off either end, a time zone or a wait could not be told as a date any more."""
MAX_NUMBER = 1e10


class Row(NamedTuple):
    """The texts of one observation as written; `raw` only where quoting differs from the canonical form."""

    time: str
    kind: str
    subject: str
    value: str
    unit: str = ""
    source: str = ""
    note: str = ""
    span_s: str = ""
    run: str = ""
    elapsed_s: str = ""
    id: str = ""
    raw: str | None = None


class Wrong(NamedTuple):
    """One thing wrong with a row: the column, what was found, how to mend it."""

    column: str
    what: str
    mend: str


def parse_number(text: str) -> float | None:
    """A plain decimal number, or None: no blanks, no underscores, no 'nan', no 'inf', no decimal comma."""
    if not NUMBER.fullmatch(text) or not text.isascii():
        return None
    number = float(text)
    return number if math.isfinite(number) else None


def parse_offset(text: str) -> timezone | None:
    """'-05:00' or 'Z' as a fixed offset, or None if it is neither."""
    if text == "Z":
        return UTC
    found = re.fullmatch(r"([+-])([01]\d|2[0-3]):([0-5]\d)", text, re.ASCII)
    if not found:
        return None
    minutes = int(found[2]) * 60 + int(found[3])
    return timezone(timedelta(minutes=-minutes if found[1] == "-" else minutes))


@lru_cache(maxsize=65536)
def parse_time_us(text: str, naive: timezone | None) -> int | None:
    """Microseconds since 1970 UTC of an ISO 8601 time; None if it is not one, has no offset and needs one, or lies
    outside `YEARS`."""
    found = TIME.fullmatch(text)
    if not found or not text.isascii():
        return None
    if found[2] and parse_offset(found[2]) is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is None:
            if naive is None:
                return None
            moment = moment.replace(tzinfo=naive)
    except (ValueError, OverflowError):
        return None
    return (moment - _EPOCH) // timedelta(microseconds=1) if YEARS[0] <= moment.year <= YEARS[1] else None


def _allowed_subjects(kind: str) -> str:
    if kind == "finding":
        return f"Allowed: {', '.join((*FAULTS, 'none', 'other'))}."
    name = "a NAME is letters, digits, '.', '_' or '-'"
    return f"Allowed: {subjects_of(kind)}. A CHANNEL is a whole number 0..9999999 without leading zeros; {name}."


def check_row(row: Row, naive: timezone | None, sites: Collection[str]) -> Iterator[Wrong]:
    """Everything that is wrong with a single row."""
    unreadable = list(_forbidden(row))
    if unreadable:
        yield from unreadable
        return
    yield from _check_texts(row)
    if parse_time_us(row.time, naive) is None:
        yield Wrong("time", *_time_trouble(row.time))
    if row.kind not in KINDS:
        yield Wrong("kind", f"{quoted(row.kind)} is not a kind of observation", f"Allowed: {', '.join(KINDS)}.")
        return
    entry = entry_of(row.kind, row.subject)
    if entry is None:
        yield Wrong(
            "subject",
            f"{quoted(row.subject)} is not a subject of {quoted(row.kind)}",
            _allowed_subjects(row.kind),
        )
        return
    yield from _check_value(row, entry, sites)


def _forbidden(row: Row) -> Iterator[Wrong]:
    for column in (*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS):
        found = _FORBIDDEN.search(getattr(row, column))
        if len(getattr(row, column)) > MAX_FIELD:
            yield Wrong(column, f"it is longer than {MAX_FIELD} characters", "Shorten it.")
        if found:
            yield Wrong(column, f"the character {found[0]!r} stands in it", "Take it out: it is no readable text.")


def _check_texts(row: Row) -> Iterator[Wrong]:
    if row.source and not _SOURCE.fullmatch(row.source):
        yield Wrong(
            "source", f"{quoted(row.source)} is not a source name", "Write a word such as hand or serial:bench."
        )
    for column in ("span_s", "elapsed_s"):
        text = getattr(row, column)
        if text and not 0 <= (-1 if (number := parse_number(text)) is None else number) <= MAX_SECONDS:
            mend = f"Write seconds from 0 to {MAX_SECONDS:.0f}, e.g. 12.5, or leave it blank."
            yield Wrong(column, f"{quoted(text)} is not a number of seconds", mend)
    if row.elapsed_s and not row.run:
        yield Wrong("run", "elapsed_s is given without a run", "Name the recorder run it counts from.")
    for column in ("run", "id"):
        text = getattr(row, column)
        if text and not WORD.fullmatch(text):
            yield Wrong(column, f"{quoted(text)} is not a plain word", "Use letters, digits, '.', '_', ':' or '-'.")


def _time_trouble(text: str) -> tuple[str, str]:
    if parse_time_us(text, UTC) is not None:
        return (
            f"{quoted(text)} has no offset",
            "Write the offset (Z or e.g. -05:00), or set naive_times in job.toml.",
        )
    if TIME.fullmatch(text) and text.isascii() and not YEARS[0] <= int(text[:4]) <= YEARS[1]:
        return f"{quoted(text)} is in no year we know", f"Write a year from {YEARS[0]} to {YEARS[1]}."
    return f"{quoted(text)} is not a time", "Write it like 2031-05-03T13:40:00Z or 2031-05-03T08:40:00.250-05:00."


def _check_value(row: Row, entry: Entry, sites: Collection[str]) -> Iterator[Wrong]:
    if row.value == UNREADABLE and takes_unreadable(row.kind):
        if row.unit:
            yield Wrong("unit", f"{quoted(row.unit)} stands beside 'unreadable'", "Leave the unit blank there.")
        return
    if not unit_allowed(entry, row.unit):
        allowed = ", ".join(entry.units) or "a blank unit"
        of = f"{row.kind} {row.subject}"
        what = f"{quoted(row.unit)} is not a unit of {of}" if row.unit else f"{of} needs a unit, and none is given"
        yield Wrong("unit", what, f"Allowed: {allowed}.")
        return
    trouble = _value_trouble(row, entry, sites)
    if trouble:
        also = " or unreadable" if takes_unreadable(row.kind) else ""
        yield Wrong("value", f"{quoted(row.value)} {trouble}", f"Allowed: {values_text(entry)}{also}.")


def _value_trouble(row: Row, entry: Entry, sites: Collection[str]) -> str | None:
    if entry.value == "state":
        return None if row.value in entry.states else f"is not a state of {row.kind}"
    if entry.value == "site":
        return None if row.value in sites else "is not the name of a [[site]] in job.toml"
    if entry.value == "row-id":
        return None if WORD.fullmatch(row.value) else "is not the id of a row"
    if entry.value == "text":
        return None
    return number_trouble(row, entry)


def number_trouble(row: Row, entry: Entry) -> str | None:
    """What is wrong with the number of a row, or None."""
    number = parse_number(row.value)
    if number is None:
        return "is not a number (decimal point, no comma, no blank)"
    bars = bars_of(row.unit)
    if (entry.value == "whole" or bars is not None) and not number.is_integer():
        return "is not a whole number"
    low = -MAX_NUMBER if entry.minimum is None else entry.minimum
    high = MAX_NUMBER if entry.maximum is None else entry.maximum
    if row.unit == "percent":
        low, high = 0, 100
    elif bars is not None:
        low, high = 0, bars
    if number < low:
        return f"is below {low:g}"
    return f"is above {high:g}" if number > high else None


def check_rows(
    file: str,
    rows: Sequence[Row],
    lines: Sequence[int],
    naive: timezone | None,
    sites: Collection[str],
    sound: int = 0,
) -> list[Problem]:
    """All problems of a table of rows: each row alone, ids, withdrawals, and one unit a path within a visit.

    The first `sound` rows were checked before, and are looked at together with the others only.
    """
    problems = check_some_rows(file, rows, lines, naive, sites, sound)
    problems += _unknown_ids(file, rows, lines)
    if not problems:
        problems = _unit_problems(file, rows, lines, naive)
    return sorted(problems, key=lambda problem: problem.line or 0)


def check_some_rows(
    file: str,
    rows: Sequence[Row],
    lines: Sequence[int],
    naive: timezone | None,
    sites: Collection[str],
    sound: int = 0,
) -> list[Problem]:
    """As `check_rows`, but only what is wrong whatever stands in rows that could not be read."""
    problems = [
        Problem(file, wrong.what, wrong.mend, line, wrong.column)
        for row, line in zip(rows[sound:], lines[sound:], strict=True)
        for wrong in check_row(row, naive, sites)
    ]
    return problems + _repeated_ids(file, rows, lines)


def _repeated_ids(file: str, rows: Sequence[Row], lines: Sequence[int]) -> list[Problem]:
    problems: list[Problem] = []
    known: dict[str, int] = {}
    for row, line in zip(rows, lines, strict=True):
        if row.id and row.id in known:
            what = f"the id {quoted(row.id)} was used before, in line {known[row.id]}"
            problems.append(Problem(file, what, "Give each row an id of its own.", line, "id"))
        elif row.id:
            known[row.id] = line
    return problems


def _unknown_ids(file: str, rows: Sequence[Row], lines: Sequence[int]) -> list[Problem]:
    problems: list[Problem] = []
    known = {row.id for row in rows}
    for row, line in zip(rows, lines, strict=True):
        if row.kind == "withdraw" and row.value not in known and WORD.fullmatch(row.value):
            what = f"{quoted(row.value)} is not the id of any row"
            problems.append(Problem(file, what, "Name the id of the row to withdraw.", line, "value"))
    return problems


def _unit_problems(file: str, rows: Sequence[Row], lines: Sequence[int], naive: timezone | None) -> list[Problem]:
    withdrawn = withdrawn_ids(rows)
    kept = [(number, row) for number, row in enumerate(rows) if not row.id or row.id not in withdrawn]
    timed = sorted((parse_time_us(row.time, naive) or 0, number) for number, row in kept)
    problems: list[Problem] = []
    units: dict[str, str] = {}
    before: int | None = None
    for time_us, number in timed:
        if before is not None and time_us - before > VISIT_PAUSE_S * 1e6:
            units = {}
        before, row = time_us, rows[number]
        if row.kind == "signal" and row.unit and units.setdefault(row.subject, row.unit) != row.unit:
            what = f"{row.subject} was in {units[row.subject]} before and is in {row.unit} here, within one visit"
            problems.append(Problem(file, what, "Keep one unit a path within a visit.", lines[number], "unit"))
    return problems


def withdrawn_ids(rows: Sequence[Row]) -> set[str]:
    """The ids of the rows that were taken back."""
    return {row.value for row in rows if row.kind == "withdraw"}


def rows_frame(rows: Sequence[Row], naive: timezone | None) -> pd.DataFrame:
    """Checked rows as a table, in the order of the file.

    Columns: row (position), time (datetime64[us], UTC), kind, subject, value (text), number (float, NaN where the
    value is no number), unit, source, note, span_s (float, 0 where blank), run, elapsed_s (float, NaN where
    blank), id, withdrawn (bool).
    """
    columns: list[tuple[str, ...]] = list(zip(*(row[:11] for row in rows), strict=True)) or [()] * 11
    times = np.array([parse_time_us(text, naive) or 0 for text in columns[0]], dtype="int64")
    numeric = [_is_numeric(row) for row in rows]
    withdrawn = withdrawn_ids(rows)
    return pd.DataFrame(
        {
            "row": np.arange(len(rows)),
            "time": times.astype("datetime64[us]"),
            "kind": pd.Categorical(columns[1], categories=list(KINDS)),
            "subject": pd.Series(columns[2], dtype="object"),
            "value": pd.Series(columns[3], dtype="object"),
            "number": _floats(columns[3], numeric),
            "unit": pd.Categorical(columns[4]),
            "source": pd.Categorical(columns[5]),
            "note": pd.Series(columns[6], dtype="object"),
            "span_s": np.nan_to_num(_floats(columns[7]), nan=0.0),
            "run": pd.Categorical(columns[8]),
            "elapsed_s": _floats(columns[9]),
            "id": pd.Series(columns[10], dtype="object"),
            "withdrawn": np.array([bool(row.id) and row.id in withdrawn for row in rows], dtype=bool),
        }
    )


def _is_numeric(row: Row) -> bool:
    entry = entry_of(row.kind, row.subject)
    return entry is not None and entry.value in ("number", "whole")


def _floats(texts: Sequence[str], use: Sequence[bool] | None = None) -> np.ndarray:
    kept = use if use is not None else [True] * len(texts)
    numbers = [parse_number(text) if take else None for text, take in zip(texts, kept, strict=True)]
    return np.array([math.nan if number is None else number for number in numbers], dtype="float64")
