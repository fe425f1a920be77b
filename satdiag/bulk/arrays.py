"""Rows by column from JSON arrays, one a row, as SQLite's `json_array` writes them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from itertools import compress

import numpy as np

from satdiag.bulk.gather import LONGEST_LINE, Alone, Gathered, Odd
from satdiag.bulk.table import ColumnRows
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row

_COLUMNS = (*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS)
_QUOTES = 2 * len(_COLUMNS)
_NOT_RAW = ",null]"


def read_arrays(blocks: Iterable[Sequence[str]]) -> ColumnRows | None:
    """Rows from JSON arrays of the twelve texts of a `Row`, without blanks between them, many at a time.

    None where the values of a row have other types, or where anything else is odd.
    """
    found = Gathered(_COLUMNS, _key, _spoken)
    try:
        for block in blocks:
            _take(block, found)
    except Odd:
        return None
    return found.joined()


def _take(arrays: Sequence[str], found: Gathered) -> None:
    """Add some rows. In a plain line every quote begins or ends a text: none of the eleven holds one."""
    text = "\n".join([*arrays, ""]).encode()
    quotes = np.flatnonzero(np.frombuffer(text, np.uint8) == 34)
    place, alone = np.arange(len(arrays)), list[Alone]()
    if not _are_plain(arrays, text, len(quotes)):
        plain = np.array([_is_plain(line) for line in arrays], dtype=bool)
        alone = [_read_alone(at, arrays[at]) for at in np.flatnonzero(~plain).tolist()]
        found.raw |= {found.count + one.line: one.raw for one in alone if one.raw is not None}
        text = "\n".join([*compress(arrays, plain.tolist()), ""]).encode()
        quotes = np.flatnonzero(np.frombuffer(text, np.uint8) == 34)
        place = np.concatenate([place[plain], place[~plain]])
    marks = quotes.reshape(-1, _QUOTES)
    found.take(np.frombuffer(text, np.uint8), marks[:, ::2] + 1, marks[:, 1::2], alone, place)


def _are_plain(arrays: Sequence[str], text: bytes, quotes: int) -> bool:
    """As `_is_plain`, of all lines at once. No JSON text holds a line end."""
    if b"\\" in text or text.count(f"{_NOT_RAW}\n".encode()) != len(arrays):
        return False
    longest = LONGEST_LINE if text.isascii() else LONGEST_LINE // 4
    return quotes == _QUOTES * len(arrays) and max(map(len, arrays), default=0) <= longest


def _is_plain(line: str) -> bool:
    is_short = len(line.encode()) <= LONGEST_LINE
    return is_short and "\\" not in line and line.endswith(_NOT_RAW) and line.count('"') == _QUOTES


def _read_alone(at: int, line: str) -> Alone:
    *fields, raw = json.loads(line)
    if len(fields) != len(Row._fields) - 1 or not {type(text) for text in fields} <= {str}:
        raise Odd
    if raw is not None and not isinstance(raw, str):
        raise Odd
    return Alone(at, fields, raw)


def _key(spoken: Sequence[str]) -> str:
    return json.dumps(spoken, ensure_ascii=False, separators=(",", ":"))[2:-2]


def _spoken(keys: list[str]) -> list[list[str]]:
    found: list[list[str]] = json.loads("[" + ",".join([f'["{key}"]' for key in keys]) + "]")
    return found
