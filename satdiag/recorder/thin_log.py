"""The log while it grows, thinned to what the exposure clock reads, so that the clock can be computed at any moment.

Of rows that repeat each other (the same path in lock again, the receiver awake again) the first, the last and one
every `REPEAT_S` between prove as much as all do, because that is shorter than the shortest hold time. A row is left
out only if nothing contrary (off, no lock, a gap, a swap) stands between its kept neighbours. So the lower bound is
that of the whole log as long as rows come at most `RECENT_S` out of their order, and also when rows from hand are
withdrawn later; what else becomes known later than that can only make it smaller. The upper bound is never below
that of the whole log.
"""

from __future__ import annotations

import copy
import heapq
from collections import Counter
from collections.abc import Iterable, Sequence
from types import MappingProxyType
from typing import NamedTuple

from satdiag.exposure import ExposureClock, exposure_clock
from satdiag.job import HEADER, Job
from satdiag.recorder.clock import time_text
from satdiag.recorder.last_seen import ChannelCounts, LastSeen, Level
from satdiag.recorder.proofs import CONTRARY, Item, Word, ended_by, raised_by, word_of
from satdiag.recorder.thin_start import started
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
from satdiag.rows import Row, parse_number, parse_time_us
from satdiag.sheet import Sheet
from satdiag.vocabulary import AWAKE_HOLD_S

FOLD_OVER = 40_000
"""If ever more rows are kept (a level that flickers for hours), the old ones are folded into what they came to."""

_BIN_US = 1_000


class Exposure(NamedTuple):
    """Both bounds of the exposure at the last row, in seconds."""

    lower_s: float
    upper_s: float


class _Fold(NamedTuple):
    """Everything up to an instant, as what it came to; `basis` is what that computation rested on."""

    line: str
    t_us: int
    lower_s: float
    upper_s: float
    basis: tuple[object, ...]


class ThinLog:
    """What the exposure clock, the channel counts and the levels of a growing job are computed from.

    Not for several threads at once: `copy` gives one that may be read elsewhere.
    """

    def __init__(self, sheet: Sheet, fold_over: int = FOLD_OVER) -> None:
        self._sheet, self._fold_over, self._n = sheet, fold_over, 0
        self._seen = LastSeen()
        self._withdrawn: set[str] = set()
        self._kept: dict[int, Item] = {}
        self._first: dict[str, Item] = {}
        self._recent: dict[str, list[tuple[int, int, Item]]] = {}
        self._frontier_us: dict[str, int] = {}
        self._streams: dict[Key, Stream] = {}
        self._raised: Counter[tuple[str, str]] = Counter()
        self._gap_ends: dict[tuple[str, str], tuple[int, int]] = {}
        self._gap_starts: dict[str, list[int]] = {}
        self._goes_on: set[int] = set()
        self._leads: dict[str, dict[int, tuple[int, int]]] = {}
        self._fold: _Fold | None = None

    @classmethod
    def of_job(cls, job: Job, fold_over: int = FOLD_OVER) -> ThinLog:
        """The rows that a job has when a run begins."""
        thin, found = cls(job.sheet, fold_over), started(job.log, job.sheet.receiver)
        if found is not None:
            thin._n, thin._seen, thin._kept = found.n, found.seen, found.kept
            thin._first = {} if found.first is None else {BEFORE: found.first}
            thin._recent, thin._frontier_us = {BEFORE: found.recent}, {BEFORE: found.frontier_us}
            thin._streams, thin._raised = found.streams, found.raised
            thin._gap_ends, thin._goes_on = found.gaps.ends, found.gaps.goes_on
            thin._gap_starts = {BEFORE: found.gaps.starts}
        thin._fold_old()
        return thin

    def copy(self) -> ThinLog:
        """The same log as it is now, which later rows do not change."""
        twin = copy.copy(self)
        for name, value in vars(self).items():
            if isinstance(value, (dict, set)):
                setattr(twin, name, value.copy())
        twin._seen = self._seen.copy()
        twin._recent = {line: list(heap) for line, heap in self._recent.items()}
        twin._gap_starts = {line: list(heap) for line, heap in self._gap_starts.items()}
        twin._leads = {run: dict(leads) for run, leads in self._leads.items()}
        return twin

    def __len__(self) -> int:
        """How many rows are kept."""
        return len(self._items())

    # --- rows come in ----------------------------------------------------------------------------------------------

    def add(self, rows: Iterable[Row]) -> None:
        """Take rows as they are committed: checked ones, in the order of the log."""
        for row in rows:
            if row.kind == "withdraw":
                self._withdraw(row.value)
            else:
                self._take(row, *self._place(row))
        self._fold_old()

    def _place(self, row: Row) -> tuple[str, int]:
        """A row's line of time and its place on it; how far the wall clock leads is counted per run."""
        wall_us = parse_time_us(row.time, self._sheet.naive_times) or 0
        elapsed_s = parse_number(row.elapsed_s) if row.run and row.elapsed_s else None
        if elapsed_s is None:
            return "", wall_us
        t_us = round(elapsed_s * PER_S)
        lead_us = wall_us - t_us
        leads = self._leads.setdefault(row.run, {})
        count, total_us = leads.get(lead_us // _BIN_US, (0, 0))
        leads[lead_us // _BIN_US] = (count + 1, total_us + lead_us)
        return row.run, t_us

    def _take(self, row: Row, line: str, t_us: int) -> None:
        self._n += 1
        item = made(self._n, line, t_us, *row[1:6], row.span_s, row.id)
        self._seen.see(row.kind, Level(*row[2:5], row.time, row.run, row.elapsed_s), row.id)
        if row.kind == "gap":
            self._take_gap(item)
        if t_us < self._frontier_us.get(line, t_us):
            self._take_late(item)
            return
        heap = self._recent.setdefault(line, [])
        heapq.heappush(heap, (t_us, item.n, item))
        recent_us = t_us - round(RECENT_S * PER_S)
        self._frontier_us[line] = max(self._frontier_us.get(line, recent_us), recent_us)
        while heap[0][0] < self._frontier_us[line]:
            self._settle(line, heap)

    def _take_gap(self, gap: Item) -> None:
        """Note where a gap begins; one that begins where the one before it ended goes on with that one."""
        start_us = gap.t_us - round((parse_number(gap.span_s or "0") or 0.0) * PER_S)
        end_us, before = self._gap_ends.get((gap.line, gap.subject), (None, 0))
        self._gap_ends[(gap.line, gap.subject)] = (gap.t_us, gap.n)
        if end_us is not None and abs(start_us - end_us) <= TOUCHING_US:
            self._goes_on.add(before)
        else:
            heapq.heappush(self._gap_starts.setdefault(gap.line, []), start_us)
            self._doubt(gap.line, start_us)

    def _take_late(self, item: Item) -> None:
        """A row whose neighbours are thinned already is kept, if it says anything."""
        first = self._first.get(item.line)
        if first is None or item.t_us < first.t_us or word_of(item, self._sheet.receiver) is not None:
            self._kept[item.n] = item
            self._doubt(item.line, item.t_us)

    def _withdraw(self, identifier: str) -> None:
        self._seen.withdraw(identifier)
        for item in self._items():
            if item.id == identifier:
                self._doubt(item.line, item.t_us)
        self._withdrawn.add(identifier)

    # --- thinning --------------------------------------------------------------------------------------------------

    def _settle(self, line: str, heap: list[tuple[int, int, Item]]) -> None:
        """Thin the rows of the oldest instant. What is contrary comes last: it ends what was proved at that instant.

        Nothing rests (`is_firm`) on what may be withdrawn, or count again when that is.
        """
        self._pass_gap_starts(line, heap[0][0])
        said: list[tuple[Word, Item, bool]] = []
        for same in self._of_one_instant(line, heap):
            for item in same:
                word = word_of(item, self._sheet.receiver)
                if word is not None:
                    said.append((word, item, same[-1].source != HAND))
                elif len(same) > 1:  # it says nothing, but overrides what was said
                    self._kept[item.n] = item
        for word, item, is_firm in sorted(said, key=lambda entry: entry[0].role in CONTRARY):
            self._thin(word, item, is_firm)

    def _of_one_instant(self, line: str, heap: list[tuple[int, int, Item]]) -> Iterable[list[Item]]:
        """The rows of the oldest instant by kind and subject: the one that counts, as in the log, is the last.

        Before it stand those that count again if it is withdrawn.
        """
        t_us = heap[0][0]
        found: dict[tuple[str, str], list[Item]] = {}
        while heap and heap[0][0] == t_us:
            item = heapq.heappop(heap)[2]
            if item.id and item.id in self._withdrawn:
                continue
            same = found.setdefault((item.kind, item.subject), [])
            same[:] = [*same, item] if item.source == HAND else [item]
            if line not in self._first:  # the log begins with the first one that no hand takes back
                self._kept[item.n] = item
                if item.source != HAND:
                    self._first[line] = item
        return found.values()

    def _pass_gap_starts(self, line: str, t_us: int) -> None:
        starts = self._gap_starts.get(line, [])
        while starts and starts[0] < t_us:
            heapq.heappop(starts)
            self._raised[(line, "turn")] += 1

    def _thin(self, word: Word, item: Item, is_firm: bool) -> None:
        """Keep a row, or keep it in mind and leave out the one before it in its stream."""
        key = (item.line, stream_of(word, item))
        if item.n not in self._goes_on:
            for name in raised_by(word):
                self._raised[(item.line, name)] += 1
        self._goes_on.discard(item.n)
        if word.role == "turn" or not is_firm:
            self._end(key)
            self._kept[item.n] = item
            return
        stood = tuple([self._raised[(item.line, name)] for name in ended_by(word)])
        stream = self._streams.get(key)
        if stream is None or stream.says != word.says or stream.stood != stood:
            self._end(key)
            self._kept[item.n] = item
            self._streams[key] = Stream(word.says, item.t_us, None, stood)
            return
        kept_us, latest = stream.kept_us, stream.latest
        if latest is not None and item.t_us - kept_us > repeat_limit_s(item.kind) * PER_S:
            self._kept[latest.n], kept_us = latest, latest.t_us
        self._streams[key] = Stream(stream.says, kept_us, item, stream.stood)

    def _end(self, key: Key) -> None:
        stream = self._streams.pop(key, None)
        if stream is not None and stream.latest is not None:
            self._kept[stream.latest.n] = stream.latest

    # --- what it comes to ------------------------------------------------------------------------------------------

    def exposure(self) -> Exposure:
        """The bounds of the exposure clock at the last row."""
        items = self._items()
        if not items:
            return Exposure(0.0, 0.0)
        clock = exposure_clock(self._job(items))
        return self._bounds(items, clock, clock.end_s)

    def channels(self) -> ChannelCounts:
        """The channels by the state each was last seen in, since the receiver was fitted."""
        return self._seen.channels()

    def levels(self) -> tuple[Level, ...]:
        """The latest level of every path, by path."""
        return self._seen.levels()

    def _items(self) -> list[Item]:
        """The kept rows that stand, in the order in which they came."""
        found = {item.n: item for item in self._first.values()}
        found |= self._kept
        found |= {stream.latest.n: stream.latest for stream in self._streams.values() if stream.latest}
        for heap in self._recent.values():
            found |= {n: item for _, n, item in heap}
        standing = (item for item in found.values() if not item.id or item.id not in self._withdrawn)
        return sorted(standing)

    def _job(self, items: Sequence[Item]) -> Job:
        """Kept rows as a job on the time of the analysis, without runs, notes and documents."""
        starts = self._starts_us()
        rows = [
            Row(
                time_text((starts.get(item.line, 0) + item.t_us) * 1000),
                *item[3:8],
                span_s=item.span_s,
                id=item.id,
            )
            for item in items
        ]
        return Job(self._sheet, HEADER, tuple(rows), MappingProxyType({}))

    def _starts_us(self) -> dict[str, int]:
        """The wall time of each run's start: the median of what its rows say, as `Job.log` has it, to `_BIN_US`."""
        return {run: _median_us(leads) for run, leads in self._leads.items()}

    # --- folding old rows ------------------------------------------------------------------------------------------

    def _bounds(self, items: Sequence[Item], clock: ExposureClock, until_s: float) -> Exposure:
        """Both bounds at `until_s` after the first row: what is folded, and what came since."""
        lower_s, upper_s = float(clock.lower_s(until_s)), float(clock.upper_s(until_s))
        fold = self._fold
        since_s = 0.0 if fold is None else self._after_first_s(items, fold.line, fold.t_us)
        if fold is None or clock.origin_s >= since_s:
            return Exposure(lower_s, upper_s)
        lower_s -= float(clock.lower_s(since_s))
        if self._basis(items, clock) != fold.basis:  # what is folded would have come to something else
            return Exposure(lower_s, upper_s)
        return Exposure(fold.lower_s + lower_s, fold.upper_s + upper_s - float(clock.upper_s(since_s)))

    def _after_first_s(self, items: Sequence[Item], line: str, t_us: int) -> float:
        starts = self._starts_us()
        first_us = min(starts.get(item.line, 0) + item.t_us for item in items)
        return (starts.get(line, 0) + t_us - first_us) / PER_S

    def _basis(self, items: Iterable[Item], clock: ExposureClock) -> tuple[object, ...]:
        words = (word_of(item, self._sheet.receiver) for item in items)
        return clock.basis, frozenset(word.stream for word in words if word and word.stream[0] in ("lock", "signal"))

    def _doubt(self, line: str, t_us: int) -> None:
        """Something about folded time has become known: the bounds give way by as much as it can change."""
        fold = self._fold
        if fold is not None and line == fold.line and t_us < fold.t_us:
            span_s = (fold.t_us - t_us) / PER_S + 2 * AWAKE_HOLD_S
            self._fold = fold._replace(lower_s=max(0.0, fold.lower_s - span_s), upper_s=fold.upper_s + span_s)

    def _fold_old(self) -> None:
        """Forget rows that are older than any hold time, if there are too many, but not what they came to."""
        if len(self._kept) <= self._fold_over:
            return
        items, starts = self._items(), self._starts_us()
        newest = max(items, key=lambda item: starts.get(item.line, 0) + item.t_us)
        t_us = newest.t_us - round(RECENT_S * PER_S)
        if self._fold and self._fold.line == newest.line and t_us < self._fold.t_us + AWAKE_HOLD_S * PER_S:
            return
        clock = exposure_clock(self._job(items))
        bounds = self._bounds(items, clock, self._after_first_s(items, newest.line, t_us))
        self._fold = _Fold(newest.line, t_us, *bounds, self._basis(items, clock))
        old_us = starts.get(newest.line, 0) + t_us - round(AWAKE_HOLD_S * PER_S)
        old = [item for item in items if starts.get(item.line, 0) + item.t_us < old_us]
        for n in _repeated(old, self._sheet):
            self._kept.pop(n, None)


def _repeated(old: Sequence[Item], sheet: Sheet) -> list[int]:
    """The rows to forget: all but the account, swaps, what came from hand, and the first and last of each stream."""
    streams: dict[object, list[int]] = {}
    for item in sorted(old, key=lambda item: (item.line, item.t_us)):
        word = word_of(item, sheet.receiver)
        if word is not None and item.kind not in ("account", "swap") and item.source != HAND:
            streams.setdefault((item.line, stream_of(word, item)), []).append(item.n)
    return [n for numbers in streams.values() for n in numbers[1:-1]]


def _median_us(leads: dict[int, tuple[int, int]]) -> int:
    """The median of numbers gathered in bins as (how many, their sum)."""
    total = sum(count for count, _ in leads.values())
    middle = []
    for wanted in ((total - 1) // 2, total // 2):
        passed = 0
        for _, (count, sum_us) in sorted(leads.items()):
            passed += count
            if passed > wanted:
                middle.append(sum_us / count)
                break
    return int(sum(middle) / len(middle))
