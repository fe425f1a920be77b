"""The observations of a copy: times, kinds, states and numbers stay; every text of a person's own goes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from satdiag.errors import SatdiagError
from satdiag.redact.names import Names
from satdiag.rows import Row
from satdiag.vocabulary import UNREADABLE, entry_of

_NAMED = {
    ("signal", "satellite"): "satellite",
    ("lock", "satellite"): "satellite",
    ("errors", "satellite"): "satellite",
    ("ring", "node"): "node",
    ("ring", "position"): "node",
    ("configuration", "readback"): "readback",
}


def redacted_rows(rows: Sequence[Row], names: Names, shift_days: int) -> tuple[Row, ...]:
    """The rows without notes; rows of the kind `note`, and what takes one back, are left out. Raises SatdiagError."""
    return tuple(_copied(rows, names, shift_days))


def _copied(rows: Sequence[Row], names: Names, shift_days: int) -> Iterator[Row]:
    left_out = {row.id for row in rows if row.kind == "note" and row.id}
    for row in rows:
        if row.kind == "note" or (row.kind == "withdraw" and row.value in left_out):
            names.count("notes", row.kind == "note")
            continue
        names.count("notes", bool(row.note))
        yield Row(
            time=shifted(row.time, shift_days),
            kind=row.kind,
            subject=_subject(row, names),
            value=_value(row, names),
            unit=row.unit,
            source=names.source(row.source),
            span_s=row.span_s,
            run=names.renamed("run", row.run) if row.run else "",
            elapsed_s=row.elapsed_s,
            id=names.renamed("id", row.id) if row.id else "",
        )


def _subject(row: Row, names: Names) -> str:
    if row.kind == "gap":
        return names.source(row.subject)
    head, colon, tail = row.subject.partition(":")
    kind = _NAMED.get((row.kind, head))
    return f"{head}:{names.renamed(kind, tail)}" if colon and kind else row.subject


def _value(row: Row, names: Names) -> str:
    entry = entry_of(row.kind, row.subject)
    if entry is None or row.value == UNREADABLE:
        return row.value
    if entry.value == "site":
        return names.renamed("site", row.value)
    return names.renamed("id", row.value) if entry.value == "row-id" else row.value


def shifted(time: str, days: int) -> str:
    """An ISO 8601 text so many days later, its time of day untouched. Raises SatdiagError beyond the calendar."""
    if not days:
        return time
    try:
        return f"{date.fromisoformat(time[:10]) + timedelta(days=days)}{time[10:]}"
    except (ValueError, OverflowError):
        raise SatdiagError(
            f"{time[:10]} cannot be shifted by {days} days: the calendar ends. Shift by less."
        ) from None
