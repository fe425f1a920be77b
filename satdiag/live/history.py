"""The levels of the last half hour, path by path, thinned to what a small figure can show; in bounded memory.

Time is cut into buckets of 3 s, at most 600 of them a path. A bucket keeps its readings as numbers, so that one that
was entered in error can be taken out again; of more than `MOST_IN_BUCKET` (85 a second) every second is kept, then
every fourth, and so on. 50 rows a second for half an hour come to 2 MB a path (measured).
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator
from time import time_ns
from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag.rows import Row, parse_number, parse_time_us
from satdiag.vocabulary import UNREADABLE

if TYPE_CHECKING:
    from datetime import timezone

WINDOW_S = 1800
BUCKET_S = 3
MOST_POINTS = WINDOW_S // BUCKET_S
MOST_IN_BUCKET = 256
MOST_PATHS = 24
HOLE_S = 60
"""A line between two readings further apart than this would tell of what nobody has read."""

AHEAD_US = 60_000_000
_BUCKET_US = BUCKET_S * 1_000_000


class Point(NamedTuple):
    """One bucket: its middle in seconds before the end, and its readings; None where they were unreadable."""

    at_s: float
    low: float | None
    median: float | None
    high: float | None


class _Bucket:
    """The readings of 3 s. Ids are kept as their hashes: 64 bits tell 100,000 ids apart."""

    __slots__ = ("_ids", "_numbers", "_point", "_seen", "_step", "unreadable")

    def __init__(self) -> None:
        self._numbers, self._ids = array("d"), array("q")
        self._seen, self._step = 0, 1
        self._point: tuple[float, float, float] | None = None
        self.unreadable: set[int] = set()

    def add(self, number: float | None, identifier: int) -> None:
        if number is None:
            if len(self.unreadable) < MOST_IN_BUCKET:
                self.unreadable.add(identifier)
            return
        self._seen += 1
        if (self._seen - 1) % self._step:
            return
        self._numbers.append(number)
        self._ids.append(identifier)
        self._point = None
        if len(self._numbers) > MOST_IN_BUCKET:
            self._numbers, self._ids = self._numbers[::2], self._ids[::2]
            self._step *= 2

    def drop(self, identifier: int) -> None:
        self.unreadable.discard(identifier)
        if identifier in self._ids:
            place = self._ids.index(identifier)
            del self._ids[place], self._numbers[place]
            self._point = None

    @property
    def numbers(self) -> array[float]:
        return self._numbers

    def point(self) -> tuple[float, float, float] | None:
        """Least, median and greatest reading; None without any."""
        if self._point is None and self._numbers:
            self._point = _spread(self._numbers)
        return self._point


def _spread(numbers: array[float]) -> tuple[float, float, float]:
    ordered = sorted(numbers)
    half = len(ordered) // 2
    middle = ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2
    return ordered[0], middle, ordered[-1]


class _Path:
    """One path in one unit."""

    def __init__(self, unit: str) -> None:
        self.unit = unit
        self.buckets: dict[int, _Bucket] = {}


class History:
    """Takes rows in the order in which they were committed. Not for several threads at once.

    The half hour ends at the latest level that was read; what is older when it comes is left out. Where that latest
    one lies ahead of the clock (`now_us`: microseconds since 1970), it is of another day, and is left out instead.
    """

    def __init__(self, naive: timezone | None, now_us: Callable[[], int] = lambda: time_ns() // 1000) -> None:
        self._naive, self._now_us = naive, now_us
        self._paths: dict[str, _Path] = {}
        self._newest_us: int | None = None

    def take(self, rows: Iterable[Row]) -> None:
        """Rows that were committed."""
        for row in rows:
            if row.kind == "signal":
                self._add(row)
            elif row.kind == "withdraw":
                for path in self._paths.values():
                    for bucket in path.buckets.values():
                        bucket.drop(hash(row.value))

    def _add(self, row: Row) -> None:
        time_us, number = parse_time_us(row.time, self._naive), parse_number(row.value)
        if time_us is None or (number is None and row.value != UNREADABLE):
            return
        place = time_us // _BUCKET_US
        newest = place if self._newest_us is None else self._newest_us // _BUCKET_US
        if place <= newest - MOST_POINTS:
            if (self._newest_us or 0) <= self._now_us() + AHEAD_US:
                return
            self._paths, self._newest_us, newest = {}, None, place
        path = self._path(row)
        if path is None:
            return
        if place not in path.buckets:
            path.buckets[place] = _Bucket()
        path.buckets[place].add(number, hash(row.id))
        if self._newest_us is None or time_us > self._newest_us:
            self._newest_us = time_us
            if place > newest:
                self._forget(place - MOST_POINTS)

    def _path(self, row: Row) -> _Path | None:
        """The path of a row; None if there are too many. Another unit begins it anew."""
        path = self._paths.get(row.subject)
        if path is None and len(self._paths) >= MOST_PATHS:
            return None
        if path is None or (row.unit and path.unit and row.unit != path.unit):
            path = self._paths[row.subject] = _Path(row.unit)
        path.unit = path.unit or row.unit
        return path

    def _forget(self, last: int) -> None:
        for name, path in list(self._paths.items()):
            for place in [place for place in path.buckets if place <= last]:
                del path.buckets[place]
            if not path.buckets:
                del self._paths[name]

    def to_dict(self, now_us: int) -> dict[str, Any]:
        """For the page: `end` is 'now', or 'newest' where the latest level is not of this half hour.

        Each path has its unit, its points as lists (`at_s` 0 or below, counted from the end; None in the others is a
        gap), and the `spread` of all its readings: least, median, greatest, number of readings.
        """
        newest_us = self._newest_us
        is_now = newest_us is None or abs(now_us - newest_us) < WINDOW_S * 1_000_000
        end_us = now_us if is_now or newest_us is None else newest_us
        end_us = end_us if newest_us is None else max(end_us, newest_us)
        paths = [self._told(name, path, end_us) for name, path in sorted(self._paths.items())]
        return {"end": "now" if is_now else "newest", "window_s": WINDOW_S, "paths": [one for one in paths if one]}

    def _told(self, name: str, path: _Path, end_us: int) -> dict[str, Any] | None:
        first = (end_us - WINDOW_S * 1_000_000) // _BUCKET_US
        shown = {place: path.buckets[place] for place in sorted(path.buckets) if place > first}
        points = list(_points(shown, end_us))
        if not points:
            return None
        numbers = array("d")
        for bucket in shown.values():
            numbers.extend(bucket.numbers)
        return {
            "path": name,
            "unit": path.unit,
            "at_s": [point.at_s for point in points],
            "low": [point.low for point in points],
            "median": [point.median for point in points],
            "high": [point.high for point in points],
            "spread": [*_spread_of_many(numbers), len(numbers)] if numbers else None,
        }


def _points(buckets: dict[int, _Bucket], end_us: int) -> Iterator[Point]:
    """The points of buckets in order of time, with a gap where nothing was read, or nothing readable."""
    before: int | None = None
    for place, bucket in buckets.items():
        found = bucket.point()
        if found is None and not bucket.unreadable:
            continue
        at_s = min(0.0, round((place * _BUCKET_US + _BUCKET_US // 2 - end_us) / 1e6, 1))
        if before is not None and (place - before) * BUCKET_S > HOLE_S:
            yield Point(at_s - BUCKET_S / 2, None, None, None)
        before = place
        yield Point(at_s, *(found or (None, None, None)))


def _spread_of_many(numbers: array[float]) -> tuple[float, float, float]:
    import numpy as np

    values = np.frombuffer(numbers)
    return float(values.min()), float(np.median(values)), float(values.max())
