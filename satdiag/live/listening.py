"""Whether the receiver listens just now, so that waits count: from the latest rows, as the exposure clock has it.

The exposure clock itself tells it in retrospect only: it counts between two proofs. Here the latest word counts: the
last proof of awake and of receiving holds on for the clock's own hold times, unless something contrary came later.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from satdiag.language import mark, translated
from satdiag.recorder.proofs import Item, Word, word_of
from satdiag.rows import Row, parse_time_us
from satdiag.sheet import Sheet
from satdiag.vocabulary import AWAKE_HOLD_S, RECEIVED_HOLD_S

REMEMBERED = 8
"""So many of the latest rows that speak of the same are remembered, in case the last of them are withdrawn."""

AHEAD_US = 60_000_000
"""A row whose time lies further ahead of the clock says nothing of now: one of the two clocks is wrong."""

ASLEEP = mark("The receiver is off or on standby.")
NO_SIGNAL = mark("The receiver has no signal.")
UNKNOWN = mark("Nothing tells whether the receiver is awake with signal just now.")

_KINDS = ("power", "lock", "signal", "channel", "tune", "audio", "gap", "swap")
_HEARD = (("channel", "authorised"), ("tune", "audio"), ("audio", ""))
"""What proves that something was received, where no row speaks of the paths together."""


class Running(NamedTuple):
    """Whether waits count now (None: unknown), and why not in a sentence, blank if they do."""

    running: bool | None
    running_why: str


class _Said(NamedTuple):
    """What a row says, and when; `at` sorts by time and then in the order of the log."""

    at: tuple[int, int]
    word: Word


class Listening:
    """Takes rows in the order in which they were committed. Not for several threads at once."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self._n = 0
        self._items: dict[tuple[str, str, str], tuple[Item, ...]] = {}

    def take(self, rows: Iterable[Row]) -> None:
        """Rows that were committed."""
        for row in rows:
            self._n += 1
            if row.kind == "withdraw":
                self._withdraw(row.value)
            elif row.kind in _KINDS:
                self._see(row)

    def _see(self, row: Row) -> None:
        time_us = parse_time_us(row.time, self.sheet.naive_times)
        if time_us is None:
            return
        item = Item(self._n, "", time_us, *row[1:6], row.span_s, row.id)
        by_value = "" if row.kind in ("lock", "signal", "power") else row.value
        key = (row.kind, row.subject if row.kind in ("lock", "signal", "swap") else "", by_value)
        self._items[key] = (*self._items.get(key, ()), item)[-REMEMBERED:]

    def _withdraw(self, identifier: str) -> None:
        for key, items in self._items.items():
            self._items[key] = tuple(item for item in items if item.id != identifier)

    def now(self, now_us: int) -> Running:
        """Whether it listens; `now_us`: microseconds since 1970."""
        said = [one for one in self._said() if one.at[0] <= now_us + AHEAD_US]
        swapped = _latest(one for one in said if one.word.stream[0] == "swap")
        said = [one for one in said if one.at > swapped]
        ended = _latest(one for one in said if one.word.role == "turn")
        off = _latest(one for one in said if one.word.role == "off")
        awake = _latest(one for one in said if one.word.role in ("awake", "received"))
        if off > awake:
            return Running(False, translated(ASLEEP))
        paths = _paths(said)
        received = _latest(one for one in _proofs_of_receiving(said, paths) if one.at > ended)
        nowhere = _latest(one for one in paths.values() if one.word.role == "nowhere")
        if nowhere > received or (paths and _is_denied(paths)):
            return Running(False, translated(NO_SIGNAL))
        is_awake = awake > ended and now_us - awake[0] <= AWAKE_HOLD_S * 1e6
        is_received = not paths or now_us - received[0] <= RECEIVED_HOLD_S * 1e6
        return Running(True, "") if is_awake and is_received else Running(None, translated(UNKNOWN))

    def _said(self) -> Iterator[_Said]:
        for items in self._items.values():
            for item in items:
                word = word_of(item, self.sheet.receiver)
                if word is not None:
                    yield _Said((item.t_us, item.n), word)


_NEVER = (-(10**18), 0)


def _latest(said: Iterable[_Said]) -> tuple[int, int]:
    return max((one.at for one in said), default=_NEVER)


def _paths(said: list[_Said]) -> dict[str, _Said]:
    """The last word on each path: of its lock, without any of its level."""
    found: dict[str, _Said] = {}
    for kind in ("signal", "lock"):
        last: dict[str, _Said] = {}
        for one in sorted(said, key=lambda one: one.at):
            if one.word.stream[0] == kind:
                last[one.word.stream[1]] = one
        found |= last
    return found


def _proofs_of_receiving(said: list[_Said], paths: dict[str, _Said]) -> Iterator[_Said]:
    yield from (one for one in paths.values() if one.word.role == "received")
    if "any" not in paths:
        yield from (one for one in said if one.word.stream in _HEARD)


def _is_denied(paths: dict[str, _Said]) -> bool:
    """True if the satellites and the repeater are denied. One named satellite says nothing of the others."""
    said = {name: one.word.says == "yes" for name, one in paths.items()}
    named = [yes for name, yes in said.items() if name.startswith("satellite:")]
    no_satellite = said.get("satellite") is False or len(named) > 1
    return no_satellite and not any(said.values()) and said.get("repeater") is False
