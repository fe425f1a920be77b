"""From a time as a foreign log writes it to a time of the log: ISO 8601 with its offset."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone, tzinfo

from satdiag.mapping.time_format import stamp_reader
from satdiag.rows import parse_offset
from satdiag.sheet import zone_named

TimeReader = Callable[[str], str]
"""Turns a text of the foreign log into a time of the log. Raises ValueError saying what is wrong with it."""


def zone_of(name: str) -> tzinfo:
    """An offset such as -05:00, or an IANA time zone. Raises ValueError."""
    return parse_offset(name) or zone_named(name)


def time_reader(pattern: str, zone: tzinfo | None, fold: str) -> TimeReader:
    """What reads times of a format that were written in a zone; `fold` is 'refuse', 'first' or 'second'."""
    read_stamp = stamp_reader(pattern)

    def read(text: str) -> str:
        clock, offset = read_stamp(text)
        if offset is None and zone is None:
            raise ValueError("says no offset, and the map names no zone")
        return _text(clock, offset if offset is not None else offset_at(clock, zone or UTC, fold))

    return read


def offset_at(clock: datetime, zone: tzinfo, fold: str) -> timezone:
    """The offset of a clock reading in a zone.

    Raises ValueError for a reading that no clock there ever showed, and for one that came twice unless `fold` says
    which is meant: of a reading that came twice the first has the greater offset, of one that was skipped the lesser
    (PEP 495).
    """
    first, second = (clock.replace(tzinfo=zone, fold=number).utcoffset() or timedelta() for number in (0, 1))
    if first < second:
        raise ValueError(f"was skipped there when the clocks went forward ({zone})")
    if first > second and fold == "refuse":
        raise ValueError(f"came twice there, when the clocks went back ({zone})")
    return timezone(second if fold == "second" else first)


def _text(clock: datetime, offset: timezone) -> str:
    """ISO 8601, as many decimals as needed; UTC where the offset has seconds, as local mean times had."""
    seconds = offset.utcoffset(None).total_seconds()
    try:
        moment = clock.replace(tzinfo=UTC) - timedelta(seconds=seconds)
    except OverflowError:
        raise ValueError("is in no year we know") from None
    if seconds == 0 or seconds % 60:
        return _seconds(moment.replace(tzinfo=None)) + "Z"
    sign, minutes = "-" if seconds < 0 else "+", int(abs(seconds)) // 60
    return f"{_seconds(clock)}{sign}{minutes // 60:02d}:{minutes % 60:02d}"


def _seconds(clock: datetime) -> str:
    if clock.microsecond == 0:
        return clock.isoformat(timespec="seconds")
    return clock.isoformat(timespec="microseconds" if clock.microsecond % 1000 else "milliseconds")
