"""The rows that are there when a run begins, thinned all at once: what `ThinLog` would come to, row by row.

A log is in order and holds one row of an instant, a kind and a subject (`Job.log`; marks of a channel change apart),
so that all can be told from whole columns: which rows repeat the one before them, and what stood between.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from satdiag.recorder.clock import time_text
from satdiag.recorder.last_seen import REMEMBERED, LastSeen, Level, verdict
from satdiag.recorder.proofs import CONTRARY, Item, Word, ended_by, raised_by, word_of
from satdiag.recorder.thinning import (
    BEFORE,
    HAND,
    PER_S,
    RECENT_S,
    TOUCHING_US,
    Key,
    Stream,
    made,
    repeat_limit_s,
    stream_of,
)
from satdiag.rows import parse_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from satdiag.sheet import Receiver

    Places = NDArray[np.intp]

_SAID = ("kind", "subject", "value", "unit", "source", "span_s")


class Gaps(NamedTuple):
    """The gaps of a log, as `ThinLog` keeps them in mind. `starts`: those that no thinned row has passed yet."""

    ends: dict[tuple[str, str], tuple[int, int]]
    starts: list[int]
    goes_on: set[int]


class Start(NamedTuple):
    """A thinned log as it is after the last row."""

    n: int
    seen: LastSeen
    kept: dict[int, Item]
    first: Item | None
    recent: list[tuple[int, int, Item]]
    frontier_us: int
    streams: dict[Key, Stream]
    raised: Counter[tuple[str, str]]
    gaps: Gaps


def started(log: pd.DataFrame, receiver: Receiver) -> Start | None:
    """What the rows of a log come to; None without any."""
    if not len(log):
        return None
    return _Start(_Columns(log, receiver)).made()


class _Columns:
    """A log by column. `code` numbers the distinct things that rows say; `word`: what each is to the clock."""

    def __init__(self, log: pd.DataFrame, receiver: Receiver) -> None:
        self.t_us = log["at"].to_numpy().astype("datetime64[us]").astype(np.int64)
        self._log = log
        code = np.zeros(len(log), np.int64)
        for name in _SAID:
            more, distinct = pd.factorize(log[name])
            code = pd.factorize(code * max(1, len(distinct)) + more)[0].astype(np.int64)
        self.code = code
        self.said = [self.item(int(row)) for row in np.unique(code, return_index=True)[1]]
        self.word = [word_of(item, receiver) for item in self.said]

    def __len__(self) -> int:
        return len(self.t_us)

    def item(self, row: int) -> Item:
        """The row as it is kept."""
        *texts, span_s, identifier = (column[row] for column in self._texts)
        return made(row + 1, BEFORE, int(self.t_us[row]), *texts, f"{span_s:f}", identifier)

    @cached_property
    def _texts(self) -> list[Any]:
        return [self._log[name].array for name in (*_SAID, "id")]

    def by_code(self, told: Callable[[Item, Word | None], object], dtype: type = bool) -> NDArray[Any]:
        """Something of every row that depends on what it says alone."""
        of_codes: NDArray[Any] = np.array([told(*one) for one in zip(self.said, self.word, strict=True)], dtype)
        return np.asarray(of_codes[self.code])


class _Start:
    """Works out the start. Places are numbers of rows, from 0; `settled` rows, the first ones, are thinned."""

    def __init__(self, columns: _Columns) -> None:
        self._of, self._t_us = columns, columns.t_us
        self._recent_us = round(RECENT_S * PER_S)
        self._frontier_us = int(self._t_us[-1]) - self._recent_us
        self._settled = int(np.searchsorted(self._t_us, self._frontier_us))
        self._kept: set[int] = set()
        self._firm = columns.by_code(lambda item, _: item.source != HAND)
        self._stands = np.ones(len(columns), bool)
        self._together = np.arange(len(columns))  # the first row of the same instant, kind and subject
        self._turns = Counter[int]()  # by the place of the row that a gap's beginning is passed with
        self._goes_on: set[int] = set()  # places of gaps that another one goes on with before they are thinned
        self._raised: Counter[tuple[str, str]] = Counter()
        self._streams: dict[Key, Stream] = {}

    def made(self) -> Start:
        """The start."""
        gaps = self._take_gaps()
        self._settle_marks()
        first = self._begin()
        self._thin()
        rows = range(self._settled, len(self._of))
        return Start(
            n=len(self._of),
            seen=self._seen(),
            kept={row + 1: self._of.item(row) for row in sorted(self._kept)},
            first=None if first is None else self._of.item(first),
            recent=[(int(self._t_us[row]), row + 1, self._of.item(row)) for row in rows],
            frontier_us=self._frontier_us,
            streams=self._streams,
            raised=self._raised,
            gaps=gaps,
        )

    # --- what comes before thinning --------------------------------------------------------------------------------

    def _take_gaps(self) -> Gaps:
        """Where gaps begin, and which go on: each is known once its row comes, by when others are thinned."""
        gaps = Gaps({}, [], set())
        for row in np.flatnonzero(self._of.by_code(lambda item, _: item.kind == "gap")).tolist():
            item = self._of.item(row)
            thinned_us = int(self._t_us[row - 1]) - self._recent_us if row else int(self._t_us[0])
            start_us = item.t_us - round((parse_number(item.span_s or "0") or 0.0) * PER_S)
            end_us, before = gaps.ends.get((BEFORE, item.subject), (None, 0))
            gaps.ends[(BEFORE, item.subject)] = (item.t_us, item.n)
            if end_us is not None and abs(start_us - end_us) <= TOUCHING_US:
                comes_in_time = self._t_us[before - 1] >= thinned_us and before <= self._settled
                is_thinned = comes_in_time and self._of.word[self._of.code[before - 1]] is not None
                self._goes_on.add(before - 1) if is_thinned else gaps.goes_on.add(before)
                continue
            there = self._t_us[: self._settled]
            place = max(int(np.searchsorted(there, start_us, "right")), int(np.searchsorted(there, thinned_us)))
            if place < self._settled:
                self._turns[place] += 1
            else:
                gaps.starts.append(start_us)
        gaps.starts.sort()
        return gaps

    def _settle_marks(self) -> None:
        """Marks of a channel change at one instant: the last one counts, and those that count again without it."""
        marks = np.flatnonzero(self._of.by_code(lambda item, _: item.kind == "tune")[: self._settled])
        subject = self._of.by_code(lambda item, _: int(item.subject) if item.kind == "tune" else -1, int)
        at = pd.DataFrame({"t_us": self._t_us[marks], "subject": subject[marks]}) if len(marks) else pd.DataFrame()
        shared = at.duplicated(keep=False).to_numpy() if len(marks) else np.zeros(0, bool)
        for _, group in at[shared].groupby(["t_us", "subject"], sort=False) if shared.any() else ():
            rows = [int(marks[place]) for place in group.index]
            same: list[int] = []
            for row in rows:
                same = [*same, row] if self._of.item(row).source == HAND else [row]
            self._stands[rows], self._together[rows] = False, rows[0]
            self._stands[same], self._firm[same] = True, self._of.item(same[-1]).source != HAND
            silent = [row for row in same if self._of.word[self._of.code[row]] is None]
            self._kept.update(silent if len(same) > 1 else ())

    def _begin(self) -> int | None:
        """The log begins with the first row that no hand takes back; those before it are kept, too."""
        by_hand = self._of.by_code(lambda item, _: item.source == HAND)[: self._settled]
        firm = np.flatnonzero(~by_hand)
        self._kept.update(range(int(firm[0]) + 1 if len(firm) else self._settled))
        return int(firm[0]) if len(firm) else None

    # --- thinning --------------------------------------------------------------------------------------------------

    def _thin(self) -> None:
        """Keep of the rows that say something those that do not merely repeat another one."""
        of = self._of
        says = of.by_code(lambda _, word: word is not None)[: self._settled]
        rows = np.flatnonzero(says & self._stands[: self._settled])
        last = of.by_code(lambda _, word: word is not None and word.role in CONTRARY)
        rows = rows[np.lexsort((rows, self._together[rows], last[rows], self._t_us[rows]))]
        counts = self._counts(rows)
        keys = [w if w is None else (BEFORE, stream_of(w, item)) for item, w in zip(of.said, of.word, strict=True)]
        numbers = {key: number for number, key in enumerate(dict.fromkeys(key for key in keys if key is not None))}
        key_of = np.array([-1 if key is None else numbers[key] for key in keys])[of.code[rows]]
        order = np.argsort(key_of, kind="stable")
        ends = np.searchsorted(key_of[order], np.arange(len(numbers) + 1))
        for key, number in numbers.items():
            places = order[ends[number] : ends[number + 1]]
            if len(places):
                self._thin_stream(key, rows[places], places, counts)

    def _counts(self, rows: Places) -> dict[str, NDArray[np.int64]]:
        """How often each thing that ends a stream was raised, up to every one of these rows and with it."""
        raises = [set() if word is None else set(raised_by(word)) for word in self._of.word]
        goes_on = np.isin(rows, list(self._goes_on))
        turns = np.zeros(len(rows) + 1, np.int64)
        for place, count in self._turns.items():
            turns[np.searchsorted(self._t_us[rows], self._t_us[place])] += count
        found = {}
        for name in sorted({"turn"}.union(*raises)):
            flags = np.array([name in one for one in raises])[self._of.code[rows]] & ~goes_on
            total = int(flags.sum()) + (int(turns.sum()) if name == "turn" else 0)
            if total:
                self._raised[(BEFORE, name)] = total
            found[name] = np.cumsum(flags + (turns[:-1] if name == "turn" else 0))
        return found

    def _thin_stream(self, key: Key, rows: Places, places: Places, counts: dict[str, NDArray[np.int64]]) -> None:
        """The rows of one stream, in order; `places`: where they stand among all."""
        codes = self._of.code[rows]
        words = {int(code): self._of.word[code] for code in np.unique(codes)}
        if any(word is not None and word.role == "turn" for word in words.values()):
            self._kept.update(rows.tolist())
            return
        says = {code: word.says for code, word in words.items() if word is not None}
        numbers = {text: number for number, text in enumerate(dict.fromkeys(says.values()))}
        said = _told(codes, {code: numbers[text] for code, text in says.items()})
        firm = self._firm[rows]
        new = np.ones(len(rows), bool)
        new[1:] = (said[1:] != said[:-1]) | ~firm[1:] | ~firm[:-1]
        names = {code: ended_by(word) for code, word in words.items() if word is not None}
        for name in sorted({name for some in names.values() for name in some} & counts.keys()):
            ends = _told(codes, {code: name in some for code, some in names.items()}).astype(bool)
            stood = counts[name][places]
            new[1:] |= ends[1:] & (stood[1:] != stood[:-1])
        bounds = [*np.flatnonzero(new).tolist(), len(rows)]
        for begin, end in pairwise(bounds):
            kept_us = self._thin_run(rows[begin:end])
            if end < len(rows) or not firm[begin]:
                if end - begin > 1:
                    self._kept.add(int(rows[end - 1]))
                continue
            code, latest = int(codes[begin]), self._of.item(int(rows[-1])) if end - begin > 1 else None
            stood_then = [int(counts[name][places[begin]]) if name in counts else 0 for name in names[code]]
            self._streams[key] = Stream(says[code], kept_us, latest, tuple(stood_then))

    def _thin_run(self, rows: Places) -> int:
        """Keep of rows that repeat each other the first, and one every so often; when one was kept last."""
        self._kept.add(int(rows[0]))
        if len(rows) == 1:
            return int(self._t_us[rows[0]])
        t_us, at = self._t_us[rows], 0
        limit_us = round(repeat_limit_s(self._of.said[self._of.code[rows[0]]].kind) * PER_S)
        while True:
            after = max(at + 2, int(np.searchsorted(t_us, t_us[at] + limit_us, "right")))
            if after >= len(rows):
                return int(t_us[at])
            at = after - 1
            self._kept.add(int(rows[at]))

    # --- what was last seen ----------------------------------------------------------------------------------------

    def _seen(self) -> LastSeen:
        """The latest rows of every channel and path, as if all had been looked at."""
        seen, before = LastSeen(), 0
        for row in sorted({*self._told_last()}):
            item = self._of.item(row)
            seen.pass_over(row - before)
            time = time_text(item.t_us * 1000) if item.kind == "signal" else ""
            seen.see(item.kind, Level(item.subject, item.value, item.unit, time), item.id)
            before = row + 1
        seen.pass_over(len(self._of) - before)
        return seen

    def _told_last(self) -> Iterator[int]:
        """The first row of each channel and path, and the latest ones that tell something; swaps of the receiver."""
        of = self._of
        kind = of.by_code(lambda item, _: {"signal": 1, "channel": 2, "tune": 2, "swap": 3}.get(item.kind, 0), int)
        for wanted in (1, 2):
            rows = np.flatnonzero(kind == wanted)
            subjects = pd.factorize(of.by_code(lambda item, _: item.subject, object)[rows])[0]
            tells = of.by_code(lambda item, _: item.kind == "signal" or bool(verdict(item.kind, item.value)))[rows]
            yield from rows[~pd.Series(subjects).duplicated().to_numpy()].tolist()
            telling = pd.DataFrame({"subject": subjects[tells]}, index=rows[tells])
            yield from telling.groupby("subject", sort=False).tail(REMEMBERED).index.tolist()
        yield from np.flatnonzero(kind == 3).tolist()


def _told(codes: NDArray[np.int64], of: dict[int, int] | dict[int, bool]) -> NDArray[np.int64]:
    """A number for each code, where there are a few distinct ones."""
    known = np.array(sorted(of), np.int64)
    return np.array([int(of[int(code)]) for code in known], np.int64)[np.searchsorted(known, codes)]
