"""Times of many rows: each minute once by `rows.parse_time_us`, the seconds in it by their digits."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timezone

import numpy as np
from numpy.typing import NDArray

from satdiag.bulk.fields import Numbering, bytes_of, width_for
from satdiag.rows import parse_time_us

_MINUTE = 16  # 2031-05-03T13:40
_SECOND = 19
NEVER = np.iinfo(np.int64).min
"""Stands for a text that is no time."""

_Whole = NDArray[np.int64]


def times_us(texts: NDArray[np.bytes_], naive: timezone | None) -> _Whole:
    """Microseconds since 1970 UTC of each ASCII text; `NEVER` where `parse_time_us` finds no time."""
    found = np.full(len(texts), NEVER, dtype=np.int64)
    for start in range(0, len(texts), 65_536):
        part = slice(start, start + 65_536)
        found[part] = _block(texts[part], naive)
    return found


def _block(texts: NDArray[np.bytes_], naive: timezone | None) -> _Whole:
    found = np.full(len(texts), NEVER, dtype=np.int64)
    length = np.char.str_len(texts).astype(np.int64)
    marks = bytes_of(texts)
    last = marks[np.arange(len(texts)), np.maximum(length - 1, 0)]
    signed = (length >= _SECOND + 6) & np.isin(marks[np.arange(len(texts)), np.maximum(length - 6, 0)], (43, 45))
    tail = np.where(signed, 6, last == 90).astype(np.int64)
    shape = length * 8 + tail
    for one in np.unique(shape).tolist():
        rows = np.flatnonzero(shape == one)
        found[rows] = _alike(marks[rows, : one // 8], one % 8, naive)
    return found


def _alike(marks: NDArray[np.uint8], tail: int, naive: timezone | None) -> _Whole:
    """Times of one length whose offset takes `tail` bytes; those that are not plain go through `parse_time_us`."""
    length = marks.shape[1]
    decimals = length - tail - _SECOND - 1
    if length - tail != _SECOND and not 1 <= decimals <= 6:
        return _one_by_one(marks, naive)
    second, good = _digits(marks[:, _MINUTE + 1 : _SECOND])
    good &= (marks[:, _MINUTE] == 58) & (second < 60)
    second_us = second * 1_000_000
    if decimals > 0:
        part, digits = _digits(marks[:, _SECOND + 1 : _SECOND + 1 + decimals])
        good &= digits & (marks[:, _SECOND] == 46)
        second_us += part * 10 ** (6 - decimals)
    minutes = _minutes(marks, tail, naive)
    if minutes is None:
        return _one_by_one(marks, naive)
    return np.where(good & (minutes != NEVER), minutes + second_us, NEVER)


def _minutes(marks: NDArray[np.uint8], tail: int, naive: timezone | None) -> _Whole | None:
    """The instant of each text with its seconds taken for nought."""
    length, width = marks.shape[1], width_for(_MINUTE + tail)
    pieces = np.zeros((len(marks), width), dtype=np.uint8)
    pieces[:, :_MINUTE] = marks[:, :_MINUTE]
    pieces[:, _MINUTE : _MINUTE + tail] = marks[:, length - tail :]
    numbering = Numbering()
    code = numbering.of(pieces)
    if code is None:
        return None
    texts = (f"{text[:_MINUTE]}:00{text[_MINUTE:]}" for text in numbering.texts)
    return _instants(texts, naive)[code]


def _instants(texts: Iterable[str], naive: timezone | None) -> _Whole:
    found = [parse_time_us(text, naive) for text in texts]
    return np.array([NEVER if one is None else one for one in found], dtype=np.int64)


def _one_by_one(marks: NDArray[np.uint8], naive: timezone | None) -> _Whole:
    return _instants((bytes(text).decode("latin-1") for text in marks), naive)


def _digits(marks: NDArray[np.uint8]) -> tuple[_Whole, NDArray[np.bool_]]:
    """The whole number that the digits make, and where they are all digits."""
    number, good = np.zeros(len(marks), dtype=np.int64), np.ones(len(marks), dtype=bool)
    for column in marks.T:
        digit = column - np.uint8(48)  # below '0' it goes round to a large one
        good &= digit < 10
        number = number * 10 + digit
    return number, good
