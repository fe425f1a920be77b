"""observations.csv from rows by column."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from satdiag.bulk.fields import Bytes, bytes_of
from satdiag.bulk.laying import chosen, laid, stretches, woven
from satdiag.bulk.table import ColumnRows
from satdiag.csv_text import csv_line


def lines_of(rows: ColumnRows, columns: Sequence[str]) -> Iterator[bytes]:
    """The lines of checked rows with these columns, LF behind each, many at a time.

    All but what is said is free of marks that need quotes.
    """
    said = chosen([f",{csv_line(one if 'span_s' in columns else one[:6])}".encode() for one in rows.said])
    runs = chosen([f",{run}".encode() if "run" in columns else b"" for run in rows.runs])
    for part in stretches(len(rows)):
        count = part.stop - part.start
        last: list[Bytes | bytes] = []
        for name, texts in (("elapsed_s", rows.elapsed_s), ("id", rows.id)):
            if name in columns:
                last += [b",", bytes_of(texts[part])]
        made = [
            laid([bytes_of(rows.time[part])], count),
            said[rows.code[part]].tolist(),
            runs[rows.run[part]].tolist(),
            laid([*last, b"\n"], count),
        ]
        for at, raw in rows.raw_in(part):
            for column, text in zip(made, (raw.encode(), b"", b"", b"\n"), strict=True):
                column[at] = text
        yield woven(made)
