"""Where lines become numbered rows and raw records: one desk for a whole run, used by every source."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from satdiag.bulk import ids_of, runs_of
from satdiag.recorder.admit import OWN_KINDS, Admission
from satdiag.recorder.clock import time_text
from satdiag.recorder.heard import Line, Moment, Reading, Source
from satdiag.recorder.raw_lines import RawLine, document_name, encode
from satdiag.recorder.writer import Batch

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.rows import Row
    from satdiag.sheet import Sheet

RECORDER = "recorder"
"""The source of the rows that the recorder itself writes: gaps and clock steps."""

BY_HAND = "hand"
"""The source of what a person types."""

NOT_FROM_DEVICES = (*OWN_KINDS, "withdraw")
"""Kinds that a person or the recorder writes, never a device."""


class KnownIds(Collection[str]):
    """The ids that a `withdraw` may name: those that were there before, and those given in this run."""

    def __init__(self, before: Collection[str], run: str) -> None:
        self._before, self._run = set(before), run
        self.given = 0
        self._void: list[tuple[int, int]] = []

    def add(self, identifier: str) -> None:
        """An id that a row brought with it."""
        self._before.add(identifier)

    def drop(self, ids: Sequence[str]) -> None:
        """The rows with these ids, this run's own or such that were added, are not written after all."""
        self.void([name for name in ids if name not in self._before])
        self._before.difference_update(ids)

    def next(self) -> str:
        """A new id."""
        self.given += 1
        return f"{self._run}-{self.given}"

    def void(self, ids: Sequence[str]) -> None:
        """Ids of this run that were given to rows for which there was no room."""
        numbers = sorted(int(name.rpartition("-")[2]) for name in ids)
        for number in numbers:
            if self._void and self._void[-1][1] == number - 1:
                self._void[-1] = (self._void[-1][0], number)
            else:
                self._void.append((number, number))

    def __contains__(self, item: object) -> bool:
        if not isinstance(item, str):
            return False
        head, dash, tail = item.rpartition("-")
        if dash and head == self._run and tail.isascii() and tail.isdigit():
            number = int(tail[:18])
            is_given = 1 <= number <= self.given and not tail.startswith("0")
            return is_given and not any(first <= number <= last for first, last in self._void)
        return item in self._before

    def __len__(self) -> int:
        return len(self._before) + self.given

    def __iter__(self):  # type: ignore[no-untyped-def]  # the ids of this run are counted, not kept
        raise TypeError("the ids of a run are not kept")


@dataclass(frozen=True)
class Taken:
    """What was made of some lines: a batch to write, and how many rows and lines not understood are in it."""

    batch: Batch
    ids: tuple[str, ...]
    not_understood: int
    why: str


def next_run(job: Job) -> str:
    """The next free name of a recorder run: r1, r2, ..."""
    used = {run.partition(".")[0] for run in runs_of(job.rows)}
    used |= {name.partition(".")[0] for name in {name.partition("-")[0] for name in ids_of(job.rows) if name}}
    texts = "\n".join(job.documents)
    number = 1
    while f"r{number}" in used or f"-r{number}." in texts or f"-r{number}-" in texts:
        number += 1
    return f"r{number}"


def _clean(note: str) -> str:
    """A note of the recorder's own without what may not stand in a row: it may quote a device, or a path."""
    return "".join(mark if mark.isprintable() else " " for mark in note)[:500]


def _is_replay(source: str) -> bool:
    return source.partition("/")[0] == "replay"


class Desk:
    """Numbers what is heard and checks it against the vocabulary. May be used from any thread.

    A line of which not every reading is admitted keeps the others, and says why.
    """

    def __init__(self, job: Job, run: str, start: Moment) -> None:
        self.run, self.start = run, start
        self.ids = KnownIds([name for name in ids_of(job.rows) if name], run)
        self._admission = Admission.of_job(job, self.ids)
        self._lines = 0
        self._lock = threading.Lock()
        self._documents: dict[str, str] = {}
        self._played: dict[tuple[str, str], str] = {}
        self._levels_by_hand: dict[str, tuple[int, str, str]] = {}
        self._taken_back: dict[str, tuple[int, str, str]] = {}

    def take(
        self, source: Source, lines: Sequence[Line], committed: Callable[[], None] | None = None, urgent: bool = False
    ) -> Taken:
        """Rows and raw records of lines that a source heard."""
        rows: list[Row] = []
        parts: list[bytes] = []
        not_understood, last_why = 0, ""
        with self._lock:
            for line in lines:
                made, why = self._rows_of(source, line)
                rows += made
                if why:
                    not_understood, last_why = not_understood + 1, why
                if source.keeps == "raw":
                    parts.append(self._raw(source, line, made, why))
                elif source.keeps == "nmea":
                    parts.append(line.data + b"\r\n")
            document = self._document(source) if parts else ""
        pieces = ((document, b"".join(parts)),) if parts else ()
        batch = Batch(tuple(rows), pieces, committed, urgent, items=len(lines))
        return Taken(batch, tuple(row.id for row in rows), not_understood, last_why)

    def own(self, at: Moment, readings: Sequence[Reading]) -> Batch:
        """Rows that the recorder writes of itself: gaps and clock steps."""
        with self._lock:
            clean = [reading._replace(note=_clean(reading.note)) for reading in readings]
            rows = [self._admitted(RECORDER, reading, at) for reading in clean]
        return Batch(tuple(row for row in rows if not isinstance(row, str)))

    def given(self, source: str, reading: Reading, at: Moment) -> Row | str:
        """The row of a reading that brings its own id, run and time, all kept as they are, or why there is none.

        `at` is its time. A `withdraw` may name its id from now on; the caller sees that no id is given twice.
        """
        with self._lock:
            row = self._admission.row(
                reading, source=source, at=at, elapsed_s=0.0, run=reading.run, id=reading.id, own=False
            )
            if not isinstance(row, str):
                self.ids.add(row.id)
                self._remember(row, at)
        return row

    def not_kept(self, rows: Sequence[Row]) -> None:
        """Rows from hand for which there was no room: no `withdraw` may name them, and nothing rests on them."""
        with self._lock:
            self.ids.drop([row.id for row in rows])
            for row in reversed(rows):
                if row.kind == "signal" and row.unit:
                    self._admission.visits.take_back(*self._levels_by_hand.pop(row.id)[:2])
                elif row.kind == "withdraw" and row.value in self._taken_back:
                    level = self._levels_by_hand[row.value] = self._taken_back.pop(row.value)
                    self._admission.visits.add(*level)

    def renew(self, sheet: Sheet) -> None:
        """The sheet was changed: its sites and what it says of times without an offset hold from now on."""
        with self._lock:
            sites = {site.name for site in sheet.sites}
            self._admission = Admission(sheet.naive_times, sites, self.ids, self._admission.visits)

    def elapsed_s(self, at: Moment) -> float:
        """Seconds since the run's start, on the monotonic clock."""
        return max(0.0, (at.mono_ns - self.start.mono_ns) / 1e9)

    def _rows_of(self, source: Source, line: Line) -> tuple[list[Row], str]:
        rows: list[Row] = []
        why = line.why
        for reading in line.readings:
            row = self._admitted(source.name, self._as_played(source, reading), line.at)
            if isinstance(row, str):
                why = f"{why}; {row}" if why else row
                continue
            rows.append(row)
            if reading.id in getattr(source, "named_ids", ()):
                self._played[source.name, reading.id] = row.id
        return rows, why

    def _admitted(self, source: str, reading: Reading, at: Moment) -> Row | str:
        """The row with a new id; the id is given only to a row that is admitted."""
        own = source == RECORDER or _is_replay(source)
        if reading.kind == "withdraw" and not own and source != BY_HAND:
            return "'withdraw' is taken from a person only, not from a device"
        row = self._admission.row(
            reading,
            source=reading.source or source,
            at=at,
            elapsed_s=self.elapsed_s(at),
            run=self.run,
            id=f"{self.run}-{self.ids.given + 1}",
            own=own,
        )
        if not isinstance(row, str):
            self.ids.next()
            if source == BY_HAND:
                self._remember(row, at)
        return row

    def _remember(self, row: Row, at: Moment) -> None:
        """A level that was typed in may be taken back: then its unit binds nobody any more."""
        if row.kind == "signal" and row.unit:
            self._levels_by_hand[row.id] = (at.wall_ns // 1000, row.subject, row.unit)
        elif row.kind == "withdraw" and row.value in self._levels_by_hand:
            level = self._taken_back[row.value] = self._levels_by_hand.pop(row.value)
            self._admission.visits.take_back(*level[:2])

    def _as_played(self, source: Source, reading: Reading) -> Reading:
        """A played-back row under names of this run's own: none is used twice, and it withdraws its own rows only."""
        if not _is_replay(source.name):
            return reading
        value = reading.value
        if reading.kind == "withdraw":
            value = self._played.get((source.name, value), f"{value}:not-played")
        second = source.name.partition("/")[2]
        run = f"{self.run}.{f'{second}.' if second else ''}{reading.run}" if reading.run else ""
        return reading._replace(value=value, run=run)

    def _raw(self, source: Source, line: Line, rows: Sequence[Row], why: str) -> bytes:
        self._lines += 1
        return encode(
            RawLine(
                document=document_name(self.run),
                n=self._lines,
                time=time_text(line.at.wall_ns),
                elapsed_s=f"{self.elapsed_s(line.at):.6f}",
                source=source.name,
                data=line.data,
                rows=tuple(row.id for row in rows),
                why=why,
            )
        )

    def _document(self, source: Source) -> str:
        """The document of a source's lines; a second source of sentences gets one of its own."""
        if source.keeps == "raw":
            return document_name(self.run)
        if source.name not in self._documents:
            number = len(self._documents) + 1
            self._documents[source.name] = f"gnss-{self.run}{'' if number == 1 else f'-{number}'}.nmea"
        return self._documents[source.name]
