"""What comes before a job file is recorded into: it is checked, read and brought up to date."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from satdiag.errors import StoreProblem
from satdiag.job import Job
from satdiag.store.append import change_header, set_meta, with_all_columns
from satdiag.store.connect import in_wal_mode, lacks_log, transaction
from satdiag.store.format import Digests, check_marks, check_pages
from satdiag.store.migrate import migrate
from satdiag.store.read import Content, read_content
from satdiag.store.runs import Unclean, put_aside

_CHECKPOINT_PAGES = 4000
_SAFE = (
    "synchronous=FULL",
    "foreign_keys=ON",
    "fullfsync=1",
    "checkpoint_fullfsync=1",
    f"wal_autocheckpoint={_CHECKPOINT_PAGES}",
)


class State(NamedTuple):
    """What the file holds after the last batch that was kept."""

    rows: int
    parts: int
    digests: Digests


class Opened(NamedTuple):
    """What was found at the opening."""

    job: Job
    state: State
    unclean: Unclean | None


def prepare(connection: sqlite3.Connection, place: Path) -> Opened:
    """Check the file, read its job, and bring it up to date; it is in WAL mode at return.

    A medium that takes no write-ahead log is refused before the job is touched; a file of an older format has been
    brought up to the present one then, and its copy lies beside it. Raises NotAJob, BadInput, StoreProblem,
    sqlite3.Error; the content is as it was then.
    """
    check_marks(connection, place, for_writing=True)
    check_pages(connection, place)
    for pragma in _SAFE:
        connection.execute(f"PRAGMA {pragma}")
    lacks, was_cut_off = lacks_log(connection, place), in_wal_mode(connection)
    with transaction(connection):
        content = read_content(connection, place)
        job = content.job()
        migrate(connection, place, content)
        meta = _meta(connection)
    if not was_cut_off:
        _begin_log(connection, place)
    try:
        with transaction(connection):
            if _meta(connection) != meta:
                raise StoreProblem(f"{place}: another program has changed it just now. Try again.")
            opened = _brought_up(connection, content, job, lacks)
    except BaseException:
        if not was_cut_off:
            with suppress(sqlite3.Error):
                connection.execute("PRAGMA journal_mode=DELETE")
        raise
    # If a recording was cut off, that it was is put aside before its log is emptied.
    with suppress(sqlite3.OperationalError):  # a medium that is full, a reader: it goes on with the log as it is
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    # After a check of the pages, SQLite 3.40 refuses a checkpoint as the first statement in this mode.
    connection.execute("SELECT count(*) FROM meta").fetchone()
    return opened


def _meta(connection: sqlite3.Connection) -> dict[str, str]:
    return dict(connection.execute("SELECT key, value FROM meta"))


def _begin_log(connection: sqlite3.Connection, place: Path) -> None:
    """Go over to a write-ahead log. Raises StoreProblem where the medium takes none."""
    if connection.execute("PRAGMA journal_mode=WAL").fetchone()[0] != "wal":
        raise StoreProblem(f"{place}: this medium takes no write-ahead log. Record into a folder of this computer.")


def _brought_up(connection: sqlite3.Connection, content: Content, job: Job, lacks: bool) -> Opened:
    """Set the marks of an earlier run aside and name every column in the header, within a transaction."""
    unclean = put_aside(connection, lacks_rows=lacks)
    digests = content.digests
    wide = with_all_columns(job)
    if wide.header != job.header:
        digests = change_header(connection, content, wide.header, wide.rows)
        set_meta(connection, digests.texts())
    return Opened(wide, State(len(content.rows), content.part_count, digests), unclean)
