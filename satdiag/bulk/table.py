"""The rows of a long log by column: a sequence that makes each `Row` when it is asked for, and the typed table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timezone
from itertools import repeat
from typing import Any, TypeVar, overload

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.bulk.fields import those_used
from satdiag.bulk.laying import chosen, stretches, words
from satdiag.bulk.numbers import seconds_of
from satdiag.bulk.times import times_us
from satdiag.rows import OPTIONAL_COLUMNS, Row, parse_number
from satdiag.vocabulary import KINDS, entry_of

Said = tuple[str, str, str, str, str, str, str]
"""What the rows of a log have in common over and over: kind, subject, value, unit, source, note, span_s."""

_AT_ONCE = 65_536


@dataclass(frozen=True, eq=False)
class ColumnRows(Sequence[Row]):
    """Rows by column. `time`, `elapsed_s` and `id` hold a text each row (ASCII bytes of one width, NUL behind it);
    `code` says which of the distinct texts in `said` a row has, `run` which of `runs`.

    `raw` holds the rows as written whose quoting is not the canonical one, by number. `whole` is the text that they
    were read from, with LF line ends, where they are all that stood there.
    """

    said: tuple[Said, ...]
    code: NDArray[np.int32]
    time: NDArray[np.bytes_]
    runs: tuple[str, ...]
    run: NDArray[np.int32]
    elapsed_s: NDArray[np.bytes_]
    id: NDArray[np.bytes_]
    raw: Mapping[int, str] = field(default_factory=dict)
    whole: bytes | None = None

    def __len__(self) -> int:
        return len(self.code)

    @overload
    def __getitem__(self, at: int) -> Row: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[Row, ...]: ...
    def __getitem__(self, at: int | slice) -> Row | tuple[Row, ...]:
        if isinstance(at, slice):
            start, stop, step = at.indices(len(self))
            if step == 1:
                return tuple(self._made(start, max(stop, start)))
            return tuple(self[number] for number in range(start, stop, step))
        number = range(len(self))[at]
        time, elapsed_s, name = (str(one[number], "ascii") for one in (self.time, self.elapsed_s, self.id))
        said, run = self.said[int(self.code[number])], self.runs[int(self.run[number])]
        return Row(time, *said, run, elapsed_s, name, self.raw.get(number))

    def __iter__(self) -> Iterator[Row]:
        for start in range(0, len(self), _AT_ONCE):
            yield from self._made(start, min(start + _AT_ONCE, len(self)))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence):
            return NotImplemented
        if isinstance(other, ColumnRows) and self._is_alike(other):
            return True
        return len(self) == len(other) and all(one == two for one, two in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]

    def _is_alike(self, other: ColumnRows) -> bool:
        """The columns are the same; other ones may still say the same."""
        if (self.said, self.runs, self.raw) != (other.said, other.runs, other.raw):
            return False
        columns = ("code", "run", "time", "elapsed_s", "id")
        return all(np.array_equal(getattr(self, name), getattr(other, name)) for name in columns)

    def followed_by(self, more: ColumnRows) -> ColumnRows:
        """These rows and then those."""
        said, code = _numbered_on(self.said, more.said)
        runs, run = _numbered_on(self.runs, more.runs)
        return ColumnRows(
            said,
            np.concatenate([self.code, code[more.code]]),
            np.concatenate([self.time, more.time]),
            runs,
            np.concatenate([self.run, run[more.run]]),
            np.concatenate([self.elapsed_s, more.elapsed_s]),
            np.concatenate([self.id, more.id]),
            {**self.raw, **{len(self) + at: text for at, text in more.raw.items()}},
        )

    def _made(self, start: int, stop: int) -> Iterator[Row]:
        for code, run, raw, time, elapsed_s, name in self.pieces(start, stop):
            yield Row(time, *self.said[code], self.runs[run], elapsed_s, name, raw)

    def pieces(self, start: int, stop: int) -> Iterator[tuple[int, int, str | None, str, str, str]]:
        """Of each row from `start` on: `code`, `run`, `raw`, and the texts of time, elapsed_s and id."""
        part = slice(start, stop)
        times, elapsed, ids = (words(one[part]) for one in (self.time, self.elapsed_s, self.id))
        raw = [self.raw.get(at) for at in range(start, stop)] if self.raw else repeat(None, stop - start)
        return zip(self.code[part].tolist(), self.run[part].tolist(), raw, times, elapsed, ids, strict=True)

    def raw_in(self, part: slice) -> Iterator[tuple[int, str]]:
        """The rows as written within a stretch, by their place in it."""
        for at in range(part.start, part.stop) if self.raw else ():
            if (raw := self.raw.get(at)) is not None:
                yield at - part.start, raw

    def values(self, first: int) -> Iterator[tuple[int, list[int | str | None]]]:
        """Many rows at a time: how many values are told of each row, and the values, row behind row.

        They are the row's number, counted from `first`, its time, which of `said` it says, its run, elapsed_s and id,
        and `raw` if any of these rows has it.
        """
        runs = chosen(self.runs)
        for part in stretches(len(self)):
            written = dict(self.raw_in(part))
            sheet = np.empty((part.stop - part.start, 7 if written else 6), dtype=object)
            sheet[:, 0] = range(first + part.start, first + part.stop)
            sheet[:, 1] = words(self.time[part])
            sheet[:, 2] = self.code[part].tolist()
            sheet[:, 3] = runs[self.run[part]]
            sheet[:, 4] = words(self.elapsed_s[part])
            sheet[:, 5] = words(self.id[part])
            if written:
                sheet[:, 6] = [written.get(at) for at in range(len(sheet))]
            yield sheet.shape[1], sheet.ravel().tolist()

    def used_columns(self) -> tuple[str, ...]:
        """The optional columns that the rows need."""
        used = {
            "span_s": any(self.said[number][6] for number in np.flatnonzero(np.bincount(self.code)).tolist()),
            "run": any(self.runs[number] for number in np.flatnonzero(np.bincount(self.run)).tolist()),
            "elapsed_s": bool((self.elapsed_s != b"").any()),
            "id": bool((self.id != b"").any()),
        }
        return tuple(name for name in OPTIONAL_COLUMNS if used[name])

    def some(self, kept: NDArray[np.int64]) -> ColumnRows:
        """These rows alone, by their numbers, in that order."""
        raw = {new: self.raw[old] for new, old in enumerate(kept.tolist()) if old in self.raw} if self.raw else {}
        return replace(
            self,
            code=self.code[kept],
            time=self.time[kept],
            run=self.run[kept],
            elapsed_s=self.elapsed_s[kept],
            id=self.id[kept],
            raw=raw,
            whole=None,
        )


_T = TypeVar("_T")


def _numbered_on(known: tuple[_T, ...], more: Sequence[_T]) -> tuple[tuple[_T, ...], NDArray[np.int32]]:
    """What is known with what is new behind it, and where each of `more` stands there."""
    places = {one: place for place, one in enumerate(known)}
    new: list[_T] = list(dict.fromkeys(one for one in more if one not in places))
    places |= {one: len(known) + place for place, one in enumerate(new)}
    return (*known, *new), np.array([places[one] for one in more], dtype=np.int32)


class RowsGathered:
    """Rows put together by column, some at a time."""

    def __init__(self) -> None:
        self._said: dict[Said, int] = {}
        self._runs: dict[str, int] = {}
        self._code: list[NDArray[np.int32]] = []
        self._run: list[NDArray[np.int32]] = []
        self._texts: tuple[list[NDArray[np.bytes_]], ...] = ([], [], [])
        self._raw: dict[int, str] = {}
        self._odd: list[Row] = []
        self._count = 0

    def add(self, rows: Sequence[tuple[Any, ...]]) -> None:
        """Add rows (number, then the twelve texts of a `Row`), in order."""
        if self._odd or not self._take(rows):
            self._odd += [Row(*fields[1:]) for fields in rows]
        self._count += len(rows)

    def _take(self, rows: Sequence[tuple[Any, ...]]) -> bool:
        """Add rows by column; False, and nothing is added, where a text that must be is no plain ASCII."""
        try:
            texts = [plain([row[column] for row in rows]) for column in (1, 10, 11)]
        except UnicodeEncodeError:
            return False
        said, runs = self._said, self._runs
        self._code.append(np.array([said.setdefault(row[2:9], len(said)) for row in rows], dtype=np.int32))
        self._run.append(np.array([runs.setdefault(row[9], len(runs)) for row in rows], dtype=np.int32))
        for parts, part in zip(self._texts, texts, strict=True):
            parts.append(part)
        self._raw |= {self._count + at: row[12] for at, row in enumerate(rows) if row[12] is not None}
        return True

    def joined(self) -> ColumnRows | tuple[Row, ...]:
        """All rows; by column, or where that cannot be one by one."""
        none = np.empty(0, dtype=np.int32)
        time, elapsed_s, name = (np.concatenate([np.empty(0, dtype="S1"), *parts]) for parts in self._texts)
        code, run = np.concatenate([none, *self._code]), np.concatenate([none, *self._run])
        made = ColumnRows(tuple(self._said), code, time, tuple(self._runs), run, elapsed_s, name, self._raw)
        return (*made, *self._odd) if self._odd else made


def ids_of(rows: Sequence[Row]) -> list[str]:
    """The identifier of each row, blank where it has none."""
    return words(rows.id) if isinstance(rows, ColumnRows) else [row.id for row in rows]


def runs_of(rows: Sequence[Row]) -> set[str]:
    """The recorder runs that rows name."""
    if not isinstance(rows, ColumnRows):
        return {row.run for row in rows if row.run}
    return {rows.runs[number] for number in np.flatnonzero(np.bincount(rows.run)).tolist()} - {""}


def columns_of_rows(rows: Iterable[Row]) -> ColumnRows | None:
    """Rows by column; None where a time, an elapsed time or an identifier is no plain ASCII text."""
    gathered = RowsGathered()
    gathered.add([(number, *row) for number, row in enumerate(rows)])
    found = gathered.joined()
    return found if isinstance(found, ColumnRows) else None


def plain(texts: Sequence[str]) -> NDArray[np.bytes_]:
    """ASCII texts as an array of one width. Raises UnicodeEncodeError for anything else, NUL too."""
    if "\0" in "".join(texts):
        raise UnicodeEncodeError("ascii", "\0", 0, 1, "NUL")
    width = max(map(len, texts), default=0) or 1
    return np.array(texts, dtype=f"U{width}").astype(f"S{width}")


def frame_of(rows: ColumnRows, naive: timezone | None) -> pd.DataFrame:
    """Checked rows as a table; see `rows.rows_frame`, which makes the same one."""
    used, code = those_used(rows.code)
    said = [rows.said[number] for number in used.tolist()]
    ran, run = those_used(rows.run)
    numeric = [(entry := entry_of(one[0], one[1])) is not None and entry.value in ("number", "whole") for one in said]
    number = [parse_number(one[2]) if take else None for one, take in zip(said, numeric, strict=True)]
    span = [parse_number(one[6]) for one in said]
    return pd.DataFrame(
        {
            "row": np.arange(len(rows)),
            "time": times_us(rows.time, naive).astype("datetime64[us]"),
            "kind": pd.Categorical([one[0] for one in said], categories=list(KINDS))[code],
            "subject": _texts(said, 1)[code],
            "value": _texts(said, 2)[code],
            "number": np.array([np.nan if one is None else one for one in number], dtype="float64")[code],
            "unit": pd.Categorical(_texts(said, 3))[code],
            "source": pd.Categorical(_texts(said, 4))[code],
            "note": _texts(said, 5)[code],
            "span_s": np.array([0.0 if one is None else one for one in span], dtype="float64")[code],
            "run": pd.Categorical([rows.runs[one] for one in ran.tolist()])[run],
            "elapsed_s": seconds_of(rows.elapsed_s),
            "id": rows.id.astype("U").astype(object),
            "withdrawn": withdrawn(rows),
        },
        copy=False,
    )


def _texts(said: Sequence[Said], column: int) -> NDArray[np.object_]:
    """One text of each, one object for equal texts, so that they are quick to compare."""
    known: dict[str, str] = {}
    found = np.empty(len(said), dtype=object)
    found[:] = [known.setdefault(one[column], one[column]) for one in said]
    return found


def withdrawn(rows: ColumnRows) -> NDArray[np.bool_]:
    """Which rows were taken back."""
    taken = withdrawals(rows)
    if not taken:
        return np.zeros(len(rows), dtype=bool)
    return np.asarray(np.isin(rows.id, plain(taken)) & (rows.id != b""))


def withdrawals(rows: ColumnRows) -> list[str]:
    """The identifiers that rows of the kind `withdraw` name; they are checked or ASCII."""
    return [
        rows.said[number][2]
        for number in np.flatnonzero(np.bincount(rows.code)).tolist()
        if rows.said[number][0] == "withdraw"
    ]
