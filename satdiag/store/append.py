"""Rows at the end of a job file that is at rest, and the statements that all writers share."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path
from types import MappingProxyType

from satdiag.bulk import ColumnRows
from satdiag.errors import StoreProblem
from satdiag.job import Job, columns_of, with_columns, with_rows
from satdiag.rows import OPTIONAL_COLUMNS, Row
from satdiag.store.connect import writing
from satdiag.store.format import Digests, digests_of
from satdiag.store.migrate import migrate
from satdiag.store.read import Content, read_content
from satdiag.store.runs import put_aside

_COLUMNS = len(Row._fields) + 1
_SAID = Row._fields[1:8]
_ROWS_AT_ONCE = 250
"""13 values each; SQLite takes 32766 in one statement since 3.32 (https://sqlite.org/limits.html)."""


def append_rows(
    path: str | os.PathLike[str],
    rows: Sequence[Row],
    parts: Sequence[tuple[str, bytes]] = (),
    onto: Job | None = None,
) -> Job:
    """Add rows to the end of a job file, all or none; returns the job with them.

    `parts` are pieces of documents (name, bytes) that go with them. `onto` is the job that they were made for: if the
    file holds another one now, nothing is added. A file of an older format is brought up to the present one first,
    and a copy of it kept beside it. Raises BadInput for rows that the log does not allow, NotAJob, StoreProblem;
    nothing is written then.
    """
    place = Path(path)
    with writing(place, "adding rows") as (connection, lacks):
        content = read_content(connection, place)
        before = content.job()
        if onto is not None and not _same_content(before, onto):
            again = "nothing was added. Run the same command again"
            raise StoreProblem(f"{place}: it has changed since it was read, and {again}.")
        job = with_rows(before, rows)
        migrate(connection, place, content)
        put_aside(connection, lacks_rows=lacks)
        first = len(before.rows)
        digests = content.digests
        if job.header != before.header:
            widened = with_columns(before, columns_of(job.header)).rows
            digests = change_header(connection, content, job.header, widened)
        added = job.rows[first:]
        insert_rows(connection, added, first + 1)
        insert_parts(connection, parts, content.part_count + 1)
        set_meta(connection, digests.grown(added, parts).texts())
    return replace(job, documents=_grown(job.documents, parts)) if parts else job


def _same_content(one: Job, other: Job) -> bool:
    return (one.header, one.rows) == (other.header, other.rows) and dict(one.documents) == dict(other.documents)


def _grown(documents: Mapping[str, bytes], parts: Iterable[tuple[str, bytes]]) -> Mapping[str, bytes]:
    """The documents with the pieces at their ends."""
    found = dict(documents)
    for name, data in parts:
        found[name] = found.get(name, b"") + data
    return MappingProxyType(found)


def insert_rows(connection: sqlite3.Connection, rows: Iterable[Row], first: int) -> None:
    """Put rows into the table, numbered from `first`, within a transaction.

    Many at a time: between two statements other threads take their turn, and a source that floods would have it each
    time.
    """
    if isinstance(rows, ColumnRows):
        _insert_columns(connection, rows, first)
        return
    numbered = enumerate(rows, first)
    while some := list(islice(numbered, _ROWS_AT_ONCE)):
        told = _COLUMNS if any(row.raw is not None for _, row in some) else _COLUMNS - 1
        # To hand over None costs as much as four texts.
        one = f"({', '.join('?' * told)}{', NULL' * (_COLUMNS - told)})"
        values = [value for number, row in some for value in (number, *row)[:told]]
        connection.execute(f"INSERT INTO observations VALUES {', '.join([one] * len(some))}", values)


def _insert_columns(connection: sqlite3.Connection, rows: ColumnRows, first: int) -> None:
    """As `insert_rows`. What rows say over and over is handed over once, in a table that is there for the while: to
    hand over values takes longer than to store them."""
    connection.execute(f"CREATE TEMP TABLE said (place INTEGER PRIMARY KEY, {', '.join(_SAID)})")
    said = ((place, *one) for place, one in enumerate(rows.said))
    connection.executemany(f"INSERT INTO temp.said VALUES ({', '.join('?' * (len(_SAID) + 1))})", said)
    for told, values in rows.values(first):
        one, raw = f"({', '.join('?' * told)})", "own.column7" if told == 7 else "NULL"
        for start in range(0, len(values), _ROWS_AT_ONCE * told):
            some = values[start : start + _ROWS_AT_ONCE * told]
            connection.execute(
                f"INSERT INTO observations SELECT own.column1, own.column2, {', '.join(_SAID)}, own.column4, "
                f"own.column5, own.column6, {raw} FROM (VALUES {', '.join([one] * (len(some) // told))}) AS own "
                "CROSS JOIN temp.said ON place = own.column3",
                some,
            )
    connection.execute("DROP TABLE temp.said")


def insert_parts(connection: sqlite3.Connection, parts: Iterable[tuple[str, bytes]], first: int) -> None:
    """Put pieces of documents (name, bytes) into the table, numbered from `first`."""
    numbered = ((number, name, data) for number, (name, data) in enumerate(parts, first))
    connection.executemany("INSERT INTO parts VALUES (?, ?, ?)", numbered)


def set_meta(connection: sqlite3.Connection, texts: Mapping[str, str]) -> None:
    """Set entries of the table `meta`."""
    connection.executemany("INSERT OR REPLACE INTO meta VALUES (?, ?)", texts.items())


def change_header(connection: sqlite3.Connection, content: Content, header: str, rows: Sequence[Row]) -> Digests:
    """Set a header with more columns, and the rows as written, which gained blank fields; returns the new digests."""
    set_meta(connection, {"header": header})
    if isinstance(rows, ColumnRows):
        changed = [(raw, at + 1) for at, raw in rows.raw.items()]
    else:
        changed = [(row.raw, number) for number, row in enumerate(rows, 1) if row.raw is not None]
    if not changed:
        return content.digests.with_documents(header, content.documents)
    connection.executemany("UPDATE observations SET raw = ? WHERE number = ?", changed)
    return replace(digests_of(header, content.documents, rows), parts=content.digests.parts)


def with_all_columns(job: Job) -> Job:
    """The job with every optional column in its header, and blank fields for them in the rows as written."""
    return with_columns(job, OPTIONAL_COLUMNS)
