"""From what a thumb tapped to rows of the log: each tap applied once, and acknowledged when it is committed.

A tap carries a key of its own; its row's id is made of that key. So it may be sent again as often as an
acknowledgement is lost, to the same server or to the next one, and stands in the log once.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from time import monotonic
from typing import TYPE_CHECKING, Any

from satdiag.language import tell
from satdiag.recorder.clock import time_text
from satdiag.recorder.heard import Moment, Reading
from satdiag.recorder.writer import Batch
from satdiag.rows import Row, parse_time_us

if TYPE_CHECKING:
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.desk import Desk
    from satdiag.recorder.writer import Writer

SOURCE = "page"
PREFIX = "p-"
MOST_TAPS = 50
AHEAD_S = 60.0
"""A tap may lie so far in the future of the server's clock; more, and one of the clocks is wrong."""

BEHIND_S = 7 * 86400.0
"""A tap may have waited in a telephone for so long."""

COMMIT_WAIT_S = 3.0
"""How long an answer waits for the commit; what is not committed then is in no list, and sent again."""

_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_UUID4 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_CLOCK = re.compile(r"(?:^|; )clock ([+-]\d+) ms, ±\d+ ms$")
_TEXTS = {"kind": 40, "subject": 100, "value": 2000}
_TEXTS_LEFT_OUT = {"unit": 40, "note": 2000}
_NUMBERS = {"wall_ms": 1e14, "mono_ms": 1e12, "offset_ms": 1e14, "uncertainty_ms": 1e12}
_KEYS = {"key", *_TEXTS, *_TEXTS_LEFT_OUT, *_NUMBERS, "span_s"}


class NotATap(Exception):
    """What was sent is no tap; the text says why."""


@dataclass(frozen=True)
class Tap:
    """One tap as it was sent. Times in milliseconds; `offset_ms` is the server's clock minus the telephone's."""

    key: str
    reading: Reading
    wall_ms: float
    mono_ms: float
    offset_ms: float
    uncertainty_ms: float


@dataclass
class Answer:
    """What became of some taps: keys that are in the log, refused ones and why, and keys used for something else."""

    saved: list[str] = field(default_factory=list)
    refused: list[dict[str, str]] = field(default_factory=list)
    conflict: list[str] = field(default_factory=list)

    def refuse(self, key: str, why: str) -> None:
        """A tap that will never be taken as it is."""
        self.refused.append({"key": key, "why": why})


@dataclass(frozen=True)
class _Waiting:
    row: Row
    done: threading.Event


def page_of(value: object) -> str:
    """The first 8 digits of the id of an open page, a UUID. Raises NotATap."""
    if not isinstance(value, str) or not _UUID.fullmatch(value):
        raise NotATap("'page' must be the id of the open page, a UUID in small letters")
    return value[:8]


def key_of(value: object) -> str:
    """The key of something that should be a tap. Raises NotATap."""
    key = value.get("key") if isinstance(value, dict) else None
    if not isinstance(key, str) or not _UUID4.fullmatch(key):
        raise NotATap("every tap needs a 'key', a random UUID (version 4) in small letters")
    return key


def tap_of(value: Mapping[str, Any]) -> Tap:
    """A tap from what was sent. Raises NotATap."""
    key = key_of(value)
    unknown = sorted(set(value) - _KEYS)
    if unknown:
        raise NotATap(f"a tap has no '{unknown[0][:40]}'")
    texts = {name: _text(value, name, most) for name, most in _TEXTS.items()}
    texts |= {name: _text(value, name, most, "") for name, most in _TEXTS_LEFT_OUT.items()}
    wall, mono, offset, uncertainty = (_number(value, name, most) for name, most in _NUMBERS.items())
    if mono < 0 or uncertainty < 0:
        raise NotATap("'mono_ms' and 'uncertainty_ms' cannot be below 0")
    span = ""
    if value.get("span_s") is not None:
        span = _plain(_number(value, "span_s", 1e9))
    return Tap(key, Reading(span_s=span, **texts), wall, mono, offset, uncertainty)


def _text(value: Mapping[str, Any], name: str, most: int, default: str | None = None) -> str:
    text = value.get(name)
    if text is None and default is not None:
        return default
    if not isinstance(text, str):
        raise NotATap(f"'{name}' must be text")
    if len(text) > most:
        raise NotATap(f"'{name}' is longer than {most} characters")
    return text


def _number(value: Mapping[str, Any], name: str, most: float) -> float:
    number = value.get(name)
    if isinstance(number, bool) or not isinstance(number, (int, float)) or not abs(number) <= most:
        raise NotATap(f"'{name}' must be a number, {most:g} at most")
    return float(number)


def _plain(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")


def reading_of(tap: Tap, run: str, page: str) -> Reading:
    """The reading of a tap: its time is the server's, its elapsed time that of the page it was tapped on."""
    # Rounded up, and never ±0: no two clocks are compared to less than a millisecond here.
    note = f"clock {round(tap.offset_ms):+d} ms, ±{max(1, ceil(tap.uncertainty_ms))} ms"
    return tap.reading._replace(
        note=f"{tap.reading.note}; {note}" if tap.reading.note else note,
        time=time_text(server_us(tap) * 1000),
        run=f"{run}.{page}",
        elapsed_s=f"{tap.mono_ms / 1000:.6f}",
        id=PREFIX + tap.key,
    )


def server_us(tap: Tap) -> int:
    """When it was tapped, by the server's clock, in microseconds since 1970."""
    return round((tap.wall_ms + tap.offset_ms) * 1000)


def same(row: Row, tap: Tap, page: str) -> bool:
    """True if a row is what a tap says; the run and the measured offset of the clocks may be others."""
    found = _CLOCK.search(row.note)
    time_us = parse_time_us(row.time, None)
    if found is None or time_us is None:
        return False
    told = (row.kind, row.subject, row.value, row.unit, row.note[: found.start()], row.span_s)
    if told != (*tap.reading[:4], tap.reading.note, tap.reading.span_s):
        return False
    wall_ms = time_us / 1000 - int(found[1])
    here = row.run.rpartition(".")[2] == page and row.elapsed_s == f"{tap.mono_ms / 1000:.6f}"
    return here and abs(wall_ms - tap.wall_ms) <= 1.0


class Taps:
    """Takes taps for one run of a recorder. May be used from any thread.

    `rows`: what is in the job already.
    """

    def __init__(self, desk: Desk, writer: Writer, clock: Clock, rows: Iterable[Row]) -> None:
        self._desk, self._writer, self._clock = desk, writer, clock
        self._lock = threading.Lock()
        self._known = {row.id: row for row in rows if row.id.startswith(PREFIX)}
        self._waiting: dict[str, _Waiting] = {}

    def take(self, page: object, taps: Sequence[object], wait_s: float = COMMIT_WAIT_S) -> Answer:
        """Apply taps and wait for their commit. Raises NotATap if the whole is not in order; none is applied then.

        A tap that could not be committed in time is in no list of the answer. Raises the error that ended the writer.
        """
        prefix = page_of(page)
        if not 1 <= len(taps) <= MOST_TAPS:
            raise NotATap(f"between 1 and {MOST_TAPS} taps are taken at a time")
        keys = [key_of(value) for value in taps]
        answer, waiting = Answer(), {}
        with self._lock:
            fresh: list[Row] = []
            for key, value in zip(keys, taps, strict=True):
                assert isinstance(value, dict)
                self._sort(key, value, prefix, answer, fresh)
            self._hand_over(fresh)
            accounted = {*answer.saved, *answer.conflict, *(one["key"] for one in answer.refused)}
            for key in keys:
                if PREFIX + key in self._waiting and key not in accounted:
                    waiting[key] = self._waiting[PREFIX + key].done
        until = monotonic() + wait_s
        for key, done in waiting.items():
            if done.wait(max(0.0, until - monotonic())):
                answer.saved.append(key)
        return answer

    def _sort(self, key: str, value: Mapping[str, Any], page: str, answer: Answer, fresh: list[Row]) -> None:
        """What is to become of one tap: known, waiting, refused, or one of the fresh rows."""
        identifier = PREFIX + key
        before = self._known.get(identifier)
        held = self._waiting.get(identifier)
        there = before or (held.row if held else next((row for row in fresh if row.id == identifier), None))
        try:
            tap = tap_of(value)
        except NotATap as trouble:
            if there is None:
                answer.refuse(key, str(trouble))
            elif key not in answer.conflict:
                answer.conflict.append(key)
            return
        if there is not None:
            if not same(there, tap, page):
                answer.conflict.append(key)
            elif before and key not in answer.saved:
                answer.saved.append(key)
            return
        row = self._row(tap, page)
        if isinstance(row, str):
            answer.refuse(key, row)
        else:
            fresh.append(row)

    def _row(self, tap: Tap, page: str) -> Row | str:
        now_us = self._clock.now().wall_ns // 1000
        ahead_s = (server_us(tap) - now_us) / 1e6
        if ahead_s > AHEAD_S:
            return tell(
                "its time lies {ahead:.0f} s ahead of this computer's clock; one of the two clocks is wrong",
                ahead=ahead_s,
            )
        if ahead_s < -BEHIND_S:
            return tell("its time lies more than 7 days back; one of the two clocks is wrong")
        reading = reading_of(tap, self._desk.run, page)
        return self._desk.given(SOURCE, reading, Moment(server_us(tap) * 1000, 0))

    def _hand_over(self, fresh: Sequence[Row]) -> None:
        """Give fresh rows to the writer; if it has no room they were never there, and are to be sent again."""
        if not fresh:
            return
        done = threading.Event()
        for row in fresh:
            self._waiting[row.id] = _Waiting(row, done)

        def committed() -> None:
            with self._lock:
                for row in fresh:
                    self._known[row.id] = row
                    self._waiting.pop(row.id, None)
            done.set()

        taken = False
        try:
            taken = self._writer.put(Batch(tuple(fresh), (), committed, urgent=True), 0.0)
        finally:
            if not taken:
                for row in fresh:
                    self._waiting.pop(row.id, None)
                self._desk.not_kept(fresh)
