"""Reads the raw lines of a job again with a mended profile. Nothing is erased: what is no more so is withdrawn.

The rule: afterwards the job says what the recorder would have made of its lines with this profile, at the time they
were heard, except that what a person took back stays taken back.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import timezone
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from satdiag.errors import SatdiagError, bad_input
from satdiag.recorder.admit import Visits
from satdiag.recorder.desk import NOT_FROM_DEVICES, next_run
from satdiag.recorder.heard import Reading
from satdiag.recorder.raw_lines import KeptLine, RawLine, document_name, encode, kept_lines
from satdiag.recorder.serial_source import NEVER_READ
from satdiag.rows import Row, check_row, parse_time_us, withdrawn_ids

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.recorder.profile import Profile

BY_REREADING = "reread"
"""The source of the withdrawals that a new reading makes."""


class ProfileOf(Protocol):
    """Finds the profile that lines of a source are read with now; None: leave them as they are."""

    def __call__(self, source: str) -> Profile | None: ...


@dataclass(frozen=True, slots=True)
class Change:
    """One line that says something else now: the rows it loses, with what withdraws them, and the rows it gains.

    `stands`: the ids of all rows that stand for the line now. `why`: why nothing, or not everything, is made of it.
    """

    line: RawLine
    lost: tuple[Row, ...]
    withdrawals: tuple[Row, ...]
    gained: tuple[Row, ...]
    stands: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class Reread:
    """What a new reading comes to.

    `lines` were read again. `not_whole` were not: their beginning or their end was never heard. `stay_withdrawn`
    counts the readings that were made again and that a person had taken back; `overridden` those that were left out
    because a later row with the same time, kind and subject counts. `left` are the sources whose lines were left as
    they are.
    """

    run: str
    lines: int
    not_whole: int
    not_understood: int
    stay_withdrawn: int
    overridden: int
    left: tuple[str, ...]
    changes: tuple[Change, ...]

    @property
    def same(self) -> int:
        """How many lines say what they said."""
        return self.lines - len(self.changes)

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """The rows to add, in the order of the lines: what withdraws a row stands before what is there instead."""
        return tuple(row for change in self.changes for row in (*change.withdrawals, *change.gained))

    def document(self) -> bytes:
        """The raw document of the new reading: every line that changed, and the rows that stand for it now."""
        name = document_name(self.run)
        return b"".join(
            encode(replace(change.line, document=name, n=n, rows=change.stands, why=change.why, of=change.line.place))
            for n, change in enumerate(self.changes, 1)
        )


@dataclass(slots=True)
class _Draft:
    """One line and what becomes of it, while that is being found out. `rank` is its place in the log (see `_Log`)."""

    line: RawLine
    ids: tuple[str, ...]
    rank: tuple[float, float]
    lost: list[Row] = field(default_factory=list)
    gained: list[Row] = field(default_factory=list)
    whys: list[str] = field(default_factory=list)
    overridden: list[str] = field(default_factory=list)


class _Log:
    """The rows of a job as they stand: which count, which were taken back, and which stands behind which.

    The rank of a row is its place in the file; one that was made of a line has the place of that line, whenever it
    was read. Of two rows with equal time, kind and subject the one with the higher rank counts.
    """

    def __init__(self, job: Job, lines: Sequence[KeptLine]) -> None:
        self.naive = job.sheet.naive_times
        self.sites = {site.name for site in job.sheet.sites}
        self.withdrawn = withdrawn_ids(job.rows)
        self.rows = job.rows
        self.by_id = {row.id: row for row in job.rows if row.id}
        self.ranks: list[tuple[float, float]] = []
        self._rank_of: dict[str, tuple[float, float]] = {}
        places = {row.id: place for place, row in enumerate(job.rows) if row.id}
        latest = -1
        for number, (line, ids) in enumerate(lines):
            latest = max([latest, *(places.get(name, -1) for name in line.rows)])
            self.ranks.append((latest, number))
            self._rank_of.update(dict.fromkeys(ids, (latest, number)))

    def standing(self, without: Iterable[Row] = ()) -> Iterable[tuple[Row, tuple[float, float]]]:
        """The rows that count, each with its rank."""
        gone = self.withdrawn | {row.id for row in without}
        for place, row in enumerate(self.rows):
            if not row.id or row.id not in gone:
                yield row, self._rank_of.get(row.id, (place, math.inf))

    def time_us(self, row: Row) -> int:
        """When a checked row was, in microseconds since 1970 UTC."""
        return parse_time_us(row.time, self.naive) or 0

    def key(self, row: Row) -> tuple[int, str, str]:
        """What two rows share of which only one counts; marks of a channel change their value too."""
        subject = f"{row.subject} {row.value}" if row.kind == "tune" else row.subject
        return self.time_us(row), row.kind, subject


def reread(job: Job, profile_of: ProfileOf) -> Reread:
    """Read every raw line again and compare.

    Raises BadInput if the job could not hold what comes of it, SatdiagError if it holds no raw lines.
    """
    lines = kept_lines(job)
    if not lines:
        raise SatdiagError(f"{job.sheet.id}: it holds no lines as they were received (raw-*.jsonl): nothing to read.")
    log = _Log(job, lines)
    drafts: list[_Draft] = []
    read = not_whole = stay_withdrawn = not_understood = 0
    left: dict[str, None] = {}
    for (line, ids), rank in zip(lines, log.ranks, strict=True):
        profile = profile_of(line.source)
        if profile is None:
            left[line.source] = None
        elif line.why in NEVER_READ:
            not_whole += 1
        else:
            draft = _Draft(line, ids, rank)
            stay_withdrawn += _compare(draft, profile, log)
            read += 1
            if draft.lost or draft.gained:
                drafts.append(draft)
            else:
                not_understood += bool(draft.whys)
    _leave_out_overridden(drafts, log)
    _admit(drafts, log)
    run = next_run(job)
    return Reread(
        run=run,
        lines=read,
        not_whole=not_whole,
        not_understood=not_understood + sum(bool(draft.whys) for draft in drafts),
        stay_withdrawn=stay_withdrawn,
        overridden=sum(len(draft.overridden) for draft in drafts),
        left=tuple(left),
        changes=tuple(_changes(drafts, run)),
    )


def _compare(draft: _Draft, profile: Profile, log: _Log) -> int:
    """Find out what a line loses and gains; returns how many of its readings a person had taken back.

    Among the rows that stand for a line, those that are withdrawn were withdrawn by a person: a new reading takes the
    rows it withdraws off the line. A reading of the same kind and subject is not brought back, whatever its value is
    now: it was taken back for what happened then, not for how it was written.
    """
    now = _rows_of(draft, profile, log.naive, log.sites)
    there = [log.by_id[name] for name in draft.ids if name in log.by_id]
    taken_back: list[Row] = []
    stays = 0
    for row in sorted(there, key=lambda row: row.id in log.withdrawn):
        plain = row._replace(id="", raw=None)
        if plain in now:
            now.remove(plain)
            stays += row.id in log.withdrawn
        else:
            (taken_back if row.id in log.withdrawn else draft.lost).append(row)
    for row in taken_back:
        again = next((new for new in now if (new.kind, new.subject) == (row.kind, row.subject)), None)
        if again is not None:
            now.remove(again)
            stays += 1
    draft.gained = now
    return stays


def _rows_of(draft: _Draft, profile: Profile, naive: timezone | None, sites: set[str]) -> list[Row]:
    """The rows, without ids, that a line becomes; what does not is told to the draft."""
    understood = profile.read_line(draft.line.data)
    draft.whys += [understood.why] if understood.why else []
    rows = []
    for reading in understood.readings:
        row = _row(reading, draft.line)
        if reading.kind in NOT_FROM_DEVICES:
            draft.whys.append(f"'{reading.kind}' is not taken from a device")
        elif wrongs := [wrong.what for wrong in check_row(row, naive, sites)]:
            draft.whys += wrongs
        else:
            rows.append(row)
    return rows


def _row(reading: Reading, line: RawLine) -> Row:
    """A reading as a row at the time the line was heard, or at the line's own time."""
    when = ("", "") if reading.time else (line.run, line.elapsed_s)
    kind, subject, value, unit, note, span_s = reading[:6]
    return Row(reading.time or line.time, kind, subject, value, unit, line.source, note, span_s, *when)


def _leave_out_overridden(drafts: Sequence[_Draft], log: _Log) -> None:
    """Rows are added at the end of the log: none may so override one that stands behind its line."""
    wanted = {log.key(row) for draft in drafts for row in draft.gained}
    if not wanted:
        return
    lost = [row for draft in drafts for row in draft.lost]
    highest: dict[tuple[int, str, str], tuple[tuple[float, float], str]] = {}
    for row, rank in log.standing(lost):
        if (key := log.key(row)) in wanted:
            highest[key] = max(highest.get(key, (rank, row.id)), (rank, row.id))
    for draft in drafts:
        for row in tuple(draft.gained):
            rank, name = highest.get(log.key(row), ((-1, -1), ""))
            if rank > draft.rank:
                draft.gained.remove(row)
                draft.overridden.append(f"at its time a later row counts{f', {name}' if name else ''}")


def _admit(drafts: Sequence[_Draft], log: _Log) -> None:
    """Hold the new rows against the units of their visits. Raises BadInput.

    A reading that cannot be held is not made, as while recording. But no row is withdrawn with nothing in its place
    for that: then the whole is refused.
    """
    visits = Visits()
    lost = [row for draft in drafts for row in draft.lost]
    for row in lost:
        visits.add(log.time_us(row))  # what withdraws it stands there
    for row, _ in log.standing(lost):
        visits.add(log.time_us(row), *_level(row))
    for draft, row in _replacing_first(drafts):
        why = visits.add(log.time_us(row), *_level(row))
        if not why:
            continue
        if _replaces(draft, row):
            mend = (
                "Nothing was changed. Withdraw the rows that are in the other unit first, or let the profile make "
                "nothing of such a line."
            )
            raise bad_input(draft.line.document, f"read again, {why}", mend, draft.line.n)
        draft.gained.remove(row)
        draft.whys.append(why)


def _replacing_first(drafts: Sequence[_Draft]) -> list[tuple[_Draft, Row]]:
    pairs = [(draft, row) for draft in drafts for row in draft.gained]
    return sorted(pairs, key=lambda pair: not _replaces(*pair))


def _replaces(draft: _Draft, row: Row) -> bool:
    return any(old.kind == row.kind for old in draft.lost)


def _level(row: Row) -> tuple[str, ...]:
    return (row.subject, row.unit) if row.kind == "signal" and row.unit else ()


def _changes(drafts: Iterable[_Draft], run: str) -> Iterable[Change]:
    """The lines that changed, their new rows numbered."""
    names = (f"{run}-{number}" for number in count(1))
    for draft in drafts:
        if not draft.lost and not draft.gained:
            continue
        note = f"read again in {run}"
        old = tuple(
            Row(row.time, "withdraw", "row", row.id, source=BY_REREADING, note=note, id=next(names))
            for row in draft.lost
        )
        new = tuple(row._replace(id=next(names)) for row in draft.gained)
        gone = {row.id for row in draft.lost}
        stands = (*(name for name in draft.ids if name not in gone), *(row.id for row in new))
        why = "; ".join(dict.fromkeys([*draft.whys, *draft.overridden]))
        yield Change(draft.line, tuple(draft.lost), old, new, stands, why)


def write(place: Path, found: Reread, job: Job) -> None:
    """Put what a new reading of `job` found into its job file, all or nothing.

    Raises StoreProblem, also if the file does not hold that job any more.
    """
    from satdiag.store import append_rows

    append_rows(place, found.rows, [(document_name(found.run), found.document())], onto=job)
