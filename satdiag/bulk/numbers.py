"""Plain decimal numbers in a column of bytes, and whether words are plain ones."""

from __future__ import annotations

import string

import numpy as np
from numpy.typing import NDArray

from satdiag.bulk.fields import bytes_of
from satdiag.rows import MAX_SECONDS, WORD, parse_number

_MOST_DIGITS = 15
"""So many digits are an exact float, and so is the power of ten below: their quotient is the nearest float."""

_FIRST = np.zeros(256, dtype=bool)
_FIRST[[ord(mark) for mark in string.ascii_letters + string.digits]] = True
_LATER = _FIRST.copy()
_LATER[[0, *(ord(mark) for mark in "._:-")]] = True


def are_words(texts: NDArray[np.bytes_]) -> bool:
    """True if each text is blank or a plain word."""
    marks = bytes_of(texts)
    ordinary = _LATER[marks].all() and (_FIRST[marks[:, 0]] | (marks[:, 0] == 0)).all()
    return bool(ordinary) or all(WORD.fullmatch(text) for text in set(texts.astype("U").tolist()) - {""})


def seconds_of(texts: NDArray[np.bytes_]) -> NDArray[np.float64]:
    """The numbers of a column, NaN where it is blank or holds no number."""
    marks = bytes_of(texts)
    number, known = np.full(len(texts), np.nan), np.zeros(len(texts), dtype=bool)
    for start in range(0, len(texts), 65_536):
        part = slice(start, start + 65_536)
        number[part], known[part] = _plain_numbers(marks[part])
    rest = np.flatnonzero(~known & (marks[:, 0] != 0))
    found = (parse_number(text) for text in texts[rest].astype("U").tolist())
    number[rest] = [np.nan if one is None else one for one in found]
    return number


def _plain_numbers(marks: NDArray[np.uint8]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Digits with at most one point among them, few enough to be exact; and which texts are that."""
    whole = np.zeros(len(marks), dtype=np.int64)
    digits, points, below, good = (np.zeros(len(marks), dtype=np.int8) for _ in range(4))
    good += 1
    for column in marks.T:
        is_digit = (column >= 48) & (column <= 57)
        is_point = column == 46
        np.multiply(whole, 10, out=whole, where=is_digit)
        np.add(whole, column, out=whole, where=is_digit)
        np.subtract(whole, 48, out=whole, where=is_digit)
        digits += is_digit
        below += is_digit & (points > 0)
        points += is_point
        good &= is_digit | is_point | (column == 0)
    known = (good > 0) & (points <= 1) & (digits > 0) & (digits <= _MOST_DIGITS)
    return np.where(known, whole / 10.0 ** below.astype(float), np.nan), known


def are_seconds(texts: NDArray[np.bytes_]) -> bool:
    """True if each text is blank or a number of seconds that a row may hold."""
    number = seconds_of(texts)
    return bool(((number >= 0) & (number <= MAX_SECONDS) | (texts == b"")).all())
