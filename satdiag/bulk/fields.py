"""Pieces of a text as arrays: items of one width cut from bytes, and equal ones given one number."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Whole = NDArray[np.int64]
Words = NDArray[np.uint64]

_MIX = np.uint64(0x9E3779B97F4A7C15)
_FOLD = np.uint64(29)


def width_for(longest: int) -> int:
    """The width of an item that holds so many bytes: a multiple of eight, so that it can be seen as numbers."""
    return max(-(-longest // 8) * 8, 8)


def cut(text: Bytes, start: Whole, length: Whole, width: int) -> Bytes:
    """The pieces of a text that begin at `start`, as bytes of shape (pieces, width), NUL behind each one's end.

    The text must go on for `width` bytes behind the last start; `length` is at most `width`.
    """
    over = np.ndarray((len(text) - width + 1,), dtype=f"V{width}", buffer=text, strides=(1,))
    found = over[start].view(np.uint8).reshape(len(start), width)
    if len(length) and length.min() < width:
        found *= np.arange(width, dtype=np.int16) < length.astype(np.int16)[:, None]
    return found


def hashes(pieces: Bytes) -> Words:
    """A number for each piece; different pieces may share one, if hardly ever."""
    words = pieces.view(np.uint64).reshape(len(pieces), pieces.shape[1] // 8)
    found = words[:, 0] * _MIX
    for column in range(1, words.shape[1]):
        found ^= found >> _FOLD
        found += words[:, column]
        found *= _MIX
    return found ^ (found >> _FOLD)


def bytes_of(texts: NDArray[np.bytes_]) -> Bytes:
    """Texts as bytes of shape (texts, width)."""
    return np.ascontiguousarray(texts).view(np.uint8).reshape(len(texts), texts.dtype.itemsize)


def texts_of(pieces: Bytes) -> list[str]:
    """The pieces as texts. They hold no NUL, and are UTF-8."""
    width = pieces.shape[1]
    items: list[bytes] = np.ascontiguousarray(pieces).view(f"S{width}").ravel().tolist()
    return [item.decode() for item in items]


def those_used(numbers: NDArray[np.int32]) -> tuple[Whole, NDArray[np.int64]]:
    """Which numbers from 0 on are used, in order, and for each of the given ones its place among them."""
    used = np.flatnonzero(np.bincount(numbers))
    place = np.zeros(int(used[-1]) + 1 if len(used) else 0, dtype=np.int64)
    place[used] = np.arange(len(used))
    return used, place[numbers]


class Numbering:
    """Numbers for texts, from 0 in the order in which they came; the same text has the same number."""

    def __init__(self) -> None:
        self._number: dict[str, int] = {}

    def of(self, pieces: Bytes) -> NDArray[np.int32] | None:
        """The number of each piece; None where two pieces cannot be told apart by their hashes."""
        import pandas as pd

        if not len(pieces):
            return np.empty(0, dtype=np.int32)
        code, distinct = pd.factorize(hashes(pieces))
        first = np.empty(len(distinct), dtype=np.int64)
        first[code[::-1]] = np.arange(len(code))[::-1]
        words = pieces.view(np.uint64).reshape(len(pieces), pieces.shape[1] // 8)
        if not (words == words[first][code]).all():
            return None
        return np.array([self.one(text) for text in texts_of(pieces[first])], dtype=np.int32)[code]

    def one(self, text: str) -> int:
        """The number of a text."""
        return self._number.setdefault(text, len(self._number))

    @property
    def texts(self) -> list[str]:
        """The texts by their numbers."""
        return list(self._number)
