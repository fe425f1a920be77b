"""Rows at the end of a job file that is at rest, and the statements that all writers share."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from satdiag.csv_text import raw_fields
from satdiag.job import Job, columns_of, with_rows
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row
from satdiag.store.connect import writing
from satdiag.store.format import Digests, digests_of
from satdiag.store.migrate import migrate
from satdiag.store.read import Content, read_content
from satdiag.store.runs import put_aside


def append_rows(path: str | os.PathLike[str], rows: Sequence[Row]) -> Job:
    """Add rows to the end of a job file, all or none; returns the job with them.

    A file of an older format is brought up to the present one first, and a copy of it kept beside it. Raises BadInput
    for rows that the log does not allow, NotAJob, StoreProblem; nothing is written then.
    """
    place = Path(path)
    with writing(place, "adding rows") as (connection, lacks):
        content = read_content(connection, place)
        before = content.job()
        job = with_rows(before, rows)
        migrate(connection, place, content)
        put_aside(connection, lacks_rows=lacks)
        first = len(before.rows)
        digests = content.digests
        if job.header != before.header:
            digests = change_header(connection, content, job.header, job.rows[:first])
        added = job.rows[first:]
        insert_rows(connection, added, first + 1)
        set_meta(connection, digests.grown(added).texts())
    return job


def insert_rows(connection: sqlite3.Connection, rows: Iterable[Row], first: int) -> None:
    """Put rows into the table, numbered from `first`."""
    marks = ", ".join("?" * (len(Row._fields) + 1))
    numbered = ((number, *row) for number, row in enumerate(rows, first))
    connection.executemany(f"INSERT INTO observations VALUES ({marks})", numbered)


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
    changed = [(row.raw, number) for number, row in enumerate(rows, 1) if row.raw is not None]
    connection.executemany("UPDATE observations SET raw = ? WHERE number = ?", changed)
    return replace(digests_of(header, content.documents, rows), parts=content.digests.parts)


def with_all_columns(job: Job) -> Job:
    """The job with every optional column in its header, and blank fields for them in the rows as written."""
    old = columns_of(job.header)
    columns = [*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS]
    if columns == old:
        return job
    names = dict(zip(old, raw_fields(job.header), strict=True))
    header = ",".join(names.get(name, name) for name in columns)

    def widened(raw: str) -> str:
        written = dict(zip(old, raw_fields(raw), strict=True))
        return ",".join(written.get(name, "") for name in columns)

    rows = tuple(row if row.raw is None else row._replace(raw=widened(row.raw)) for row in job.rows)
    return replace(job, header=header, rows=rows)
