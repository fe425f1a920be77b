"""Small jobs for tests, written in a compact way.

    job = make_job('''
        0:00  account service confirmed
        1:30  signal satellite:east 11.2 dB source=serial:bench
        9:00  channel 31 authorised span_s=60
    ''')

A time is m:ss or h:mm:ss after `BASE` (seconds may have decimals); then kind, subject, value, unit if there is one,
and any further column as name=value. Quote what holds blanks. Lines that start with # are left out.
"""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from satdiag.job import Job, build_job
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row
from satdiag.tables import LINEUP_COLUMNS

BASE = datetime(2031, 5, 3, 14, 0, tzinfo=UTC)
SHEET = '[job]\nid = "test-job"\n'
_MORE = ("unit", "source", "note", *OPTIONAL_COLUMNS)


def seconds(clock: str) -> float:
    """'1:30' as 90.0, '2:00:00' as 7200.0."""
    total = 0.0
    for part in clock.split(":"):
        total = total * 60 + float(part)
    return total


def time_text(after_s: float) -> str:
    """Seconds after `BASE` as ISO 8601, with decimals only where they are needed."""
    moment = BASE + timedelta(seconds=after_s)
    return moment.replace(tzinfo=None).isoformat() + "Z"


def make_row(line: str) -> Row:
    """One compact line as a row."""
    time, kind, subject, value, *more = shlex.split(line)
    columns: dict[str, str] = {}
    for text in more:
        name, sign, rest = text.partition("=")
        if sign and name in _MORE:
            columns[name] = rest
        else:
            columns["unit"] = text
    return Row(time=time_text(seconds(time)), kind=kind, subject=subject, value=value, **columns)


def make_rows(rows_text: str) -> list[Row]:
    """All compact lines as rows."""
    lines = (line.strip() for line in rows_text.splitlines())
    return [make_row(line) for line in lines if line and not line.startswith("#")]


def make_job(
    rows_text: str,
    sheet_text: str = "",
    lineup: str | None = None,
    documents: Mapping[str, bytes] | None = None,
) -> Job:
    """A checked job. `sheet_text` follows '[job] id'; `lineup` is the body of lineup.csv without its header."""
    files = {"job.toml": (SHEET + sheet_text).encode(), **(documents or {})}
    if lineup is not None:
        body = [line.strip() for line in lineup.splitlines() if line.strip()]
        files["lineup.csv"] = ("\n".join([",".join(LINEUP_COLUMNS), *body]) + "\n").encode()
    rows = make_rows(rows_text)
    used = [name for name in OPTIONAL_COLUMNS if any(getattr(row, name) for row in rows)]
    return build_job(files, rows, ",".join([*REQUIRED_COLUMNS, *used]))
