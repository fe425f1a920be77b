"""The parser of job files: what stands in the tables is changed as well as the bytes and pages of the file."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from functools import cache

from satdiag.folder import read_folder
from satdiag.store.format import digests_of
from tests.hardening.fuzz_changes import BYTES, Operator
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_files import as_file, room
from tests.hardening.fuzz_texts import DOCUMENTS, SAMPLE, job_with

_CELLS = (
    *(
        "NULL",
        "-1",
        "9223372036854775807",
        "1e308",
        "x''",
        "x'00ff'",
        "zeroblob(100000)",
        "''",
        "char(0)",
        "'a' || char(0)",
    ),
    *("char(55296)", "cast(x'ff' as text)", "'nan'", "'../x'", "'observations.csv'", "'job.toml'", "randomblob(20)"),
    *("replace(hex(zeroblob(60000)), '0', 'x')", "'2031-05-03T13:40:00Z'", "'9999-12-31T23:59:59-12:00'", "'{}'"),
)
_COLUMNS = {
    "meta": ("key", "value"),
    "documents": ("name", "bytes"),
    "observations": (
        "number",
        "time",
        "kind",
        "subject",
        "value",
        "unit",
        "note",
        "span_s",
        "run",
        "elapsed_s",
        "id",
        "raw",
    ),
    "parts": ("number", "name", "bytes"),
}
_STATEMENTS = (
    *("DROP TABLE parts", "DROP TABLE meta", "DELETE FROM meta", "DELETE FROM observations", "DELETE FROM documents"),
    *(
        "CREATE TABLE more (x)",
        "CREATE INDEX i ON observations (time)",
        "CREATE VIEW v AS SELECT 1",
        "VACUUM",
        "ANALYZE",
    ),
    *("CREATE TRIGGER t AFTER INSERT ON observations BEGIN DELETE FROM observations; END", "REINDEX"),
    *("ALTER TABLE observations ADD COLUMN more TEXT", "ALTER TABLE observations RENAME COLUMN unit TO units"),
    *("PRAGMA user_version=3", "PRAGMA user_version=1", "PRAGMA user_version=-5", "PRAGMA application_id=1"),
    *("PRAGMA journal_mode=WAL", "PRAGMA encoding='UTF-16'", "PRAGMA auto_vacuum=1; VACUUM", "PRAGMA user_version=0"),
    *(
        "INSERT INTO observations SELECT number + 1000, time, kind, subject, value, unit, source, note, span_s, run, "
        "elapsed_s, id, raw FROM observations",
        "INSERT INTO parts VALUES (1, 'gnss-r1.nmea', x'24')",
    ),
    *(
        "UPDATE observations SET number = -number",
        "UPDATE documents SET name = 'elements.tle' WHERE name LIKE 'line%'",
    ),
)


def _on_database(data: bytes, *statements: str) -> bytes:
    place = as_file("change.satjob", data)
    try:
        with closing(sqlite3.connect(place, isolation_level=None)) as connection:
            for statement in statements:
                connection.executescript(statement)
    except (sqlite3.Error, UnicodeDecodeError, MemoryError):
        return data
    finally:
        for end in ("-journal", "-wal", "-shm"):
            place.with_name(place.name + end).unlink(missing_ok=True)
    return place.read_bytes()


def _cell(data: bytes, where: int, what: int) -> bytes:
    table = sorted(_COLUMNS)[where % len(_COLUMNS)]
    column = _COLUMNS[table][(where >> 4) % len(_COLUMNS[table])]
    which = f"rowid % 7 = {(where >> 10) % 7}" if table != "meta" else "1"
    return _on_database(data, f"UPDATE {table} SET {column} = {_CELLS[what % len(_CELLS)]} WHERE {which}")


def _statement(data: bytes, where: int, what: int) -> bytes:
    return _on_database(data, _STATEMENTS[(where ^ what) % len(_STATEMENTS)])


def _page(data: bytes, where: int, what: int) -> bytes:
    """A page is exchanged for another one of the file."""
    size, count = 4096, max(len(data) // 4096, 1)
    to, source = where % count * size, what % count * size
    return data[:to] + data[source : source + size] + data[to + size :]


SQLITE: Mapping[str, Operator] = {**BYTES, "cell": _cell, "statement": _statement, "page": _page}


def _job_file(data: bytes) -> str:
    """Read and checked: what is read is found in order too, and nothing is written."""
    from satdiag.store import check_job_file, read_job_file

    place = as_file("demo.satjob", data)
    try:
        job = read_job_file(place)
    finally:
        assert place.read_bytes() == data, "reading changed the file"
    told = check_job_file(place)
    assert all(problem.what and problem.mend for problem in told)
    return f"{min(len(job.rows), 3)} rows, {min(len(told), 2)} told"


@cache
def _job_files() -> tuple[bytes, ...]:
    from satdiag.store import create_job_file

    jobs = {
        "sound": job_with("job.toml", DOCUMENTS["job.toml"]),
        "sample": read_folder(SAMPLE / "antenna-open"),
    }
    found = []
    for name, job in jobs.items():
        place = room() / f"{name}.satjob"
        create_job_file(place, job)
        found.append(place.read_bytes())
    return tuple(found)


def _digests_mended(data: bytes) -> bytes:
    """The digests of what now stands in the file, as whoever forges one would put them in."""
    from satdiag.rows import Row

    place = as_file("mend.satjob", data)
    try:
        with closing(sqlite3.connect(place, isolation_level=None)) as connection:
            header = connection.execute("SELECT value FROM meta WHERE key = 'header'").fetchone()
            documents = dict(connection.execute("SELECT name, bytes FROM documents"))
            columns = ", ".join(Row._fields)
            rows = [Row(*row) for row in connection.execute(f"SELECT {columns} FROM observations ORDER BY number")]
            parts = connection.execute("SELECT name, bytes FROM parts ORDER BY number").fetchall()
            digests = digests_of(header[0], documents, rows).grown((), parts)
            connection.executemany("UPDATE meta SET value = ?2 WHERE key = ?1", digests.texts().items())
    except Exception:  # noqa: BLE001 (what is too broken to be mended stays as it is)
        return data
    finally:
        for end in ("-journal", "-wal", "-shm"):
            place.with_name(place.name + end).unlink(missing_ok=True)
    return place.read_bytes()


SQLITE_PARSERS: tuple[Parser, ...] = (Parser("job-file", _job_files, _job_file, SQLITE, mend=_digests_mended),)
