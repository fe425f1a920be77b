"""What the page is told of the channels: each of them, or, where there are thousands, counts and a part."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

from satdiag.live.roll import AT_ONCE, PART, WHOLE, Ask, Roll
from satdiag.live.state import Chance, Expectation, LogView, channel_list, told_of

_MOST = {"most": PART, "at_once": AT_ONCE}


def roll_of(expectation: Expectation) -> Roll | None:
    """The roll of a line-up that is not sent whole; it takes seconds for a million channels."""
    return Roll(expectation) if len(expectation.lineup) > WHOLE else None


class Channels:
    """The channels of a line-up and of a log that grows. May be used from any thread.

    `lock` is held while rows are taken in, and never here for longer than it takes to look up some channels. It comes
    after the lock of the roll.
    """

    def __init__(self, view: LogView, expectation: Expectation, roll: Roll | None, lock: threading.Lock) -> None:
        self._view, self._lock = view, lock
        self._roll_lock = threading.Lock()
        self._version = 0
        self._counted: Roll | None = None
        self.renew(expectation, roll)

    def renew(self, expectation: Expectation, roll: Roll | None) -> None:
        """Go by another line-up; `roll` is its `roll_of`. Called by who holds `lock`."""
        self.expectation, self._roll = expectation, roll
        self._view.touch_all()

    def whole(self, chances: Mapping[int, Chance], now_us: int) -> list[dict[str, Any]]:
        """All channels; none where there are too many. Called by who holds `lock`."""
        if self._view.is_many(self.expectation.lineup, WHOLE):
            return []
        return channel_list(self._view, self.expectation, chances, now_us)

    def counts(self) -> dict[str, int] | None:
        """What is counted over all where there are too many to be told; None where there are not.

        `version`: another one whenever something that a part tells has changed.
        """
        with self._roll_lock:
            roll = self._caught_up()
            return None if roll is None else {**roll.tally._asdict(), "version": self._version}

    def part(self, ask: Ask, chances: Mapping[int, Chance], now_us: int) -> dict[str, Any]:
        """The channels that are asked for, their categories, what is counted; none where all are told anyway."""
        with self._roll_lock:
            roll = self._caught_up()
            if roll is None:
                return {"wide": None, "channels": [], "groups": [], "first": 0, "found": 0, **_MOST}
            part = roll.part(ask)
            groups = [group._asdict() for group in roll.groups(part.numbers)]
            counts = {**roll.tally._asdict(), "version": self._version}
            with self._lock:
                seen = {number: self._view.checks_of(number) for number in part.numbers}
            expectation = self.expectation
        channels = [told_of(number, checks, expectation, chances, now_us) for number, checks in seen.items()]
        more = {"first": part.first, "found": part.found}
        return {"wide": counts, "channels": channels, "groups": groups, **more, **_MOST}

    def numbers(self, low: int | None, high: int | None, category: str | None) -> dict[str, Any]:
        """The numbers of channels between two, both among them; None: the least or greatest there is.

        Of more than `AT_ONCE` channels none are told.
        """
        with self._roll_lock:
            roll = self._caught_up()
            if roll is None:
                return {"numbers": [], "count": 0, "from": low, "to": high, "most": AT_ONCE}
            least, greatest = roll.ends
            low, high = least if low is None else low, greatest if high is None else high
            numbers, count = roll.between(low, high, category)
        return {
            "numbers": numbers if count <= AT_ONCE else [],
            "count": count,
            "from": low,
            "to": high,
            "most": AT_ONCE,
        }

    def _caught_up(self) -> Roll | None:
        """The roll with all that was taken in; None where all channels are told."""
        with self._lock:
            view, expectation = self._view, self.expectation
            if not view.is_many(expectation.lineup, WHOLE):
                return None
            roll = self._roll
        if roll is None:
            roll = Roll(expectation)
        with self._lock:
            if expectation is not self.expectation:
                return None  # another line-up has just come: it is asked again
            if self._roll is None:
                view.touch_all()
            self._roll = roll
            touched, view.touched = view.touched, set()
            checks = {number: view.checks_of(number) for number in touched}
        if checks or roll is not self._counted:
            self._version, self._counted = self._version + 1, roll
            roll.see(checks)
        return roll
