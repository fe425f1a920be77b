"""What was last seen of each channel and of each level, while the log grows."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

REMEMBERED = 8
"""So many of the latest rows of a channel or path are remembered, in case the last of them are withdrawn."""


class ChannelCounts(NamedTuple):
    """How many channels were last seen authorised, refused, and neither (missing, no signal, not judged)."""

    authorised: int
    refused: int
    other: int


class Level(NamedTuple):
    """The latest level of a path, as written. `run` and `elapsed_s` are blank for a row of no recorder run."""

    path: str
    value: str
    unit: str
    time: str
    run: str = ""
    elapsed_s: str = ""


class _Check(NamedTuple):
    n: int
    id: str
    value: str


class LastSeen:
    """Takes rows in the order in which they were seen; the last word on each channel and path counts.

    A swapped receiver begins anew: its channels are known, their states are not.
    """

    def __init__(self) -> None:
        self._n = 0
        self._swaps: tuple[_Check, ...] = ()
        self._channels: dict[str, tuple[_Check, ...]] = {}
        self._levels: dict[str, tuple[tuple[str, Level], ...]] = {}

    def copy(self) -> LastSeen:
        """The same as it is now, which later rows do not change."""
        twin = LastSeen()
        twin._n, twin._swaps = self._n, self._swaps
        twin._channels, twin._levels = dict(self._channels), dict(self._levels)
        return twin

    def pass_over(self, count: int) -> None:
        """Count rows of which nothing is remembered, as later ones say the same."""
        self._n += count

    def see(self, kind: str, level: Level, identifier: str) -> None:
        """A row of a kind; `level` holds its subject, value, unit and time."""
        self._n += 1
        check = _Check(self._n, identifier, level.value)
        if kind == "signal":
            levels = (*self._levels.get(level.path, ()), (identifier, level))
            self._levels[level.path] = levels[-REMEMBERED:]
        elif kind in ("channel", "tune"):
            self._see_channel(level.path, check._replace(value=verdict(kind, level.value)))
        elif (kind, level.path) == ("swap", "receiver") and level.value != "unreadable":
            self._swaps = (*self._swaps, check)[-REMEMBERED:]

    def _see_channel(self, channel: str, check: _Check) -> None:
        before = self._channels.get(channel, ())
        if check.value or not before:
            self._channels[channel] = (*before, check)[-REMEMBERED:]

    def withdraw(self, identifier: str) -> None:
        """The row with this id was entered in error."""
        for channel, checks in list(self._channels.items()):
            kept = tuple(check for check in checks if check.id != identifier)
            if kept:
                self._channels[channel] = kept
            else:
                del self._channels[channel]
        self._swaps = tuple(swap for swap in self._swaps if swap.id != identifier)
        for path, levels in list(self._levels.items()):
            self._levels[path] = tuple(pair for pair in levels if pair[0] != identifier)

    def channels(self) -> ChannelCounts:
        """The channels by the state each was last seen in."""
        era = self._swaps[-1].n if self._swaps else 0
        last = [checks[-1].value if checks[-1].n > era else "" for checks in self._channels.values()]
        counts = Counter(last)
        authorised, refused = counts["authorised"], counts["refused"]
        return ChannelCounts(authorised, refused, len(last) - authorised - refused)

    def levels(self) -> tuple[Level, ...]:
        """The latest level of every path, by path."""
        return tuple(levels[-1][1] for _, levels in sorted(self._levels.items()) if levels)


def verdict(kind: str, value: str) -> str:
    """What a row says of a channel's state; blank if it judges nothing."""
    if kind == "tune":
        return {"refused": "refused", "audio": "authorised"}.get(value, "")
    return value if value in ("authorised", "refused", "missing") else ""
