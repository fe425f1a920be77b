"""Texts of many rows put together at once: what is known of each row side by side, row behind row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from satdiag.bulk.fields import Bytes, bytes_of

AT_ONCE = 4096
"""So many rows are put together at a time: few enough for the processor's own memory."""

_END = b"\xff"
"""Stands behind each row while they are put together; it is no part of an ASCII text, nor of UTF-8."""
_END_TO_NUL = bytes([*range(255), 0])


def stretches(count: int) -> Iterator[slice]:
    """So many rows as slices of at most `AT_ONCE`."""
    for start in range(0, count, AT_ONCE):
        yield slice(start, min(start + AT_ONCE, count))


def counted(texts: NDArray[np.bytes_]) -> tuple[Bytes, Bytes]:
    """Each ASCII text with its length before it, as `4:text`, in two pieces for `laid`."""
    signs = np.array([f"{length}:" for length in range(texts.dtype.itemsize + 1)], dtype="S")
    return bytes_of(signs)[np.strings.str_len(texts)], bytes_of(texts)


def laid(pieces: Sequence[Bytes | bytes], count: int) -> list[bytes]:
    """The pieces of each row behind one another. One of shape (rows, width) holds ASCII and is NUL where it has
    ended; one that is plain bytes stands in every row."""
    return _laid(pieces, count).split(b"\0")[:-1]


def words(texts: NDArray[np.bytes_]) -> list[str]:
    """ASCII texts, NUL behind each one's end, as texts."""
    return _laid([bytes_of(texts)], len(texts)).decode("ascii").split("\0")[:-1]


def _laid(pieces: Sequence[Bytes | bytes], count: int) -> bytes:
    """As `laid`, in one, with NUL behind each row."""
    parts = [np.frombuffer(one, np.uint8) if isinstance(one, bytes) else one for one in (*pieces, _END)]
    sheet = np.empty((count, sum(part.shape[-1] for part in parts)), dtype=np.uint8)
    at = 0
    for part in parts:
        sheet[:, at : at + part.shape[-1]] = part
        at += part.shape[-1]
    return sheet.tobytes().translate(_END_TO_NUL, b"\0")


def woven(columns: Sequence[Sequence[bytes]]) -> bytes:
    """The texts of the first row, one of each column, then those of the second, and so on."""
    found = [b""] * sum(map(len, columns))
    for at, column in enumerate(columns):
        found[at :: len(columns)] = column
    return b"".join(found)


def chosen(items: Sequence[Any]) -> NDArray[np.object_]:
    """Items as an array, from which many are taken by their numbers at once."""
    found = np.empty(len(items), dtype=object)
    found[:] = items
    return found
