"""The job file while it is recorded into: rows and raw lines are added in batches, each kept whole or not at all.

The file is in WAL mode with synchronous=FULL meanwhile: a batch that was taken survives the end of the process and,
on a medium that keeps its word, a power cut (https://sqlite.org/pragma.html#pragma_synchronous). Readers see the
state between two batches and hold nobody up.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from types import TracebackType
from typing import Any

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, NotAJob, SatdiagError, StoreProblem, StoreWaits, bad_input
from satdiag.job import KNOWN_FILES, Job, document_problems, normalised
from satdiag.rows import Row
from satdiag.sheet import FILE as SHEET_FILE
from satdiag.sheet import Sheet, parse_sheet
from satdiag.store.append import insert_parts, insert_rows
from satdiag.store.connect import connect, look, plain, plain_errors, reason, transaction
from satdiag.store.format import MEND, Digests
from satdiag.store.lock import RECORDING, take
from satdiag.store.medium import check_medium
from satdiag.store.prepare import Opened, State, prepare
from satdiag.store.runs import begin_run, put_aside
from satdiag.vocabulary import UNREADABLE

READER_WAIT_S = 2.0
"""How long closing waits for readers before it leaves the write-ahead log to the next opening."""

_GROWING_FILES = re.compile(r"raw.*\.jsonl|gnss.*\.nmea")
_WHOLE_FILES = (SHEET_FILE, "lineup.csv", "horizon.csv", "obstacles.csv", "constellation.toml")
_NAIVE_ROWS = (
    "SELECT 1 FROM observations WHERE time NOT GLOB '*Z' AND time NOT GLOB '*[+-][0-9][0-9]:[0-9][0-9]' LIMIT 1"
)
_MENDS = {
    "SQLITE_FULL": "The medium is full: free some space on it.",
    "SQLITE_BUSY": "Another program is writing to it: close that one.",
    "SQLITE_IOERR": "The medium does not answer as it should: see that it is plugged in.",
}


class LiveFile:
    """A job file that is being recorded into; made by `open_live`, to be used from the thread that called it.

    `place` is its path, `unclean` the earlier run that was begun and never closed, or None.
    """

    def __init__(self, place: Path, connection: sqlite3.Connection, ends: ExitStack, opened: Opened) -> None:
        self.place = place
        self.unclean = opened.unclean
        self._connection = connection
        self._ends = ends
        self._state = opened.state
        self._job: Job | None = opened.job
        self._began = False
        self._fold_due = False
        self._closed = False
        self._identity = _identity(place)

    @property
    def job(self) -> Job:
        """The job as it was when the file was opened; not to be asked for after `release`."""
        if self._job is None:
            raise ValueError("the job was released")
        return self._job

    @property
    def row_count(self) -> int:
        """How many rows the file holds for good."""
        return self._state.rows

    def release(self) -> None:
        """Give up the memory that `job` takes."""
        self._job = None

    def begin(self, run: str, started: str) -> None:
        """Write down that a run is under way, so that one that is cut off is known later.

        Raises StoreWaits, StoreProblem; it may be called again then.
        """
        self._commit(lambda: begin_run(self._connection, run, started), self._state)
        self._began = True
        self._fold_due = not self._fold()  # a copy of the one file taken now shall tell that it lacks the log

    def append(self, rows: Sequence[Row], parts: Sequence[tuple[str, bytes]] = ()) -> None:
        """Add rows, already checked, and pieces of documents (name, bytes), all or none; on the medium at return.

        Raises StoreWaits if it cannot be done just now and StoreProblem if it cannot be done; the file is as it was
        then, and the same call may be made again. Raises ValueError for a document that does not grow.
        """
        for name, _ in parts:
            if not (KNOWN_FILES.fullmatch(name) and _GROWING_FILES.fullmatch(name)):
                raise ValueError(f"{name!r} is not a document that grows while it is recorded")
        if not rows and not parts:
            return
        self._look_for_file()
        fresh = [row._replace(raw=None) for row in rows]
        state = self._state
        try:
            digests = state.digests.grown(fresh, parts)
        except UnicodeEncodeError:
            raise StoreProblem(f"{self.place}: a text that cannot be written as UTF-8 was not kept.") from None

        def add() -> None:
            insert_rows(self._connection, fresh, state.rows + 1)
            insert_parts(self._connection, parts, state.parts + 1)
            self._carry_on(state.digests, digests)

        if self._fold_due:
            self._fold_due = not self._fold()
        self._commit(add, State(state.rows + len(fresh), state.parts + len(parts), digests))

    def replace_documents(self, changed: Mapping[str, bytes], rows: Sequence[Row] = ()) -> None:
        """Put whole documents, e.g. lineup.csv, in the place of those of their names, or add them, and add rows.

        All or none; on the medium at return. The rows are already checked, against the new documents. Raises BadInput
        if the job would not be sound with them; StoreWaits, StoreProblem as `append`; the file is as it was then.
        Raises ValueError for a document that is not replaced as a whole.
        """
        if strange := set(changed) - set(_WHOLE_FILES):
            raise ValueError(f"{min(strange)!r} is not a document that is replaced while it is recorded")
        fresh = [row._replace(raw=None) for row in rows]
        state, new = self._state, {name: normalised(name, data) for name, data in changed.items()}
        header, documents = self._documents(new)
        if problems := document_problems({**documents, **new}):
            raise BadInput(problems)
        if SHEET_FILE in new:
            self._check_rows_with(*(parse_sheet(part[SHEET_FILE].decode()) for part in (new, documents)))
        documents.update(new)
        try:
            digests = state.digests.with_documents(header, documents).grown(fresh)
        except UnicodeEncodeError:
            raise StoreProblem(f"{self.place}: a text that cannot be written as UTF-8 was not kept.") from None

        def put() -> None:
            self._connection.executemany("INSERT OR REPLACE INTO documents VALUES (?, ?)", new.items())
            insert_rows(self._connection, fresh, state.rows + 1)
            self._carry_on(state.digests, digests)

        if self._fold_due:
            self._fold_due = not self._fold()
        self._commit(put, state._replace(rows=state.rows + len(fresh), digests=digests))

    def close(self, clean: bool = True) -> str:
        """End the recording: one file in DELETE mode, and the lock given up. May be called twice.

        Returns a word on what is left for the next opening, blank if nothing is; what readers or the medium do never
        raises an error here. With `clean` False the run stays marked as not closed.
        """
        if self._closed:
            return ""
        try:
            with self._ends:
                words = [self._mark_end(clean) if self._began else "", self._to_one_file()]
                if words[0]:  # folding the log in may have made room
                    words[0] = self._mark_end(clean)
        finally:
            self._closed = True
        self.release()
        return " ".join(word for word in words if word)

    def __enter__(self) -> LiveFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close(clean=error is None)

    def _look_for_file(self) -> None:
        """Raises StoreProblem if the file is not where it was: what is written now would be lost with it."""
        if _identity(self.place) != self._identity:
            mend = "Nothing more is written. Put it back with the files that begin with its name, and record again."
            raise StoreProblem(f"{self.place}: it was moved, replaced or deleted while it was recorded into. {mend}")

    # --- one transaction -----------------------------------------------------------------------------------------

    def _commit(self, work: Callable[[], object], after: State) -> None:
        """Do some work in one transaction; what is known of the file changes with it or not at all."""
        if self._closed:
            raise ValueError("the file was closed")
        try:
            if self._connection.in_transaction:  # an earlier one that could not be taken back
                self._connection.execute("ROLLBACK")
            with transaction(self._connection):
                work()
        except sqlite3.DatabaseError as error:
            self._see_where_we_are(after)
            if isinstance(error, sqlite3.ProgrammingError):  # ours, e.g. the wrong thread
                raise
            raise self._told(error) from None
        except BaseException:
            self._see_where_we_are(after)
            raise
        self._state = after

    def _see_where_we_are(self, after: State) -> None:
        """After an error: take back what is open. A Ctrl-C may also come when COMMIT has just been done."""
        with suppress(sqlite3.Error):
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
                return
            found = dict(self._connection.execute("SELECT key, value FROM meta"))
            if found.items() >= after.digests.texts().items():
                self._state = after

    def _carry_on(self, old: Digests, new: Digests) -> None:
        """Write the new digests in the place of the old ones, which must be there: else someone else has written."""
        texts = new.texts()
        for key, text in old.texts().items():
            done = self._connection.execute(
                "UPDATE meta SET value = ? WHERE key = ? AND value = ?", (texts[key], key, text)
            )
            if done.rowcount != 1:
                raise StoreProblem(f"{self.place}: another program has changed it meanwhile; nothing more is added.")

    def _mark_end(self, clean: bool) -> str:
        """Take the mark of the open run away, or put it aside as never closed; a word if that could not be done."""
        try:
            self._commit(lambda: put_aside(self._connection, keep=not clean), self._state)
        except SatdiagError as error:
            return f"The end of the run could not be marked. {error}"
        return ""

    def _told(self, error: sqlite3.Error) -> SatdiagError:
        name = getattr(error, "sqlite_errorname", "")
        for start, mend in _MENDS.items():
            if name.startswith(start):
                return StoreWaits(f"{self.place}: cannot be written just now ({reason(error)}). {mend}")
        return plain(self.place, "written", error)

    # --- documents -------------------------------------------------------------------------------------------------

    def _read(self, query: str, *values: str) -> list[tuple[Any, ...]]:
        """What a query finds in the file as it was last kept. Raises StoreWaits, StoreProblem."""
        if self._closed:
            raise ValueError("the file was closed")
        try:
            if self._connection.in_transaction:  # an earlier one that could not be taken back
                self._connection.execute("ROLLBACK")
            return self._connection.execute(query, values).fetchall()
        except sqlite3.ProgrammingError:  # ours, e.g. the wrong thread
            raise
        except sqlite3.DatabaseError as error:
            raise self._told(error) from None

    def _documents(self, names: Iterable[str]) -> tuple[str, dict[str, bytes]]:
        """The header and the table of documents, true to their digest: a new one shall not hide a changed byte."""
        header = "".join(value for (value,) in self._read("SELECT value FROM meta WHERE key = 'header'"))
        documents = dict(self._read("SELECT name, bytes FROM documents"))
        pieces = [self._read("SELECT 1 FROM parts WHERE name = ? LIMIT 1", name) for name in names]
        if any(pieces) or self._state.digests.with_documents(header, documents).fixed != self._state.digests.fixed:
            what = "its documents are not as they were when it was opened; nothing was changed"
            raise StoreProblem(f"{self.place}: {what}. {MEND}")
        return header, documents

    def _check_rows_with(self, sheet: Sheet, before: Sheet) -> None:
        """See that the rows that are there go with a new sheet. Raises BadInput."""
        kept = {site.name for site in sheet.sites} | {UNREADABLE}
        for (site,) in self._read("SELECT DISTINCT value FROM observations WHERE kind = 'site'"):
            if site not in kept:
                what = f"the site {quoted(site)} is missing, and rows name it"
                raise bad_input(SHEET_FILE, what, "Keep it under that name.", column="name")
        if sheet.naive_times != before.naive_times and self._read(_NAIVE_ROWS):
            what = "naive_times cannot be changed now: there are rows that were read with it"
            raise bad_input(SHEET_FILE, what, "Leave it as it is.", column="naive_times")

    # --- the write-ahead log ---------------------------------------------------------------------------------------

    def _fold(self) -> bool:
        """Copy the log into the file without waiting for anybody; whether all of it was copied."""
        try:
            busy, pages, copied = self._connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        except sqlite3.OperationalError:
            return False
        return not busy and pages == copied

    def _to_one_file(self) -> str:
        """Fold the log in and go back to DELETE mode; a word if that could not be done."""
        try:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            self._connection.execute(f"PRAGMA busy_timeout={round(READER_WAIT_S * 1000)}")
            busy = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            if not busy and self._connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0] == "delete":
                return ""
            why = "another program is reading it"
        except sqlite3.Error as error:
            is_read = getattr(error, "sqlite_errorname", "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
            why = "another program is reading it" if is_read else reason(error)
        return (
            f"{self.place}: part of what was written lies in {self.place.name}-wal beside it for now "
            f"({why}). Leave both where they are; the next opening for writing joins them."
        )


def _identity(place: Path) -> tuple[int, int] | None:
    """Which file the path leads to now, without opening it; None if none."""
    with suppress(OSError):
        found = place.stat()
        return found.st_dev, found.st_ino
    return None


def open_live(path: str | os.PathLike[str]) -> LiveFile:
    """Open a job file to record into it: lock it, check it, bring it up to date, and read the job.

    What a recorder that was cut off left behind is finished first. Raises NotAJob, BadInput, StoreProblem; the
    content is as it was then.
    """
    place = Path(path)
    _look_for_one(place)
    check_medium(place)
    with ExitStack() as ends:
        ends.callback(take(place, RECORDING).release)
        with plain_errors(place, "written"):
            connection = connect(place, "rw")
            ends.callback(connection.close)
            opened = prepare(connection, place)
        return LiveFile(place, connection, ends.pop_all(), opened)


def _look_for_one(place: Path) -> None:
    """See that a single file is there. Raises NotAJob, StoreProblem."""
    if os.path.isdir(place):
        mend = "`satdiag import FOLDER NAME.satjob` makes a job file of a job folder."
        raise NotAJob(f"{place}: this is a folder; only a job file can be recorded into. {mend}")
    look(place)
    if place.stat().st_nlink > 1:
        what = "the file has a second name (a hard link), under which another program could write to it unseen"
        raise StoreProblem(f"{place}: {what}. Make a copy of it and record into that.")
