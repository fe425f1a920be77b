"""The job file NAME.satjob: one SQLite database that holds what a job folder holds, and a digest of it.

At rest it is one file in DELETE mode. Every connection that only looks opens it read-only; there is one writer at a
time. Nothing in a file is believed before its marks, its schema and its pages have been looked at, and what it holds
is compared with the digest written with it: a byte that changed on a worn stick is found, not analysed.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from satdiag.errors import BadInput, NotAJob, Problem, StoreProblem
from satdiag.job import Job, build_job, with_rows
from satdiag.rows import Row
from satdiag.safe_write import beside, publish

APPLICATION_ID = 0x53444A42
"""'SDJB' in ASCII: the mark in the file's head (https://sqlite.org/fileformat2.html#application_id)."""

USER_VERSION = 1
"""The format that this satdiag writes. A file of a newer one is read where possible and never written."""

_COLUMNS = Row._fields
_SCHEMA = {
    "meta": "CREATE TABLE meta (key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
    "documents": "CREATE TABLE documents (name TEXT NOT NULL PRIMARY KEY, bytes BLOB NOT NULL)",
    "observations": "CREATE TABLE observations (number INTEGER NOT NULL PRIMARY KEY, "
    + ", ".join(f"{column} TEXT NOT NULL" for column in _COLUMNS[:-1])
    + ", raw TEXT)",
}
BUSY_S = 5.0
"""How long to wait for another program."""

_LARGEST = 500_000_000
_SIDE_FILES = ("-journal", "-wal", "-shm")
_MEND = "Use a copy of it, or the folder that it was made from."


class _Damaged(StoreProblem):
    """The file is not whole, or not as it was written."""

    def __init__(self, place: Path, what: str) -> None:
        self.what = what
        super().__init__(f"{place}: {what}. {_MEND}")


def read_job_file(path: str | os.PathLike[str]) -> Job:
    """The job in a job file. Raises NotAJob, StoreProblem, BadInput."""
    place = Path(path)
    with _reading(place) as connection:
        _check_marks(connection, place)
        trouble = _page_trouble(connection, "quick_check")
        if trouble:
            raise _Damaged(place, f"the file is damaged ({trouble[0]})")
        return _job(connection, place)


def check_job_file(path: str | os.PathLike[str]) -> list[Problem]:
    """Everything that is wrong with a job file: its version, its pages, its content; empty if nothing is.

    Raises NotAJob, StoreProblem if it cannot be read at all.
    """
    place = Path(path)
    with _reading(place) as connection:
        _check_marks(connection, place)
        problems = []
        if (version := _number(connection, "user_version")) > USER_VERSION:
            what = f"it has format {version}; this satdiag knows formats up to {USER_VERSION}"
            problems.append(Problem(place.name, what, "Update satdiag; until then the file is only read."))
        trouble = _page_trouble(connection, "integrity_check")
        if trouble:
            return [*problems, *(Problem(place.name, text, _MEND) for text in trouble)]
        try:
            _job(connection, place)
        except BadInput as error:
            problems += error.problems
        except _Damaged as error:
            problems.append(Problem(place.name, error.what, _MEND))
        return problems


def create_job_file(path: str | os.PathLike[str], job: Job) -> None:
    """Write a job as a new job file, in one piece. Raises StoreProblem; a file that is there is never overwritten."""
    place = Path(path)
    for taken in (place, *(Path(f"{place}{end}") for end in _SIDE_FILES)):
        if os.path.lexists(taken):
            raise StoreProblem(f"{taken}: it is there already. Name a new file, or move the old one away.")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with beside(place) as made:
            with closing(sqlite3.connect(made, isolation_level=None)) as connection:
                _fill(connection, job)
            publish(made, place)
    except FileExistsError:
        raise StoreProblem(f"{place}: it is there already. Name a new file, or move the old one away.") from None
    except (OSError, sqlite3.Error) as error:
        raise StoreProblem(f"{place}: cannot be written ({_reason(error)}). Nothing was left behind.") from None


def append_rows(path: str | os.PathLike[str], rows: Sequence[Row]) -> Job:
    """Add rows to the end of a job file, all or none; returns the job with them.

    Raises BadInput for rows that the log does not allow, NotAJob, StoreProblem; nothing is written then.
    """
    place = Path(path)
    with _writing(place) as connection:
        before = _job(connection, place)
        job = with_rows(before, rows)
        first = len(before.rows)
        if job.header != before.header:
            connection.execute("UPDATE meta SET value = ? WHERE key = 'header'", (job.header,))
            changed = [(row.raw, number) for number, row in enumerate(job.rows[:first], 1) if row.raw is not None]
            connection.executemany("UPDATE observations SET raw = ? WHERE number = ?", changed)
        _insert_rows(connection, job.rows[first:], first + 1)
        digest = _digest(job.header, job.documents, job.rows)
        connection.execute("UPDATE meta SET value = ? WHERE key = 'sha256'", (digest,))
    return job


# --- connections -------------------------------------------------------------------------------------------------


def _connect(place: Path, mode: str) -> sqlite3.Connection:
    """A careful connection. The path is handed over as a URI, so that the file is never made by opening it."""
    absolute = place.absolute().as_posix()
    uri = "file://" + quote(os.fsencode(absolute if absolute.startswith("/") else "/" + absolute), safe="/:")
    connection = sqlite3.connect(f"{uri}?mode={mode}", uri=True, isolation_level=None, timeout=BUSY_S)
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LARGEST)
    connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    for pragma in ("trusted_schema=OFF", "cell_size_check=ON"):
        connection.execute(f"PRAGMA {pragma}")
    return connection


@contextmanager
def _reading(place: Path) -> Iterator[sqlite3.Connection]:
    """A read-only connection that sees one state of the file; what SQLite says against it becomes a StoreProblem."""
    _look(place)
    with _plain_errors(place, "read"):
        _roll_back_leftover(place)
        with closing(_connect(place, "ro")) as connection:
            connection.execute("PRAGMA query_only=1")
            connection.execute("BEGIN")
            yield connection


@contextmanager
def _writing(place: Path) -> Iterator[sqlite3.Connection]:
    """The one writing connection, within a transaction that is kept only if all goes well."""
    _look(place)
    with _plain_errors(place, "written"), closing(_connect(place, "rw")) as connection:
        _check_marks(connection, place, for_writing=True)
        if trouble := _page_trouble(connection, "quick_check"):
            raise _Damaged(place, f"the file is damaged ({trouble[0]})")
        connection.execute("PRAGMA journal_mode=DELETE")
        for pragma in ("synchronous=EXTRA", "fullfsync=1"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield connection
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")


def _look(place: Path) -> None:
    try:
        if place.is_file():
            return
    except (OSError, ValueError) as error:
        raise StoreProblem(f"{place}: cannot be read ({error}).") from None
    raise NotAJob(f"{place}: no file there. Name a job file (NAME.satjob) or a job folder.")


def _roll_back_leftover(place: Path) -> None:
    """Let SQLite undo what a writer that was killed left half done; a read-only connection may not."""
    if Path(f"{place}-journal").exists() and os.access(place, os.W_OK):
        with closing(_connect(place, "rw")) as connection:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()


@contextmanager
def _plain_errors(place: Path, done: str) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "")
        if name == "SQLITE_NOTADB":
            raise NotAJob(f"{place}: this is not a job file. Name a NAME.satjob or a job folder.") from None
        if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
            raise StoreProblem(f"{place}: another program is using it. Close that one, or try again later.") from None
        if name.startswith(("SQLITE_FULL", "SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_IOERR")):
            mend = "Check that the medium is whole, has room, and that you may write there."
            raise StoreProblem(f"{place}: cannot be {done} ({_reason(error)}). {mend}") from None
        raise _Damaged(place, f"cannot be {done} ({_reason(error)})") from None
    except UnicodeDecodeError:  # in the text of SQLite's own message about a damaged schema
        raise _Damaged(place, f"cannot be {done}: a text in it is not UTF-8") from None


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


# --- marks, schema, pages ----------------------------------------------------------------------------------------


def _number(connection: sqlite3.Connection, pragma: str) -> int:
    return int(connection.execute(f"PRAGMA {pragma}").fetchone()[0])


def _check_marks(connection: sqlite3.Connection, place: Path, for_writing: bool = False) -> None:
    """Refuse what is not ours before anything in the file is used. Raises NotAJob, StoreProblem."""
    if _number(connection, "application_id") != APPLICATION_ID:
        raise NotAJob(f"{place}: a database, but not a job file of satdiag. Name a NAME.satjob or a job folder.")
    version = _number(connection, "user_version")
    if version > USER_VERSION and for_writing:
        raise StoreProblem(
            f"{place}: it has format {version}, from a newer satdiag; this one writes format {USER_VERSION}. "
            "Update satdiag to add to it."
        )
    found = {str(name): (kind, sql) for kind, name, sql in connection.execute(_MASTER)}
    if version == USER_VERSION:
        if found != {name: ("table", sql) for name, sql in _SCHEMA.items()}:
            raise _Damaged(place, "its tables are not those of a job file")
    elif version < 1 or any(found.get(name, ("", ""))[0] != "table" for name in _SCHEMA):
        raise StoreProblem(f"{place}: its format, {version}, is not known here. Update satdiag.")
    elif any(kind in ("view", "trigger") for kind, _ in found.values()):
        raise _Damaged(place, "its tables are not those of a job file")


# The indexes that SQLite keeps for a primary key have no text of their own.
_MASTER = "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"


def _page_trouble(connection: sqlite3.Connection, pragma: str) -> list[str]:
    try:
        found = [str(row[0]) for row in connection.execute(f"PRAGMA {pragma}(20)")]
    except sqlite3.DatabaseError as error:
        return [str(error)]
    return [] if found == ["ok"] else [text.replace("\n", " ") for text in found]


# --- content -----------------------------------------------------------------------------------------------------


def _fill(connection: sqlite3.Connection, job: Job) -> None:
    from satdiag import __version__

    marks = (f"application_id={APPLICATION_ID}", f"user_version={USER_VERSION}")
    for pragma in (*marks, "journal_mode=MEMORY", "synchronous=OFF"):  # `publish` brings it to the medium
        connection.execute(f"PRAGMA {pragma}")
    connection.execute("BEGIN")
    for statement in _SCHEMA.values():
        connection.execute(statement)
    digest = _digest(job.header, job.documents, job.rows)
    meta = {"header": job.header, "sha256": digest, "written_by": f"satdiag {__version__}"}
    connection.executemany("INSERT INTO meta VALUES (?, ?)", meta.items())
    connection.executemany("INSERT INTO documents VALUES (?, ?)", job.documents.items())
    _insert_rows(connection, job.rows, 1)
    connection.execute("COMMIT")


def _insert_rows(connection: sqlite3.Connection, rows: Sequence[Row], first: int) -> None:
    marks = ", ".join("?" * (len(_COLUMNS) + 1))
    numbered = ((number, *row) for number, row in enumerate(rows, first))
    connection.executemany(f"INSERT INTO observations VALUES ({marks})", numbered)


def _job(connection: sqlite3.Connection, place: Path) -> Job:
    """The content as a checked job. Raises BadInput, StoreProblem."""
    meta = dict(_typed(connection, place, "SELECT key, value FROM meta", _is_text, _is_text))
    documents = dict(_typed(connection, place, "SELECT name, bytes FROM documents", _is_text, _is_bytes))
    query = f"SELECT {', '.join(_COLUMNS)} FROM observations ORDER BY number"
    rows = [Row(*texts) for texts in _typed(connection, place, query, *[_is_text] * 11, _is_text_or_none)]
    if "header" not in meta:
        raise _Damaged(place, "the header of its observations is missing")
    known = _number(connection, "user_version") <= USER_VERSION
    if known and meta.get("sha256") != _digest(meta["header"], documents, rows):
        raise _Damaged(place, "the content is not what was written there; a byte has changed")
    return build_job(documents, rows, meta["header"])


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_bytes(value: Any) -> bool:
    return isinstance(value, bytes)


def _is_text_or_none(value: Any) -> bool:
    return value is None or isinstance(value, str)


def _typed(
    connection: sqlite3.Connection, place: Path, query: str, *checks: Callable[[Any], bool]
) -> Iterator[tuple[Any, ...]]:
    """The rows of a query, each field of its type: SQLite itself does not hold a column to one."""
    for fields in connection.execute(query):
        if not all(check(value) for check, value in zip(checks, fields, strict=True)):
            raise _Damaged(place, "a field has the wrong type")
        yield fields


def _digest(header: str, documents: Mapping[str, bytes], rows: Sequence[Row]) -> str:
    """SHA-256 (hex) over what a job file holds, so that a changed byte is found."""
    digest = hashlib.sha256(f"{header}\x1e".encode())
    for name in sorted(documents):
        digest.update(f"{name}\x1f{len(documents[name])}\x1e".encode() + documents[name])
    for row in rows:
        texts = [f"{len(text)}:{text}" for text in row[:11]]
        texts.append("-" if row.raw is None else row.raw)
        digest.update(("\x1f".join(texts) + "\x1e").encode())
    return digest.hexdigest()
