"""Marks in a job file that say which recorder run is under way, or was begun and never closed.

`open_run` is there from the beginning of a run to its end, and `unclean_run` from the first opening after a run that
was cut off to the beginning of the next one. With `open_run` alone, the rows of that run may still lie in the
write-ahead log; `unclean_run` is set when whatever was there has been taken into account.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Mapping
from typing import Any, NamedTuple

from satdiag.store.lock import computer

_OPEN = "open_run"
_UNCLEAN = "unclean_run"
_LACKS = "rows_may_be_missing"


class Unclean(NamedTuple):
    """A recorder run that was begun and never closed: its name and when it was begun, '?' where that is unknown.

    `lacks_rows`: the file is, or was made from, a copy taken during the run; rows of it may be missing.
    """

    run: str
    started: str
    lacks_rows: bool = False


def begin_run(connection: sqlite3.Connection, run: str, started: str) -> None:
    """Mark a run as under way, within a transaction."""
    mark = {"run": run, "started": started, "pid": os.getpid(), "computer": computer()}
    connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (_OPEN, json.dumps(mark)))
    connection.execute("DELETE FROM meta WHERE key = ?", (_UNCLEAN,))


def put_aside(connection: sqlite3.Connection, keep: bool = True, lacks_rows: bool = False) -> Unclean | None:
    """Take away the mark of an open run, within a transaction; with `keep` it stays known as never closed.

    Returns the run that was never closed, this one or an earlier one.
    """
    marks = run_marks(connection)
    if _OPEN not in marks:
        return unclean_run(marks)
    connection.execute("DELETE FROM meta WHERE key = ?", (_OPEN,))
    if not keep:
        return None
    found = unclean_run(marks, lacks_rows)
    assert found is not None
    mark = {"run": found.run, "started": found.started, _LACKS: found.lacks_rows}
    connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (_UNCLEAN, json.dumps(mark)))
    return found


def run_marks(connection: sqlite3.Connection) -> dict[str, Any]:
    """The marks that are there, as they are written."""
    return dict(connection.execute("SELECT key, value FROM meta WHERE key IN (?, ?)", (_OPEN, _UNCLEAN)))


def unclean_run(marks: Mapping[str, Any], lacks_rows: bool = False) -> Unclean | None:
    """The run that the marks say was never closed, `lacks_rows` if its log is missing and it is still marked open."""
    mark = marks.get(_OPEN, marks.get(_UNCLEAN))
    if mark is None:
        return None
    is_open = _OPEN in marks
    try:
        found = json.loads(mark)
        run, started = str(found["run"])[:100], str(found["started"])[:100]
        lacks = lacks_rows if is_open else found[_LACKS] is True
    except (ValueError, KeyError, TypeError, RecursionError):
        return Unclean("?", "?", is_open and lacks_rows)
    return Unclean(run, started, lacks)
