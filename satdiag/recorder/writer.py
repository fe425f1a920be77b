"""The one writer: a thread that owns the only writing connection, and a bounded store of what it has yet to write.

Nothing that was taken is dropped. While the medium takes nothing (full, busy, failing) everything is held, tried
again every second, and written when it can be. A row is acknowledged when it is committed, never before.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

from satdiag.errors import SatdiagError, StoreProblem, StoreWaits
from satdiag.rows import Row

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.store import LiveFile

COMMIT_EVERY_S = 0.2
COMMIT_ROWS = 500
ROOM = 200_000
"""How many rows and raw lines are held at most while they cannot be written."""

ROOM_BYTES = 256 * 1024 * 1024
"""And how many bytes of them, about."""

RETRY_S = 1.0
PATIENCE_S = 10.0
"""How long the end waits for a medium that takes nothing."""

LAST_S = 20.0
"""And after that for a medium that does not even say no."""

_LARGEST_COMMIT = 5_000
_ROW_BYTES = 600  # a row of short texts, measured


@dataclass(frozen=True)
class Batch:
    """What is written together or not at all: rows, pieces of growing documents, and who wants to know.

    `work` is something else to do with the file, alone and in its turn, in place of rows; it is done again if it
    raises StoreWaits, and anything else that it raises ends the writer.
    """

    rows: tuple[Row, ...]
    parts: tuple[tuple[str, bytes], ...] = ()
    committed: Callable[[], None] | None = None
    urgent: bool = False
    items: int = field(default=0)
    work: Callable[[LiveFile], None] | None = None

    @property
    def weight(self) -> int:
        """How much of the room it takes: its rows or its lines, whichever are more."""
        return max(len(self.rows), self.items, 1)

    @property
    def size(self) -> int:
        """About how many bytes it takes."""
        return _ROW_BYTES * len(self.rows) + sum(len(data) for _, data in self.parts)


class Writer:
    """Writes batches in the order in which they were taken. All methods may be called from any thread.

    `on_commit` is called on the writer's thread with the rows of each commit, and after it everyone in `listeners`,
    who must not raise; add to them before the start.
    """

    def __init__(self, place: Path, on_commit: Callable[[Sequence[Row]], None], room: int = ROOM) -> None:
        self._place, self._on_commit, self.room = place, on_commit, room
        self.listeners: list[Callable[[Sequence[Row]], None]] = []
        self._held: deque[Batch] = deque()
        self._change = threading.Condition()
        self._weight = self._bytes = 0
        self._urgent = False
        self._closing: bool | None = None  # None: go on; True: write what is held first; False: stop at once
        self._opened = threading.Event()
        self._error: SatdiagError | None = None
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self.job: Job | None = None
        self.unclean_run: str | None = None
        self.rows_written = 0
        self.last_commit_s: float | None = None
        self.trouble = ""
        self.left_word = ""

    # --- for the others --------------------------------------------------------------------------------------------

    def start(self, run_of: Callable[[Job], tuple[str, str]]) -> Job:
        """Open and check the file, begin the run that `run_of` names (name, start), and return the job in it.

        Raises whatever is wrong with the file; nothing was started then.
        """
        self._run_of = run_of
        self._thread.start()
        self._opened.wait()
        if self._error is not None:
            self._thread.join()
            raise self._error
        assert self.job is not None
        return self.job

    def put(self, batch: Batch, wait_s: float, always: bool = False) -> bool:
        """Take a batch; False if there was no room for it within `wait_s`. Raises the error that ended the writer.

        `always`: take it at once, for the few rows that tell of what found no room.
        """
        until = monotonic() + wait_s
        with self._change:
            while not always and self._is_full_for(batch) and self._error is None:
                left = until - monotonic()
                if left <= 0:
                    return False
                self._change.wait(left)
            if self._error is not None:
                raise self._error
            self._held.append(batch)
            self._weight += batch.weight
            self._bytes += batch.size
            self._urgent = self._urgent or batch.urgent
            if self._urgent or self._weight >= COMMIT_ROWS or len(self._held) == 1:
                self._change.notify_all()
        return True

    @property
    def has_room(self) -> bool:
        """True if another piece may be taken; with a margin, so that it is not full again at once."""
        return self._weight < 0.9 * self.room and self._bytes < 0.9 * ROOM_BYTES

    def _is_full_for(self, batch: Batch) -> bool:
        more = self._weight + batch.weight > self.room or self._bytes + batch.size > ROOM_BYTES
        return bool(self._weight) and more

    @property
    def held(self) -> int:
        """Rows and lines taken and not yet written."""
        return self._weight

    @property
    def error(self) -> SatdiagError | None:
        """What ended the writer before its time, or None."""
        return self._error

    def close(self, patience_s: float = PATIENCE_S) -> tuple[Batch, ...]:
        """Write what is held and close the file; returns what could not be written within `patience_s`.

        May be called again, with less patience.
        """
        with self._change:
            self._closing = True
            self._change.notify_all()
        self._thread.join(patience_s)
        if self._thread.is_alive():
            with self._change:
                self._closing = False
                self._change.notify_all()
            self._thread.join(LAST_S)
            if self._thread.is_alive():
                self.left_word = f"{self._place}: the medium does not answer; what it has taken is not known."
        return tuple(self._held)

    # --- the thread ------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        from satdiag.store import open_live

        try:
            live = open_live(self._place)
        except SatdiagError as error:
            self._fail(error)
            return
        except Exception as error:  # noqa: BLE001 (whoever waits for the opening must hear of any failure)
            self._fail(StoreProblem(f"{self._place}: cannot be opened ({type(error).__name__}: {error})."))
            return
        try:
            self._begin(live)
            self._opened.set()
            while self._write_next(live):
                pass
        except SatdiagError as error:
            self._fail(error)
        except Exception as error:  # noqa: BLE001 (a writer that dies in silence would lose everything after)
            self._fail(StoreProblem(f"{self._place}: cannot be written ({type(error).__name__}: {error})."))
        finally:
            self.left_word = live.close(clean=self._error is None)

    def _begin(self, live: LiveFile) -> None:
        self.job = live.job
        self.unclean_run = live.unclean.run if live.unclean else None
        live.begin(*self._run_of(live.job))
        live.release()

    def _fail(self, error: SatdiagError) -> None:
        with self._change:
            self._error = error
            self._change.notify_all()
        self._opened.set()

    def _write_next(self, live: LiveFile) -> bool:
        """Write one commit's worth; False when all is done."""
        batches = self._gather()
        if not batches:
            return False
        rows = [row for batch in batches for row in batch.rows]
        try:
            if batches[0].work is None:
                live.append(rows, joined(batches))
            else:
                batches[0].work(live)
        except StoreWaits as error:
            self.trouble = str(error)
            with self._change:
                if self._closing is False:
                    return False
                self._change.wait_for(lambda: self._closing is False, RETRY_S)
            return True
        self._done(batches, rows)
        return True

    def _gather(self) -> list[Batch]:
        """What the next commit takes: waits until something is due. Empty: closing, and nothing is left."""
        with self._change:
            while not self._held and self._closing is None:
                self._change.wait()
            if not self._urgent and self._weight < COMMIT_ROWS and self._closing is None:
                self._change.wait_for(self._due, COMMIT_EVERY_S)
            taken: list[Batch] = []
            weight = 0
            for batch in self._held:
                alone = batch.work is not None
                if taken and (alone or weight + batch.weight > _LARGEST_COMMIT):
                    break
                taken.append(batch)
                weight += batch.weight
                if alone:
                    break
            return taken

    def _due(self) -> bool:
        return self._urgent or self._weight >= COMMIT_ROWS or self._closing is not None

    def _done(self, batches: Sequence[Batch], rows: Sequence[Row]) -> None:
        with self._change:
            for batch in batches:
                self._held.popleft()
                self._weight -= batch.weight
                self._bytes -= batch.size
            self._urgent = any(batch.urgent for batch in self._held)
            self._change.notify_all()
        self.trouble = ""
        self.rows_written += len(rows)
        self.last_commit_s = monotonic()
        self._on_commit(rows)
        for listener in self.listeners:
            listener(rows)
        for batch in batches:
            if batch.committed is not None:
                batch.committed()


def joined(batches: Sequence[Batch]) -> list[tuple[str, bytes]]:
    """The pieces of all batches, those of one document joined."""
    pieces: dict[str, list[bytes]] = {}
    for batch in batches:
        for name, data in batch.parts:
            pieces.setdefault(name, []).append(data)
    return [(name, b"".join(found)) for name, found in pieces.items()]
