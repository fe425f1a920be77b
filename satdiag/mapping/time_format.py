"""How a foreign log writes its times: a pattern of directives becomes a strict regular expression.

The directives are those of strftime in ISO C, as far as they leave no doubt. `datetime.strptime` is not used: it
takes digits of every script, tells months by the language of the computer, and splits '140' into hours and minutes
at will.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import NamedTuple

from satdiag.errors import shown
from satdiag.rows import parse_offset

NAMED = ("iso", "unix-s", "unix-ms")
UNIX_YEARS = (1990, 2099)

# Numbers: the expression where the directive stands free, and where it touches another number.
_NUMBERS = dict.fromkeys("mdHIMS", (r"\d{1,2}", r"\d{2}")) | {"Y": (r"\d{4}",) * 2, "y": (r"\d{2}",) * 2}
_WORDS = {
    "f": r"\d{1,9}",
    "b": "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec",
    "B": "january|february|march|april|may|june|july|august|september|october|november|december",
    "p": "AM|PM",
    "z": r"Z|[+-]\d{2}:?\d{2}",
}
_NEEDED = (("Yy", "year"), ("mbB", "month"), ("d", "day"), ("HI", "hour"), ("M", "minute"))
_ISO = re.compile(
    r"(?P<Y>\d{4})-(?P<m>\d{2})-(?P<d>\d{2})[T ](?P<H>\d{2}):(?P<M>\d{2})"
    r"(?::(?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?)?(?P<z>Z|[+-]\d{2}:?\d{2})?",
    re.ASCII,
)
_UNIX = re.compile(r"\d{1,16}(?:[.,]\d{1,9})?", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Stamp(NamedTuple):
    """A time as it was written: its clock reading, and the offset that stood beside it, if one did."""

    clock: datetime
    offset: timezone | None


StampReader = Callable[[str], Stamp]
"""Reads a text as a time. Raises ValueError saying what is wrong with it."""


def format_trouble(pattern: str) -> str | None:
    """What is wrong with a format, or None."""
    if pattern in NAMED:
        return None
    tokens = _tokens(pattern)
    marks = [token[1:] for token in tokens if token.startswith("%") and token != "%%"]
    unknown = [mark for mark in marks if mark not in _NUMBERS and mark not in _WORDS]
    if unknown:
        known = " ".join(f"%{mark}" for mark in (*_NUMBERS, *_WORDS, "%"))
        return f"holds %{shown(unknown[0])}; known are {known}, or one of {', '.join(NAMED)}"
    for choices, what in _NEEDED:
        if sum(mark in choices for mark in marks) != 1:
            return f"must name the {what} once ({' or '.join('%' + mark for mark in choices)})"
    if any(marks.count(mark) > 1 for mark in "Sfpz"):
        return "names a directive twice"
    if ("I" in marks) != ("p" in marks):
        return "needs %I and %p together: a 12-hour clock leaves a doubt without AM or PM"
    if "f" in marks and tokens.index("%f") != _after_mark(tokens):
        return "may hold %f only right after %S, or after %S and one mark such as '.'"
    return None


def _tokens(pattern: str) -> list[str]:
    return re.findall(r"%[\s\S]?|[^%]+", pattern)


def _after_mark(tokens: list[str]) -> int:
    """Where %f may stand: after %S, with at most one mark between and no number behind it; -1 if nowhere."""
    if "%S" not in tokens:
        return -1
    at = tokens.index("%S") + 1
    at += at < len(tokens) and len(tokens[at]) == 1
    following = tokens[at + 1] if at + 1 < len(tokens) else ""
    return -1 if following[1:] in _NUMBERS and following.startswith("%") else at


def has_offset(pattern: str) -> bool | None:
    """True if a time in this format always says its offset, False if it never does, None if it may."""
    return None if pattern == "iso" else pattern.startswith("unix-") or "%z" in _tokens(pattern)


def stamp_reader(pattern: str) -> StampReader:
    """What reads times of a format without trouble."""
    if pattern == "iso":
        return lambda text: _stamp(_ISO.fullmatch(text), pattern)
    if pattern.startswith("unix-"):
        ticks_per_s = 1000 if pattern == "unix-ms" else 1
        return lambda text: _unix(text, ticks_per_s)
    compiled = re.compile(_expression(_tokens(pattern)), re.ASCII | re.IGNORECASE)
    return lambda text: _stamp(compiled.fullmatch(text), pattern)


def _expression(tokens: list[str]) -> str:
    """The regular expression of a format; a fraction of a second may be missing together with the mark before it."""
    number = [token[1:] in _NUMBERS and token.startswith("%") for token in tokens]
    parts: list[str] = []
    for at, token in enumerate(tokens):
        mark = token[1:]
        if token == "%%" or not token.startswith("%"):
            parts.append(re.sub(r"(\\? )+", " +", re.escape("%" if token == "%%" else token)))
        elif number[at]:
            touches = (at > 0 and number[at - 1]) or (
                at + 1 < len(tokens) and (number[at + 1] or tokens[at + 1] == "%f")
            )
            parts.append(f"(?P<{mark}>{_NUMBERS[mark][touches]})")
        elif mark == "f" and not number[at - 1]:
            parts[-1] = f"(?:{parts[-1]}(?P<f>{_WORDS[mark]}))?"
        else:
            parts.append(f"(?P<{mark}>{_WORDS[mark]})")
    return "".join(parts)


def _stamp(found: re.Match[str] | None, pattern: str) -> Stamp:
    if found is None:
        raise ValueError(f"is not a time in the format '{pattern}'")
    part = {mark: text for mark, text in found.groupdict().items() if text is not None}
    micro = int(part.get("f", "0")[:6].ljust(6, "0"))
    try:
        clock = datetime(
            _year(part), _month(part), int(part["d"]), _hour(part), int(part["M"]), int(part.get("S", 0)), micro
        )
    except ValueError as error:
        raise ValueError(f"is no time that there is ({error})") from None
    return Stamp(clock, _offset(part["z"]) if "z" in part else None)


def _year(part: dict[str, str]) -> int:
    if "Y" in part:
        return int(part["Y"])
    short = int(part["y"])  # 69..99 are 1969..1999, 00..68 are 2000..2068 (POSIX strptime)
    return short + (1900 if short >= 69 else 2000)


def _month(part: dict[str, str]) -> int:
    if "m" in part:
        return int(part["m"])
    return _WORDS["b"].split("|").index((part.get("b") or part["B"]).lower()[:3]) + 1


def _hour(part: dict[str, str]) -> int:
    if "H" in part:
        return int(part["H"])
    hour = int(part["I"])
    if not 1 <= hour <= 12:
        raise ValueError("hour must be in 1..12")
    return hour % 12 + (12 if part["p"].lower() == "pm" else 0)


def _offset(text: str) -> timezone:
    offset = parse_offset(text if text in "Zz" or ":" in text else f"{text[:3]}:{text[3:]}")
    if offset is None:
        raise ValueError(f"holds '{text}', which is no offset")
    return offset


def _unix(text: str, ticks_per_s: int) -> Stamp:
    """Seconds or milliseconds since 1970 UTC (POSIX.1-2017, 4.16); a strange year tells of another unit."""
    if not _UNIX.fullmatch(text):
        raise ValueError("is not a number of seconds or milliseconds since 1970")
    micro = int(Decimal(text.replace(",", ".")) * (1_000_000 // ticks_per_s))
    try:
        moment = _EPOCH + timedelta(microseconds=micro)
    except OverflowError:
        moment = datetime.max.replace(tzinfo=UTC)
    if not UNIX_YEARS[0] <= moment.year <= UNIX_YEARS[1]:
        other = "unix-s" if ticks_per_s == 1000 else "unix-ms"
        raise ValueError(f"would be in the year {moment.year}; is it {other}?")
    return Stamp(moment.replace(tzinfo=None), UTC)
