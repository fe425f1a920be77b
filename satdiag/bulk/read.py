"""observations.csv by column, block by block: lines without quotes as arrays, the others through the exact reader."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from satdiag.bulk.fields import Bytes, Whole
from satdiag.bulk.gather import LONGEST_LINE, Alone, Gathered, Odd
from satdiag.bulk.table import ColumnRows
from satdiag.csv_text import csv_line, decode, records
from satdiag.errors import BadInput
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS

_BLOCK = 2 << 20
_MOST_LINES = 100
_BETWEEN = "\0"
"""Stands between the texts of a row that was read by itself; a comma may stand in them."""


def read_columns(data: bytes) -> tuple[str, ColumnRows] | None:
    """The header line and the rows of an observations.csv that is plain in form; None where anything is odd.

    What the rows say is not checked; see `is_sound`.
    """
    text = _normal(data)
    if text is None:
        return None
    header = text[: text.index(b"\n")].decode()
    columns = header.split(",")
    if columns != [*REQUIRED_COLUMNS, *(name for name in OPTIONAL_COLUMNS if name in columns)]:
        return None
    found, at = Gathered(columns, _key, _spoken), len(header) + 1
    try:
        while at < len(text):
            at = _read_block(text, at, found)
    except Odd:
        return None
    if ",".join(columns[1 : 1 + found.last_spoken]) in found.said.texts:  # the header again
        return None
    return header, found.joined(text)


def _normal(data: bytes) -> bytes | None:
    """The text with LF line ends, one at its end, and no mark at its beginning; None if it is no plain text."""
    try:
        if not data.isascii() or b"\r" in data:
            data = decode(data, "").encode()
    except BadInput:
        return None
    if not data.endswith(b"\n"):
        data += b"\n"
    return None if b"\r" in data or b"\0" in data else data


def _read_block(text: bytes, at: int, found: Gathered) -> int:
    """Read the records that begin within a block of the text; returns where the next block begins."""
    end = text.rfind(b"\n", at, at + _BLOCK) + 1
    if not end:
        raise Odd
    block = np.frombuffer(text, np.uint8, end - at, at)
    ends = np.flatnonzero(block == 10)
    starts = np.concatenate([[0], ends[:-1] + 1])
    odd = ends - starts > LONGEST_LINE
    odd[np.searchsorted(ends, np.flatnonzero(block == 34))] = True
    if not odd.any():
        _take(block, [], np.arange(len(ends)), found)
        return end
    alone, covered, end = _read_alone(text, at, starts, np.flatnonzero(odd).tolist(), end, found.columns)
    begins = ~covered
    begins[[one.line for one in alone]] = True
    place = np.cumsum(begins) - 1
    plain_bytes = block[np.repeat(~covered, ends - starts + 1)]
    found.raw |= {found.count + int(place[one.line]): one.raw for one in alone if one.raw is not None}
    order = np.concatenate([np.flatnonzero(~covered), [one.line for one in alone]]).astype(np.int64)
    _take(plain_bytes, alone, place[order], found)
    return end


def _read_alone(
    text: bytes, at: int, starts: Whole, odd: list[int], end: int, columns: Sequence[str]
) -> tuple[list[Alone], NDArray[np.bool_], int]:
    """The records that begin in odd lines, which lines they cover, and where the last ends if behind the block."""
    covered = np.zeros(len(starts), dtype=bool)
    alone = []
    for line in odd:
        if covered[line]:
            continue
        start = at + int(starts[line])
        fields, raw, stop = _record(text, start)
        if len(fields) != len(columns):
            raise Odd
        alone.append(Alone(line, fields, None if raw == csv_line(fields) else raw))
        covered[line : int(np.searchsorted(starts, stop - at))] = True
        end = max(end, stop)
    return alone, covered, end


def _record(text: bytes, start: int) -> tuple[list[str], str, int]:
    """The fields of the record that begins here, the text it was read from, and where the next one begins."""
    stop = start
    for _ in range(_MOST_LINES):
        stop = text.find(b"\n", stop) + 1
        if not stop:
            break
        written = text[start : stop - 1].decode()
        try:
            (found,) = records(written, "")
        except BadInput:  # broken, or a note that runs on
            continue
        return found.fields, written, stop
    raise Odd


def _take(block: Bytes, alone: list[Alone], place: Whole, found: Gathered) -> None:
    """Add the rows of plain lines and those read alone; `place` says where in the block each stands."""
    count = len(found.columns)
    ends = np.flatnonzero((block == 44) | (block == 10))
    if len(ends) % count:
        raise Odd
    marks = ends.reshape(-1, count)
    if len(marks) + len(alone) != len(place) or (block[marks] == 10).sum(axis=0).tolist()[:-1] != [0] * (count - 1):
        raise Odd
    line_start = np.concatenate([[0], marks[:, -1] + 1])[:-1]
    begin = np.concatenate([line_start[:, None], marks[:, :-1] + 1], axis=1)
    found.take(block, begin, marks, alone, place)


def _key(spoken: Sequence[str]) -> str:
    return _BETWEEN.join(spoken)


def _spoken(keys: list[str]) -> list[list[str]]:
    return [key.split(_BETWEEN if _BETWEEN in key else ",") for key in keys]
