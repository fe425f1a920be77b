"""Careful connections to a job file, and what SQLite says against it in plain words."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from urllib.parse import quote

from satdiag.errors import NotAJob, SatdiagError, StoreProblem, shown
from satdiag.store.format import Damaged, check_marks, check_pages
from satdiag.store.lock import holder_of, locked
from satdiag.store.medium import check_writable

BUSY_S = 5.0
"""How long to wait for another program."""

SIDE_FILES = ("-journal", "-wal", "-shm")
"""What SQLite puts beside a file while it is written."""

_LARGEST = 500_000_000


def connect(place: Path, mode: str) -> sqlite3.Connection:
    """A careful connection, 'ro' or 'rw'. The path is handed over as a URI: opening never makes the file."""
    absolute = place.absolute().as_posix()
    uri = "file://" + quote(os.fsencode(absolute if absolute.startswith("/") else "/" + absolute), safe="/:")
    connection = sqlite3.connect(f"{uri}?mode={mode}", uri=True, isolation_level=None, timeout=BUSY_S)
    try:
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LARGEST)
        connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
        for pragma in ("trusted_schema=OFF", "cell_size_check=ON"):
            connection.execute(f"PRAGMA {pragma}")
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def reading(place: Path) -> Iterator[sqlite3.Connection]:
    """A read-only connection that sees one state of the file; what SQLite says against it becomes a StoreProblem."""
    look(place)
    with plain_errors(place, "read"):
        _roll_back_leftover(place)
        with closing(connect(place, "ro")) as connection:
            connection.execute("PRAGMA query_only=1")
            connection.execute("BEGIN")
            yield connection


@contextmanager
def writing(place: Path, what: str) -> Iterator[tuple[sqlite3.Connection, bool]]:
    """The one writing connection, within a transaction that is kept only if all goes well; and `lacks_log` of it.

    `what` tells others what is being done ('adding rows'). Raises NotAJob, StoreProblem.
    """
    look(place)
    check_writable(place)
    with locked(place, what), plain_errors(place, "written"), closing(connect(place, "rw")) as connection:
        check_marks(connection, place, for_writing=True)
        check_pages(connection, place)
        lacks = lacks_log(connection, place)
        for pragma in ("journal_mode=DELETE", "synchronous=EXTRA", "fullfsync=1"):
            connection.execute(f"PRAGMA {pragma}")
        with transaction(connection):
            yield connection, lacks


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Everything or nothing. After some errors SQLite has taken it back by itself; a ROLLBACK would fail then."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):  # what was wrong at first is what counts
            if connection.in_transaction:
                connection.execute("ROLLBACK")
        raise


def look(place: Path) -> None:
    """See that a file is there. Raises NotAJob, StoreProblem."""
    try:
        if place.is_file():
            return
    except (OSError, ValueError) as error:
        raise StoreProblem(f"{place}: cannot be read ({error}).") from None
    raise NotAJob(f"{place}: no file there. Name a job file (NAME.satjob) or a job folder.")


def side_file(place: Path, end: str) -> Path:
    """The file that SQLite keeps beside a job file, e.g. '-wal'; it lies beside the file that a link points to."""
    return Path(os.path.realpath(place) + end)


def in_wal_mode(connection: sqlite3.Connection) -> bool:
    """The file is written through a write-ahead log, as while it is recorded into."""
    return str(connection.execute("PRAGMA journal_mode").fetchone()[0]) == "wal"


def lacks_log(connection: sqlite3.Connection, place: Path) -> bool:
    """A file in WAL mode without its log: a bare copy. Looking into one leaves an empty log beside it."""
    if not in_wal_mode(connection):
        return False
    try:
        return side_file(place, "-wal").stat().st_size == 0
    except OSError:
        return True


def _roll_back_leftover(place: Path) -> None:
    """Let SQLite undo what a writer that was killed left half done; a read-only connection may not."""
    if not side_file(place, "-journal").exists() or not os.access(place, os.W_OK) or holder_of(place):
        return
    with closing(connect(place, "rw")) as connection:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()


@contextmanager
def plain_errors(place: Path, done: str) -> Iterator[None]:
    """What goes wrong while the file is 'read' or 'written' leaves as NotAJob or StoreProblem."""
    try:
        yield
    except sqlite3.Error as error:
        raise plain(place, done, error) from None
    except UnicodeDecodeError:  # in the text of SQLite's own message about a damaged schema
        raise Damaged(place, f"cannot be {done}: a text in it is not UTF-8") from None


def plain(place: Path, done: str, error: sqlite3.Error) -> SatdiagError:
    """An error of SQLite as one of ours (https://sqlite.org/rescode.html has the names)."""
    name = getattr(error, "sqlite_errorname", "")
    if name == "SQLITE_NOTADB":
        return NotAJob(f"{place}: this is not a job file. Name a NAME.satjob or a job folder.")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return StoreProblem(f"{place}: another program is using it. Close that one, or try again later.")
    if name.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY")) and _is_unfinished(place):
        return StoreProblem(
            f"{place}: what was written last is not folded into it yet, and that cannot be done on a medium that can "
            f"only be read. Copy it, with the files {place.name}-wal and {place.name}-journal if they lie beside it, "
            "into a folder on this computer and use it there."
        )
    if name.startswith(("SQLITE_FULL", "SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_IOERR")):
        mend = "Check that the medium is whole, has room, and that you may write there."
        return StoreProblem(f"{place}: cannot be {done} ({reason(error)}). {mend}")
    return Damaged(place, f"cannot be {done} ({reason(error)})")


def _is_unfinished(place: Path) -> bool:
    """A file that may be read, in a folder where SQLite cannot make what it needs to read it."""
    return os.access(place, os.R_OK) and not os.access(side_file(place, "").parent, os.W_OK)


def reason(error: Exception) -> str:
    """The system's own short words for an error."""
    return shown(getattr(error, "strerror", None) or str(error), 300)  # SQLite quotes what stands in the file
