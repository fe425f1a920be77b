"""What was worked out lately, kept so that the same is not worked out again: bounded, and safe among threads.

A live page analyses its job again and again while the record of navigation satellites stays the same or only grows.
Keys are the identity of what a result is made from (the SHA-256 of documents, and the rest of what goes in), so a
result can never be out of date.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

Result = TypeVar("Result")


class Memory(Generic[Result]):
    """At most `most` results, and together no heavier than `heaviest`; the one not asked for longest goes first."""

    def __init__(self, most: int, heaviest: float) -> None:
        self._most, self._heaviest = most, heaviest
        self._lock = Lock()
        self._kept: OrderedDict[Hashable, tuple[Result, float]] = OrderedDict()

    def recall(self, key: Hashable) -> Result | None:
        """What is kept under a key, or None."""
        with self._lock:
            if key not in self._kept:
                return None
            self._kept.move_to_end(key)
            return self._kept[key][0]

    def keep(self, key: Hashable, result: Result, weight: float = 0.0) -> None:
        """Keep a result; what is heavier than all that may be kept is not."""
        with self._lock:
            self._kept.pop(key, None)
            if weight > self._heaviest:
                return
            self._kept[key] = (result, weight)
            while len(self._kept) > self._most or self._weight() > self._heaviest:
                self._kept.popitem(last=False)

    def made(self, key: Hashable, make: Callable[[], Result], weight: float = 0.0) -> Result:
        """What is kept under a key; else it is made now and kept. Two threads at once may both make it."""
        found = self.recall(key)
        if found is None:
            found = make()
            self.keep(key, found, weight)
        return found

    def forget(self) -> None:
        """Keep nothing of what was kept."""
        with self._lock:
            self._kept.clear()

    def _weight(self) -> float:
        return sum(weight for _, weight in self._kept.values())

    def __len__(self) -> int:
        with self._lock:
            return len(self._kept)
