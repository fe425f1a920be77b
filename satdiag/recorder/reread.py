"""Reads the raw lines of a job again with a mended profile. Nothing is erased: what is no more so is withdrawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timezone
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from satdiag.errors import SatdiagError
from satdiag.job import with_rows
from satdiag.recorder.clock import Clock, time_text
from satdiag.recorder.desk import NOT_FROM_DEVICES, next_run
from satdiag.recorder.heard import Reading
from satdiag.recorder.raw_lines import DOCUMENT, RawLine, decode_document, document_name, encode
from satdiag.recorder.serial_source import NEVER_READ
from satdiag.rows import Row, check_row, withdrawn_ids

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.recorder.profile import Profile

Place = tuple[str, int]


class ProfileOf(Protocol):
    """Finds the profile that lines of a source are read with now; None: leave them as they are."""

    def __call__(self, source: str) -> Profile | None: ...


@dataclass(frozen=True)
class Change:
    """One line that says something else now: the rows it loses and the rows it gains."""

    line: RawLine
    lost: tuple[Row, ...]
    gained: tuple[Row, ...]
    why: str


@dataclass(frozen=True)
class Reread:
    """What a new reading comes to: `lines` were read again, `same` of them say what they said."""

    run: str
    lines: int
    same: int
    not_understood: int
    changes: tuple[Change, ...]

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows to add: withdrawals first, then what was gained."""
        found: list[Row] = []
        for change in self.changes:
            found += (*_withdrawals(change, self.run), *change.gained)
        return tuple(_numbered(found, self.run))


def raw_lines(job: Job) -> tuple[list[RawLine], dict[Place, tuple[str, ...]]]:
    """Every line of a job as received, and the ids of the rows that stand for it now. Raises BadInput."""
    lines: list[RawLine] = []
    rows: dict[Place, tuple[str, ...]] = {}
    for name in sorted(filter(DOCUMENT.fullmatch, job.documents), key=_age):
        for line in decode_document(name, job.documents[name]):
            if line.of is None:
                lines.append(line)
                rows[name, line.n] = line.rows
            else:
                rows[line.of] = line.rows
    return lines, rows


def _age(name: str) -> tuple[int, str]:
    """Documents in the order in which their runs were: r2 before r10."""
    found = DOCUMENT.fullmatch(name)
    digits = found["run"].removeprefix("r") if found else ""
    return (int(digits) if digits.isascii() and digits.isdigit() else 0, name)


def reread(job: Job, profile_of: ProfileOf) -> Reread:
    """Read every raw line again and compare. Raises BadInput if the job could not hold what comes of it."""
    lines, ids = raw_lines(job)
    if not lines:
        raise SatdiagError(f"{job.sheet.id}: it holds no lines as they were received (raw-*.jsonl): nothing to read.")
    run = next_run(job)
    by_id = {row.id: row for row in job.rows if row.id}
    withdrawn = withdrawn_ids(job.rows)
    sites = {site.name for site in job.sheet.sites}
    read = same = not_understood = 0
    changes: list[Change] = []
    for line in lines:
        profile = profile_of(line.source)
        if profile is None or line.why in NEVER_READ:
            continue
        read += 1
        before = [by_id[name] for name in ids[line.document, line.n] if name in by_id and name not in withdrawn]
        now, why = _rows_of(profile, line, job.sheet.naive_times, sites)
        not_understood += bool(why)
        lost, gained = _difference(before, now)
        if lost or gained:
            changes.append(Change(line, tuple(lost), tuple(gained), why))
        else:
            same += 1
    found = Reread(run, read, same, not_understood, tuple(changes))
    with_rows(job, found.rows)
    return found


def _rows_of(profile: Profile, line: RawLine, naive: timezone | None, sites: set[str]) -> tuple[list[Row], str]:
    understood = profile.read_line(line.data)
    rows, why = [], understood.why
    for reading in understood.readings:
        row = _row(reading, line)
        wrong = next(check_row(row, naive, sites), None)
        if reading.kind in NOT_FROM_DEVICES:
            why = why or f"'{reading.kind}' is not taken from a device"
        elif wrong is not None:
            why = why or f"{wrong.what}. {wrong.mend}"
        else:
            rows.append(row)
    return rows, why


def _row(reading: Reading, line: RawLine) -> Row:
    own = bool(reading.time)
    return Row(
        time=reading.time or line.time,
        kind=reading.kind,
        subject=reading.subject,
        value=reading.value,
        unit=reading.unit,
        source=line.source,
        note=reading.note,
        span_s=reading.span_s,
        run="" if own else line.run,
        elapsed_s="" if own else line.elapsed_s,
    )


def _difference(before: Sequence[Row], now: Sequence[Row]) -> tuple[list[Row], list[Row]]:
    """The rows that are gone and those that are new; a row that says the same stays as it is."""
    left = list(now)
    lost = []
    for row in before:
        plain = row._replace(id="", raw=None)
        if plain in left:
            left.remove(plain)
        else:
            lost.append(row)
    return lost, left


def _withdrawals(change: Change, run: str) -> Iterator[Row]:
    for row in change.lost:
        yield Row(row.time, "withdraw", "row", row.id, source="reread", note=f"read again in {run}")


def _numbered(rows: Sequence[Row], run: str) -> Iterator[Row]:
    for number, row in enumerate(rows, 1):
        yield row._replace(id=f"{run}-{number}")


def write(place: Path, found: Reread, job: Job, clock: Clock) -> None:
    """Put the rows of a new reading into the job file, all or none. Raises StoreProblem."""
    from satdiag.store import open_live

    ids = {row.id for row in job.rows if row.id}
    rows = found.rows
    live = open_live(place)
    clean = False
    try:
        now = live.job
        if {row.id for row in now.rows if row.id} != ids or next_run(now) != found.run:
            raise SatdiagError(f"{place}: it has changed just now. Run the same command again.")
        live.begin(found.run, time_text(clock.now().wall_ns))
        live.release()
        live.append(rows, [(document_name(found.run), _document(found, rows, raw_lines(job)[1]))])
        clean = True
    finally:
        live.close(clean=clean)


def _document(found: Reread, rows: Sequence[Row], ids: Mapping[Place, tuple[str, ...]]) -> bytes:
    """The raw document of the new reading: for every changed line, which rows stand for it now."""
    pieces, number = [], 0
    for count, change in enumerate(found.changes, 1):
        number += len(change.lost)
        gained = [row.id for row in rows[number : number + len(change.gained)]]
        number += len(change.gained)
        lost = {row.id for row in change.lost}
        place = (change.line.document, change.line.n)
        kept = [name for name in ids[place] if name not in lost]
        pieces.append(
            encode(
                replace(
                    change.line,
                    document=document_name(found.run),
                    n=count,
                    rows=(*kept, *gained),
                    why=change.why,
                    of=place,
                )
            )
        )
    return b"".join(pieces)
