"""Rows of an observation log and how they are written to a file."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone

COLUMNS = ("time", "kind", "subject", "value", "unit", "source", "note")
PATH_WORDS = ("satellite", "satellite:east", "satellite:west", "repeater", "any")


@dataclass
class Row:
    """One observation; `at_s` is the world's clock, `fine` keeps milliseconds."""

    at_s: float
    kind: str
    subject: str
    value: str
    unit: str = ""
    source: str = "hand"
    note: str = ""
    span_s: float | None = None
    fine: bool = False
    row_id: str = ""


@dataclass
class Notebook:
    """The log as it grows, and the style in which this person's tools write it.

    time_style: utc | offset | naive. `extra` names the optional columns present.
    """

    opened: datetime
    time_style: str = "utc"
    offset_h: int = 0
    extra: tuple[str, ...] = ()
    run_name: str = "r1"
    rows: list[Row] = field(default_factory=list)
    taken: set[tuple[str, str, str]] = field(default_factory=set)

    def add(self, row: Row) -> Row:
        """Keep a row; two of one kind and subject within the same written instant are set apart by a second."""
        while (self.time_text(row), row.kind, row.subject) in self.taken:
            row.at_s += 1.0
        self.taken.add((self.time_text(row), row.kind, row.subject))
        self.rows.append(row)
        return row

    def instant(self, at_s: float) -> datetime:
        """UTC instant of a second of the world's clock."""
        return self.opened + timedelta(seconds=at_s)

    def time_text(self, row: Row) -> str:
        """ISO 8601 text of a row's time, milliseconds for fine rows."""
        when = self.instant(row.at_s)
        zone = UTC if self.time_style == "utc" else timezone(timedelta(hours=self.offset_h))
        local = when.astimezone(zone)
        text = local.strftime("%Y-%m-%dT%H:%M:%S")
        if row.fine:
            text += f".{local.microsecond // 1000:03d}"
        if self.time_style == "naive":
            return text
        if self.time_style == "utc":
            return text + "Z"
        sign = "-" if self.offset_h < 0 else "+"
        return text + f"{sign}{abs(self.offset_h):02d}:00"

    def ordered(self, hand_last: bool) -> list[Row]:
        """File order: by time, or first what the logger wrote and then what was typed in afterwards."""
        rows = sorted(self.rows, key=lambda row: row.at_s)
        if hand_last:
            rows.sort(key=lambda row: not row.source.startswith("serial"))
        return rows

    def text(self, hand_last: bool = False) -> str:
        """The whole observations.csv."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow([*COLUMNS, *self.extra])
        for row in self.ordered(hand_last):
            cells = [self.time_text(row), row.kind, row.subject, row.value, row.unit, row.source, row.note]
            writer.writerow(cells + [self._extra_cell(row, name) for name in self.extra])
        return out.getvalue()

    def _extra_cell(self, row: Row, name: str) -> str:
        if name == "span_s":
            return "" if row.span_s is None else f"{row.span_s:.0f}"
        if name == "id":
            return row.row_id
        if not row.source.startswith("serial"):  # only the recorder has a run and a monotonic clock
            return ""
        return self.run_name if name == "run" else f"{row.at_s:.3f}"
