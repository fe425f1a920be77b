"""Bring a job file of an older format up to the present one: forward only, in one transaction, after a copy."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from itertools import count
from pathlib import Path

from satdiag.errors import StoreProblem
from satdiag.safe_write import beside, publish
from satdiag.store.connect import connect, reason
from satdiag.store.format import PARTS, USER_VERSION, number_of
from satdiag.store.read import Content


def migrate(connection: sqlite3.Connection, place: Path, content: Content) -> None:
    """Bring the file up to `USER_VERSION`, within the transaction that the connection is in.

    `content` is what the file holds, checked. A copy of the file as it was is kept beside it. Raises StoreProblem,
    sqlite3.Error; the caller takes the transaction back then.
    """
    version = number_of(connection, "user_version")
    if version == USER_VERSION:
        return
    keep_copy(place, version)
    while version < USER_VERSION:
        _STEPS[version](connection, content)
        version += 1
        connection.execute(f"PRAGMA user_version={version}")


def _add_parts(connection: sqlite3.Connection, content: Content) -> None:
    """1 -> 2: a table for what documents gain while they are recorded, and digests that can be carried on."""
    connection.execute(PARTS)
    connection.executemany("INSERT OR REPLACE INTO meta VALUES (?, ?)", content.digests.texts().items())


_STEPS: Mapping[int, Callable[[sqlite3.Connection, Content], None]] = {1: _add_parts}


def keep_copy(place: Path, version: int) -> Path:
    """A copy of the file beside it, on the medium when this returns; an older copy is never written over.

    Made with SQLite's backup (https://sqlite.org/backup.html), so that it holds what a write-ahead log still holds.
    Raises StoreProblem.
    """
    real = Path(os.path.realpath(place))
    first = f"{real.name}.format{version}-backup"
    try:
        with beside(real) as made:
            with closing(connect(real, "ro")) as source, closing(sqlite3.connect(made)) as target:
                source.backup(target)
                target.execute("PRAGMA journal_mode=DELETE")
            for number in count(1):
                kept = real.with_name(first if number == 1 else f"{first}-{number}")
                try:
                    publish(made, kept)
                except FileExistsError:
                    continue
                return kept
    except (OSError, sqlite3.Error) as error:
        raise StoreProblem(
            f"{place}: it has format {version} and is brought up to format {USER_VERSION} before it is written, but "
            f"the copy that is made first cannot be written ({reason(error)}). Nothing was changed. Make room beside "
            "the file, or use a copy of it elsewhere."
        ) from None
    raise AssertionError("count never ends")
