"""What a job file looks like: its marks, its tables in each format, and the digests of what they hold."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from satdiag.errors import NotAJob, StoreProblem
from satdiag.rows import Row

if TYPE_CHECKING:
    from hashlib import _Hash

APPLICATION_ID = 0x53444A42
"""'SDJB' in ASCII: the mark in the file's head (https://sqlite.org/fileformat2.html#application_id)."""

USER_VERSION = 2
"""The format that this satdiag writes. An older one is brought up to it before it is written; a newer one is read
where possible and never written."""

MEND = "Use a copy of it, or the folder that it was made from."
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
        raise NotAJob(f"{place}: a database, but not a job file of satdiag. Name a NAME.satjob or a job folder.")
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
    elif any(kind in ("view", "trigger") for kind, _ in found.values()):
        raise Damaged(place, _NOT_OUR_TABLES)


def _is_plain_table(kind: str, statement: str) -> bool:
    return kind == "table" and statement.upper().startswith("CREATE TABLE")  # not a virtual one


def page_trouble(connection: sqlite3.Connection, pragma: str) -> list[str]:
    """What 'quick_check' or 'integrity_check' has against the pages of the file; empty if nothing."""
    try:
        found = [str(row[0]) for row in connection.execute(f"PRAGMA {pragma}(20)")]
    except sqlite3.DatabaseError as error:
        return [str(error)]
    return [] if found == ["ok"] else [text.replace("\n", " ") for text in found]


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
        for row in rows:
            with_rows.update(row_bytes(row))
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


def digests_of(header: str, documents: Mapping[str, bytes], rows: Iterable[Row] = ()) -> Digests:
    """The digests of a file with these rows and no parts."""
    fixed = _over_documents(header, documents).hexdigest()
    return Digests(fixed, hashlib.sha256(), hashlib.sha256()).grown(rows)


def digest_of_format_1(header: str, documents: Mapping[str, bytes], rows: Iterable[Row]) -> str:
    """The one digest (hex) of a file of format 1: over the header, the documents and the rows."""
    digest = _over_documents(header, documents)
    for row in rows:
        digest.update(row_bytes(row))
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
