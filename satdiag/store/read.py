"""Read a job file and check it: the content against its digests, and whether its last recording was closed."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from satdiag.bulk import RowsGathered, read_arrays
from satdiag.errors import BadInput, Problem
from satdiag.job import Job, build_job
from satdiag.rows import Row
from satdiag.store.connect import lacks_log, reading
from satdiag.store.format import (
    CHANGED,
    MEND,
    USER_VERSION,
    Damaged,
    Digests,
    check_marks,
    check_pages,
    digest_of_format_1,
    digests_of,
    number_of,
    page_trouble,
)
from satdiag.store.lock import holder_of
from satdiag.store.runs import run_marks, unclean_run

_ROWS_AT_ONCE = 4096
_ROW_TYPES = (frozenset({int}), *[frozenset({str})] * 11, frozenset({str, type(None)}))
_NUMBERS = (
    "SELECT (SELECT count(*) FROM observations), (SELECT min(number) FROM observations), "
    "(SELECT max(number) FROM observations)"
)
"""How many rows, and the first and the last number: each quick to find, but not all three in one look."""
_ARRAYS = (
    f"SELECT json_array({', '.join(Row._fields)}) FROM observations WHERE "
    + " AND ".join(f"{column} < x''" for column in Row._fields[:-1])
    + " AND ifnull(raw, '') < x'' ORDER BY number"
)
"""Each row as a JSON array, those with a blob left out: no blob comes before the blank one, and every text and number
does (https://sqlite.org/datatype3.html, 4.1). Some versions of SQLite would show a blob as if it were a text."""


@dataclass(frozen=True)
class Content:
    """What a job file holds. `documents` is the table of that name; `grown` what the parts add to them, joined.

    `digests` are those that belong to the content in format 2, whatever format it was read from.
    """

    version: int
    meta: Mapping[str, str]
    documents: Mapping[str, bytes]
    grown: Mapping[str, bytes]
    part_count: int
    rows: Sequence[Row]
    digests: Digests

    @property
    def header(self) -> str:
        """The header line of the observations."""
        return self.meta["header"]

    def job(self) -> Job:
        """The content as a checked job. Raises BadInput."""
        joined = {**self.documents}
        for name, data in self.grown.items():
            joined[name] = joined.get(name, b"") + data
        return build_job(joined, self.rows, self.header)


def read_job_file(path: str | os.PathLike[str]) -> Job:
    """The job in a job file. Raises NotAJob, StoreProblem, BadInput."""
    place = Path(path)
    with reading(place) as connection:
        check_marks(connection, place)
        check_pages(connection, place)
        content = read_content(connection, place)
    return content.job()


def check_job_file(path: str | os.PathLike[str]) -> list[Problem]:
    """Everything that is wrong with a job file: its version, its pages, its content; empty if nothing is.

    A recording that was never closed is named, unless it is still under way. Raises NotAJob, StoreProblem if the file
    cannot be read at all.
    """
    place = Path(path)
    was_held = holder_of(place) is not None
    with reading(place) as connection:
        check_marks(connection, place)
        problems = []
        if (version := number_of(connection, "user_version")) > USER_VERSION:
            what = f"it has format {version}; this satdiag knows formats up to {USER_VERSION}"
            problems.append(Problem(place.name, what, "Update satdiag; until then the file is only read."))
        trouble = page_trouble(connection, "integrity_check")
        problems += _unclosed(connection, place, was_held)
        if trouble:
            return [*problems, *(Problem(place.name, text, MEND) for text in trouble)]
        try:
            read_content(connection, place).job()
        except BadInput as error:
            problems += error.problems
        except Damaged as error:
            problems.append(Problem(place.name, error.what, MEND))
        return problems


def _unclosed(connection: sqlite3.Connection, place: Path, was_held: bool) -> list[Problem]:
    """That the last recording was not closed, or was under way when this copy was taken."""
    try:
        unclean = unclean_run(run_marks(connection), lacks_log(connection, place))
    except (sqlite3.Error, UnicodeDecodeError):  # damaged; the pages and the content say so
        return []
    if unclean is None or was_held or holder_of(place) is not None:
        return []
    run = f"run {unclean.run}, begun {unclean.started}"
    if unclean.lacks_rows:
        what = f"this looks like a copy taken while {run}, was being recorded; rows may be missing"
        return [Problem(place.name, what, "Copy the file again now that the recording has ended.")]
    what = f"the recording of {run}, ended without being closed; everything that was committed is there"
    return [Problem(place.name, what, "Use it as it is; the next recording into it takes this note away.")]


# --- content -----------------------------------------------------------------------------------------------------


def read_content(connection: sqlite3.Connection, place: Path) -> Content:
    """The content, compared with its digests. Raises StoreProblem."""
    version = number_of(connection, "user_version")
    known = version <= USER_VERSION
    meta = dict(_typed(connection, place, "SELECT key, value FROM meta", _is_text, _is_text))
    if "header" not in meta:
        raise Damaged(place, "the header of its observations is missing")
    documents = dict(_typed(connection, place, "SELECT name, bytes FROM documents", _is_text, _is_bytes))
    rows = _read_rows(connection, place, known)
    digests = digests_of(meta["header"], documents, rows)
    grown: dict[str, list[bytes]] = {}
    if version > 1:
        query = "SELECT number, name, bytes FROM parts ORDER BY number"
        found = _typed(connection, place, query, _is_number, _is_text, _is_bytes)
        for name, data in _counted(found, place, known):
            digests = digests.grown((), [(name, data)])
            grown.setdefault(name, []).append(data)
    if known and not _digests_agree(version, meta, documents, rows, digests):
        raise Damaged(place, CHANGED)
    joined = {name: b"".join(pieces) for name, pieces in grown.items()}
    count = sum(len(pieces) for pieces in grown.values())
    return Content(version, meta, documents, joined, count, rows, digests)


def _read_rows(connection: sqlite3.Connection, place: Path, known: bool) -> Sequence[Row]:
    """The observations: short ones one by one, long ones by column. Raises StoreProblem."""
    found = _read_by_column(connection) if known else None
    return _read_values(connection, place, known) if found is None else found


def _read_by_column(connection: sqlite3.Connection) -> Sequence[Row] | None:
    """Long observations, each row taken over as one text; None if they are short, or if anything is odd."""
    try:
        count, first, last = connection.execute(_NUMBERS).fetchone()
        if count <= _ROWS_AT_ONCE or (first, last) != (1, count):
            return None
        cursor = connection.execute(_ARRAYS)
        blocks = iter(lambda: cursor.fetchmany(_ROWS_AT_ONCE), [])
        found = read_arrays([array for (array,) in some] for some in blocks)
    except (sqlite3.Error, UnicodeDecodeError):  # the other way of reading says what is wrong
        return None
    return found if found is not None and len(found) == count else None


def _read_values(connection: sqlite3.Connection, place: Path, known: bool) -> Sequence[Row]:
    """The observations, value by value. Raises StoreProblem."""
    cursor = connection.execute(f"SELECT number, {', '.join(Row._fields)} FROM observations ORDER BY number")
    some, taken = cursor.fetchmany(_ROWS_AT_ONCE), 0
    columns, kept = RowsGathered(), some
    while some:
        for types, column in zip(_ROW_TYPES, zip(*some, strict=True), strict=True):
            if not types.issuperset(map(type, column)):
                raise Damaged(place, "a field has the wrong type")
        if known and [row[0] for row in some] != list(range(taken + 1, taken + len(some) + 1)):
            raise Damaged(place, CHANGED)
        columns.add(some)
        taken += len(some)
        some = cursor.fetchmany(_ROWS_AT_ONCE)
    if taken == len(kept):
        return tuple(Row(*fields[1:]) for fields in kept)
    return columns.joined()


def _digests_agree(
    version: int, meta: Mapping[str, str], documents: Mapping[str, bytes], rows: Iterable[Row], digests: Digests
) -> bool:
    if version == 1:
        return meta.get("sha256") == digest_of_format_1(meta["header"], documents, rows)
    return all(meta.get(key) == text for key, text in digests.texts().items())


def _counted(found: Iterable[tuple[Any, ...]], place: Path, known: bool) -> Iterator[tuple[Any, ...]]:
    """Rows without their number, which counts from 1 without a gap."""
    for expected, (number, *fields) in enumerate(found, 1):
        if known and number != expected:
            raise Damaged(place, CHANGED)
        yield tuple(fields)


def _typed(
    connection: sqlite3.Connection, place: Path, query: str, *checks: Callable[[Any], bool]
) -> Iterator[tuple[Any, ...]]:
    """The rows of a query, each field of its type: SQLite itself does not hold a column to one."""
    for fields in connection.execute(query):
        if not all(check(value) for check, value in zip(checks, fields, strict=True)):
            raise Damaged(place, "a field has the wrong type")
        yield fields


def _is_number(value: Any) -> bool:
    return isinstance(value, int)


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_bytes(value: Any) -> bool:
    return isinstance(value, bytes)
