"""What a job file looks like: its marks, its tables in each format, and the digests of what they hold."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from satdiag.bulk import ColumnRows
from satdiag.bulk.fields import Bytes
from satdiag.bulk.laying import chosen, counted, laid, stretches, woven
from satdiag.errors import NotAJob, StoreProblem, shown
from satdiag.rows import Row

if TYPE_CHECKING:
    from hashlib import _Hash

APPLICATION_ID = 0x53444A42
"""'SDJB' in ASCII: the mark in the file's head (https://sqlite.org/fileformat2.html#application_id)."""

USER_VERSION = 2
"""The format that this satdiag writes. An older one is brought up to it before it is written; a newer one is read
where possible and never written."""

MEND = (
    "Use a copy of it, or the folder that it was made from, or let `satdiag check FILE --repair NEW.satjob` write "
    "what can be recovered."
)
CHANGED = "the content is not what was written there; a byte has changed"
_NOT_OUR_TABLES = "its tables are not those of a job file"

_FIRST = {
    "meta": "CREATE TABLE meta (key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
    "documents": "CREATE TABLE documents (name TEXT NOT NULL PRIMARY KEY, bytes BLOB NOT NULL)",
    "observations": "CREATE TABLE observations (number INTEGER NOT NULL PRIMARY KEY, "
    + ", ".join(f"{column} TEXT NOT NULL" for column in Row._fields[:-1])
    + ", raw TEXT)",
}
PARTS = "CREATE TABLE parts (number INTEGER NOT NULL PRIMARY KEY, name TEXT NOT NULL, bytes BLOB NOT NULL)"
"""Format 2: what a document gained while it was recorded, piece by piece, behind its bytes in `documents`."""

SCHEMAS: Mapping[int, Mapping[str, str]] = {1: _FIRST, 2: {**_FIRST, "parts": PARTS}}
"""The statement of each table, by format."""

# The indexes that SQLite keeps for a primary key have no text of their own.
_MASTER = "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"


class Damaged(StoreProblem):
    """The file is not whole, or not as it was written."""

    def __init__(self, place: Path, what: str) -> None:
        self.what = what
        super().__init__(f"{place}: {what}. {MEND}")


def number_of(connection: sqlite3.Connection, pragma: str) -> int:
    """The value of a pragma that is a number."""
    return int(connection.execute(f"PRAGMA {pragma}").fetchone()[0])


def check_marks(connection: sqlite3.Connection, place: Path, for_writing: bool = False) -> None:
    """Refuse what is not ours before anything in the file is used. Raises NotAJob, StoreProblem."""
    if number_of(connection, "application_id") != APPLICATION_ID:
        what = "a database, but not a job file of satdiag" if place.stat().st_size else "the file is empty"
        raise NotAJob(f"{place}: {what}. Name a NAME.satjob or a job folder.")
    version = number_of(connection, "user_version")
    if version > USER_VERSION and for_writing:
        raise StoreProblem(
            f"{place}: it has format {version}, from a newer satdiag; this one writes format {USER_VERSION}. "
            "Update satdiag to add to it."
        )
    found = {str(name): (str(kind), str(sql)) for kind, name, sql in connection.execute(_MASTER)}
    if version in SCHEMAS:
        if found != {name: ("table", sql) for name, sql in SCHEMAS[version].items()}:
            raise Damaged(place, _NOT_OUR_TABLES)
    elif version < 1 or not all(_is_plain_table(*found.get(name, ("", ""))) for name in SCHEMAS[USER_VERSION]):
        raise StoreProblem(f"{place}: its format, {version}, is not known here. Update satdiag.")
    elif any(kind in ("view", "trigger") for kind, _ in found.values()) or _has_made_columns(connection):
        raise Damaged(place, _NOT_OUR_TABLES)


def _has_made_columns(connection: sqlite3.Connection) -> bool:
    """A table of ours has a column that is computed when it is read: a few bytes of it may become gigabytes."""
    tables = (connection.execute(f"PRAGMA table_xinfo({name})") for name in SCHEMAS[USER_VERSION])
    return any(
        hidden > 1 for columns in tables for *_, hidden in columns
    )  # sqlite.org/pragma.html#pragma_table_xinfo


def _is_plain_table(kind: str, statement: str) -> bool:
    return kind == "table" and statement.upper().startswith("CREATE TABLE")  # not a virtual one


def page_trouble(connection: sqlite3.Connection, pragma: str) -> list[str]:
    """What 'quick_check' or 'integrity_check' has against the pages of the file; empty if nothing."""
    try:
        found = [str(row[0]) for row in connection.execute(f"PRAGMA {pragma}(20)")]
    except sqlite3.DatabaseError as error:
        return [shown(str(error), 300)]
    return [] if found == ["ok"] else [shown(text.replace("\n", " "), 300) for text in found]


def check_pages(connection: sqlite3.Connection, place: Path) -> None:
    """The quick look at the pages that comes before every use of a file. Raises StoreProblem."""
    if trouble := page_trouble(connection, "quick_check"):
        raise Damaged(place, f"the file is damaged ({trouble[0]})")


# --- digests -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Digests:
    """SHA-256 over what a file of format 2 holds, in three pieces, so that growing costs only what is new.

    `fixed` (hex) is over the header and the table of documents; `rows` and `parts` run over their tables in the order
    of the numbers. The running ones are never updated in place: `grown` gives new ones.
    """

    fixed: str
    rows: _Hash
    parts: _Hash

    def grown(self, rows: Iterable[Row], parts: Iterable[tuple[str, bytes]] = ()) -> Digests:
        """The digests with more rows and parts behind those that are there."""
        with_rows, with_parts = self.rows.copy(), self.parts.copy()
        for some in rows_bytes(rows):
            with_rows.update(some)
        for name, data in parts:
            with_parts.update(named_bytes(name, data))
        return Digests(self.fixed, with_rows, with_parts)

    def with_documents(self, header: str, documents: Mapping[str, bytes]) -> Digests:
        """The digests with another table of documents."""
        return Digests(_over_documents(header, documents).hexdigest(), self.rows, self.parts)

    def texts(self) -> dict[str, str]:
        """What stands in the table `meta`, by key."""
        return {
            "sha256": self.fixed,
            "rows_sha256": self.rows.hexdigest(),
            "parts_sha256": self.parts.hexdigest(),
        }


_ROWS_AT_ONCE = 8192


def digests_of(header: str, documents: Mapping[str, bytes], rows: Iterable[Row] = ()) -> Digests:
    """The digests of a file with these rows and no parts."""
    fixed = _over_documents(header, documents).hexdigest()
    return Digests(fixed, hashlib.sha256(), hashlib.sha256()).grown(rows)


def digest_of_format_1(header: str, documents: Mapping[str, bytes], rows: Iterable[Row]) -> str:
    """The one digest (hex) of a file of format 1: over the header, the documents and the rows."""
    digest = _over_documents(header, documents)
    for some in rows_bytes(rows):
        digest.update(some)
    return digest.hexdigest()


def _over_documents(header: str, documents: Mapping[str, bytes]) -> _Hash:
    digest = hashlib.sha256(f"{header}\x1e".encode())
    for name in sorted(documents):
        digest.update(named_bytes(name, documents[name]))
    return digest


def named_bytes(name: str, data: bytes) -> bytes:
    """A document or a part as the digests see it: no two different ones look alike."""
    return f"{name}\x1f{len(data)}\x1e".encode() + data


def row_bytes(row: Row) -> bytes:
    """A row as the digests see it. Raises UnicodeEncodeError for half a surrogate pair."""
    texts = [f"{len(text)}:{text}" for text in row[:11]]
    texts.append("-" if row.raw is None else row.raw)
    return ("\x1f".join(texts) + "\x1e").encode()


def rows_bytes(rows: Iterable[Row]) -> Iterator[bytes]:
    """As `row_bytes`, many rows at a time; what rows have in common is put together once."""
    if isinstance(rows, ColumnRows):
        yield from _columns_bytes(rows)
        return
    said: dict[tuple[str, ...], str] = {}
    numbered = iter(rows)
    while some := list(islice(numbered, _ROWS_AT_ONCE)):
        if len(said) > _ROWS_AT_ONCE:
            said.clear()
        texts = []
        for row in some:
            time, elapsed_s, name, raw = row[0], row[9], row[10], row[11]
            middle = said.get(row[1:9])
            if middle is None:
                middle = said[row[1:9]] = "\x1f".join([f"{len(text)}:{text}" for text in row[1:9]])
            texts.append(
                f"{len(time)}:{time}\x1f{middle}\x1f{len(elapsed_s)}:{elapsed_s}\x1f{len(name)}:{name}\x1f"
                f"{'-' if raw is None else raw}\x1e"
            )
        yield "".join(texts).encode()


def _columns_bytes(rows: ColumnRows) -> Iterator[bytes]:
    said = chosen([("\x1f" + "".join([f"{len(text)}:{text}\x1f" for text in one])).encode() for one in rows.said])
    runs = chosen([f"{len(run)}:{run}\x1f".encode() for run in rows.runs])
    for part in stretches(len(rows)):
        count = part.stop - part.start
        last: list[Bytes | bytes] = [*counted(rows.elapsed_s[part]), b"\x1f", *counted(rows.id[part]), b"\x1f"]
        times, own = laid(counted(rows.time[part]), count), laid(last, count)
        written = [b"-\x1e"] * count
        for at, raw in rows.raw_in(part):
            written[at] = f"{raw}\x1e".encode()
        yield woven([times, said[rows.code[part]].tolist(), runs[rows.run[part]].tolist(), own, written])
