"""The channels where there are thousands: kept as arrays, of which the page is told the part that it shows.

A line-up of usual size is sent whole (`state.channel_list`). Above `WHOLE` channels a page asks for a part of them,
found by words, category and state; what is counted is counted over all.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from satdiag.live.state import STATES, Check, Expectation

if TYPE_CHECKING:
    from numpy.typing import NDArray

WHOLE = 600
"""Up to so many channels the page has all of them."""

PART = 100
"""So many are shown at once, of more than `WHOLE`."""

AT_ONCE = 500
"""So many are marked by one touch; the recorder's line takes as many."""

SHOWS = ("all", "unchecked", "changed", "expected", *STATES)
"""What the channels may be sifted by."""

KEPT_SEARCHES = 4
_CODES = {state: code for code, state in enumerate(STATES, 1)}
_UNSEEN = 0
_STATES = len(STATES) + 1


class Ask(NamedTuple):
    """Which channels a page asks for: that hold `words`, of a category (None: of any), sifted by one of `SHOWS`.

    `first` counts those that are found, from 0.
    """

    words: str = ""
    show: str = "all"
    category: str | None = None
    first: int = 0


class Part(NamedTuple):
    """The part of what was found that begins at `first`: numbers of channels; how many were found in all."""

    numbers: list[int]
    first: int
    found: int


class Tally(NamedTuple):
    """How many channels there are, play, and were not checked."""

    channels: int
    plays: int
    due: int


class Group(NamedTuple):
    """A category: how many channels it has, and how many of them play."""

    category: str
    channels: int
    plays: int


class Roll:
    """Channels by category and number; those without a category come last. Not for several threads at once."""

    def __init__(self, expectation: Expectation) -> None:
        lines = sorted(expectation.lineup.values(), key=lambda line: line.channel)
        names = dict.fromkeys(line.category for line in lines if line.category)
        self._names = [*names, ""]
        self._last = len(names)
        self._code_of = {name: code for code, name in enumerate(self._names)}
        codes = np.fromiter((self._code_of[line.category] for line in lines), np.int32, len(lines))
        order = np.argsort(codes, kind="stable")
        self._codes = codes[order]
        self._numbers = np.fromiter((line.channel for line in lines), np.int64, len(lines))[order]
        self._texts = [_text(line.channel, line.name, line.category) for line in (lines[at] for at in order)]
        expected = expectation.expected
        self._expected = np.fromiter((expected.get(n) is True for n in self._numbers.tolist()), np.bool_, len(lines))
        self._states, self._before = np.zeros(len(lines), np.int8), np.zeros(len(lines), np.int8)
        self._index()

    def see(self, checks: Mapping[int, Sequence[Check]]) -> None:
        """The latest checks of channels of which something new is known; other channels stay as they are."""
        if not checks:
            return
        numbers = np.fromiter(checks, np.int64, len(checks))
        fresh = numbers[~self._is_there(numbers)]
        if len(fresh):
            self._add(np.sort(fresh))
        seen = np.array([_codes(one) for one in checks.values()], np.int8)
        places = self._places(numbers)
        self._states[places], self._before[places] = seen[:, 0], seen[:, 1]
        self._count()

    # --- what is told ----------------------------------------------------------------------------------------------

    @property
    def tally(self) -> Tally:
        """What is counted over all."""
        unseen, plays = int(self._counts[:, _UNSEEN].sum()), int(self._plays.sum())
        return Tally(len(self._numbers), plays, unseen)

    def groups(self, numbers: Collection[int]) -> list[Group]:
        """The categories of these channels, in their order."""
        if not numbers:
            return []
        codes = dict.fromkeys(self._codes[self._places(np.fromiter(numbers, np.int64))].tolist())
        return [Group(self._names[code], int(self._counts[code].sum()), int(self._plays[code])) for code in codes]

    def part(self, ask: Ask, most: int = PART) -> Part:
        """The channels that are asked for, `most` of them; a channel whose number is `words` itself comes first."""
        found = self._found(ask)
        words = ask.words.strip()
        if words.isascii() and words.isdigit() and len(words) < 9:
            same = self._numbers[found] == int(words)
            found = np.concatenate([found[same], found[~same]])
        first = min(max(ask.first, 0), max(0, len(found) - 1)) // most * most
        return Part(self._numbers[found[first : first + most]].tolist(), first, len(found))

    def between(self, low: int, high: int, category: str | None, most: int = AT_ONCE) -> tuple[list[int], int]:
        """Channels from a number to another, by number: at most `most` of them, and how many there are."""
        within = (self._numbers >= low) & (self._numbers <= high)
        if category is not None:
            within &= self._is_of(category)
        numbers = np.sort(self._numbers[within])
        return numbers[:most].tolist(), len(numbers)

    @property
    def ends(self) -> tuple[int, int]:
        """The least and the greatest number. There is one channel at least."""
        return int(self._sorted[0]), int(self._sorted[-1])

    def _found(self, ask: Ask) -> NDArray[np.intp]:
        keep = np.ones(len(self._numbers), np.bool_)
        if ask.category is not None:
            keep &= self._is_of(ask.category)
        if ask.show in _CODES:
            keep &= self._states == _CODES[ask.show]
        elif ask.show != "all":
            changed = (self._before != _UNSEEN) & (self._states != self._before)
            keep &= {"unchecked": self._states == _UNSEEN, "changed": changed, "expected": self._expected}[ask.show]
        words = ask.words.strip().lower()
        if not words:
            return np.flatnonzero(keep)
        there = self._searched(words)
        return there[keep[there]]

    def _searched(self, words: str) -> NDArray[np.intp]:
        """The places of the channels that hold words; the latest searches are kept, as a page asks again."""
        if words not in self._searches:
            places = [place for place, text in enumerate(self._texts) if words in text]
            self._searches[words] = np.array(places, np.intp)
        self._searches.move_to_end(words)
        while len(self._searches) > KEPT_SEARCHES:
            self._searches.popitem(last=False)
        return self._searches[words]

    def _is_of(self, category: str) -> NDArray[np.bool_]:
        return np.asarray(self._codes == self._code_of.get(category, -1))

    # --- how it is kept --------------------------------------------------------------------------------------------

    def _index(self) -> None:
        """What is worked out from the numbers: to be called when there are others."""
        self._by_number = np.argsort(self._numbers, kind="stable")
        self._sorted = self._numbers[self._by_number]
        self._searches: OrderedDict[str, NDArray[np.intp]] = OrderedDict()
        self._count()

    def _count(self) -> None:
        pairs = np.bincount(
            self._codes.astype(np.intp) * _STATES + self._states, minlength=len(self._names) * _STATES
        )
        self._counts = pairs.reshape(-1, _STATES)
        self._plays = self._counts[:, _CODES["authorised"]]

    def _is_there(self, numbers: NDArray[np.int64]) -> NDArray[np.bool_]:
        if not len(self._sorted):
            return np.zeros(len(numbers), np.bool_)
        at = np.minimum(np.searchsorted(self._sorted, numbers), len(self._sorted) - 1)
        return np.asarray(self._sorted[at] == numbers)

    def _places(self, numbers: NDArray[np.int64]) -> NDArray[np.intp]:
        """Where channels that are there stand."""
        return np.asarray(self._by_number[np.searchsorted(self._sorted, numbers)])

    def _add(self, numbers: NDArray[np.int64]) -> None:
        """Channels that no line-up names, in order: they have no category."""
        tail = int(np.searchsorted(self._codes, self._last))
        at = tail + np.searchsorted(self._numbers[tail:], numbers)
        self._numbers = np.insert(self._numbers, at, numbers)
        self._codes = np.insert(self._codes, at, self._last)
        self._expected = np.insert(self._expected, at, False)
        self._states = np.insert(self._states, at, _UNSEEN)
        self._before = np.insert(self._before, at, _UNSEEN)
        texts, begun = list[str](), tail
        for place, number in zip(at.tolist(), numbers.tolist(), strict=True):
            texts += self._texts[begun:place]
            texts.append(_text(number, "", ""))
            begun = place
        self._texts[tail:] = texts + self._texts[begun:]
        self._index()


def _text(number: int, name: str, category: str) -> str:
    """What words are looked for in, as the page does it where it has all channels."""
    return f"{number} {name} {category}".lower()


def _codes(checks: Sequence[Check]) -> tuple[int, int]:
    """The state that a channel was last seen in, and the one before."""
    last = _CODES[checks[-1].state] if checks else _UNSEEN
    return last, _CODES[checks[-2].state] if len(checks) > 1 else _UNSEEN
