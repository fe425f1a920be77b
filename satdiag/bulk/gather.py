"""Rows by column, gathered block by block: texts of plain lines cut out as arrays, other rows read alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from satdiag.bulk.fields import Bytes, Numbering, Whole, cut, width_for
from satdiag.bulk.table import ColumnRows, Said, plain

LONGEST_LINE = 240
"""Longer lines are read alone; there are few."""
_LONG_WORD = 64
_TEXTS = ("time", "elapsed_s", "id")


class Odd(Exception):
    """Something is out of the ordinary."""


@dataclass(frozen=True)
class Alone:
    """A row that was read by itself: the line of its block it begins at, its fields, and as written if odd."""

    line: int
    fields: list[str]
    raw: str | None


@dataclass
class Gathered:
    """What the blocks have given so far.

    `columns` are the names of the columns. What a row says, from its kind to its span_s, is known by a text: in a
    plain line as it stands there, of a row alone as `key` makes it; `spoken` takes all of them apart again.
    """

    columns: Sequence[str]
    key: Callable[[Sequence[str]], str]
    spoken: Callable[[list[str]], list[list[str]]]
    said: Numbering = field(default_factory=Numbering)
    runs: Numbering = field(default_factory=Numbering)
    code: list[NDArray[np.int32]] = field(default_factory=list)
    run: list[NDArray[np.int32]] = field(default_factory=list)
    texts: dict[str, list[NDArray[np.bytes_]]] = field(default_factory=lambda: {name: [] for name in _TEXTS})
    raw: dict[int, str] = field(default_factory=dict)
    count: int = 0

    @property
    def last_spoken(self) -> int:
        """Which column is the last of what is said: span_s where it is there, else note."""
        return 7 if "span_s" in self.columns else 6

    def take(self, block: Bytes, begin: Whole, end: Whole, alone: Sequence[Alone], place: Whole) -> None:
        """Add rows: of plain lines, each at most `LONGEST_LINE` long, and those read alone.

        `begin` and `end` say where in the block each text of each plain line stands, of shape (lines, columns);
        `place` in which order they all stand. Raises Odd.
        """
        padded = np.concatenate([block, np.zeros(LONGEST_LINE + 8, dtype=np.uint8)])
        order = np.argsort(place) if alone else slice(None)
        last = self.last_spoken
        said = _numbers(padded, begin[:, 1], end[:, last], self.said)
        own = [self.said.one(self.key(one.fields[1 : 1 + last])) for one in alone]
        self.code.append(np.concatenate([said, np.array(own, dtype=np.int32)])[order])
        self._take_runs(padded, begin, end, alone, order)
        for name in _TEXTS:
            if name not in self.columns:
                self.texts[name].append(np.zeros(len(place), dtype="S1"))
                continue
            column = self.columns.index(name)
            texts = _texts(padded, begin[:, column], end[:, column])
            if alone:
                texts = np.concatenate([texts, _plain([one.fields[column] for one in alone])])[order]
            self.texts[name].append(texts)
        self.count += len(place)

    def _take_runs(
        self, padded: Bytes, begin: Whole, end: Whole, alone: Sequence[Alone], order: NDArray[np.int64] | slice
    ) -> None:
        if "run" not in self.columns:
            self.run.append(np.full(len(begin) + len(alone), self.runs.one(""), dtype=np.int32))
            return
        column = self.columns.index("run")
        ours = _numbers(padded, begin[:, column], end[:, column], self.runs)
        own = [self.runs.one(one.fields[column]) for one in alone]
        self.run.append(np.concatenate([ours, np.array(own, dtype=np.int32)])[order])

    def joined(self, whole: bytes | None = None) -> ColumnRows:
        """All rows; `whole` is the text that they alone were read from. Nothing can be added any more."""
        time, elapsed_s, name = (np.concatenate([np.empty(0, dtype="S1"), *self.texts.pop(one)]) for one in _TEXTS)
        none = np.empty(0, dtype=np.int32)
        code, run = np.concatenate([none, *self.code]), np.concatenate([none, *self.run])
        said = tuple(map(_said, self.spoken(self.said.texts)))
        return ColumnRows(said, code, time, tuple(self.runs.texts), run, elapsed_s, name, self.raw, whole)


def _numbers(padded: Bytes, start: Whole, stop: Whole, numbering: Numbering) -> NDArray[np.int32]:
    length = stop - start
    numbers = numbering.of(cut(padded, start, length, width_for(int(length.max(initial=0)))))
    if numbers is None:
        raise Odd
    return numbers


def _texts(padded: Bytes, start: Whole, stop: Whole) -> NDArray[np.bytes_]:
    length = stop - start
    width = max(int(length.max(initial=0)), 1)
    if width > _LONG_WORD:
        raise Odd
    pieces = cut(padded, start, length, width)
    if (pieces > 127).any():
        raise Odd
    return pieces.view(f"S{width}").ravel()


def _plain(texts: list[str]) -> NDArray[np.bytes_]:
    try:
        found = plain(texts)
    except UnicodeEncodeError:
        raise Odd from None
    if found.dtype.itemsize > _LONG_WORD:
        raise Odd
    return found


def _said(spoken: Sequence[str]) -> Said:
    kind, subject, value, unit, source, note, *span = spoken
    return kind, subject, value, unit, source, note, span[0] if span else ""
