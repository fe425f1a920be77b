"""RMC, GGA, GSA and ZDA sentences: time, position with its standing, and the satellites that were used for it."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from typing import Literal, NamedTuple

from satdiag.gnss.identity import Satellite, satellite_of
from satdiag.gnss.numbers import hex_digit, number, whole
from satdiag.gnss.sentences import Sentence

KNOT_M_S = 1852 / 3600
"""One knot in metres a second (International Hydrographic Conference 1929: the nautical mile is 1852 m)."""

Quality = Literal[
    "unknown", "standard", "differential", "precise", "rtk-fixed", "rtk-float", "estimated", "manual", "simulated"
]
_QUALITIES: tuple[Quality, ...] = (
    "standard",
    "differential",
    "precise",
    "rtk-fixed",
    "rtk-float",
    "estimated",
    "manual",
    "simulated",
)
_MODES: dict[str, Quality] = {
    "A": "standard",
    "D": "differential",
    "P": "precise",
    "R": "rtk-fixed",
    "F": "rtk-float",
    "E": "estimated",
    "M": "manual",
    "S": "simulated",
}
_TIME = re.compile(r"([01][0-9]|2[0-3])([0-5][0-9])([0-5][0-9]|60)(?:\.([0-9]*))?", re.ASCII)
_ANGLE = re.compile(r"([0-9]{1,3})([0-5][0-9](?:\.[0-9]*)?)", re.ASCII)
_FIRST_YEAR, _LAST_YEAR = 1980, 2079


class Position(NamedTuple):
    """A place on WGS84, north and east positive."""

    latitude_deg: float
    longitude_deg: float


class Rmc(NamedTuple):
    """RMC. `valid`: status A and the mode, if there is one, not 'not valid'; None: the status is missing.

    `time_us` is microseconds of the day, UTC. `speed_m_s` and `course_deg` (true) are over ground; a course says
    where the vehicle goes, not where its nose points, and below about 2 m/s it says nothing.
    """

    time_us: int | None
    date: date | None
    valid: bool | None
    position: Position | None
    speed_m_s: float | None
    course_deg: float | None
    quality: Quality


class Gga(NamedTuple):
    """GGA. `valid`: quality 1 to 8; False: 0; None: none of the standard. `height_m` is above mean sea level."""

    time_us: int | None
    valid: bool | None
    position: Position | None
    quality: Quality
    satellites_used: int | None
    hdop: float | None
    height_m: float | None


class Gsa(NamedTuple):
    """GSA: the satellites used for the position; those with a number that means none are left out."""

    used: frozenset[Satellite]


class Zda(NamedTuple):
    """ZDA: time of day in microseconds, and date, UTC."""

    time_us: int | None
    date: date | None


def parse_rmc(sentence: Sentence) -> Rmc | None:
    """An RMC sentence read; None if fields of the standard are missing."""
    fields = sentence.fields
    if len(fields) < 9:
        return None
    mode = fields[11] if len(fields) > 11 else ""
    valid = {"A": mode != "N", "V": False}.get(fields[1])
    speed, course = number(fields[6]), number(fields[7])
    return Rmc(
        time_of_day_us(fields[0]),
        _date_of_digits(fields[8]),
        valid,
        _position(fields[2:6]),
        speed * KNOT_M_S if speed is not None and speed >= 0 else None,
        course % 360 if course is not None and 0 <= course <= 360 else None,
        _MODES.get(mode, "unknown"),
    )


def parse_gga(sentence: Sentence) -> Gga | None:
    """A GGA sentence read; None if fields of the standard are missing."""
    fields = sentence.fields
    if len(fields) < 10:
        return None
    grade = hex_digit(fields[5])
    known = grade is not None and grade <= len(_QUALITIES)
    hdop = number(fields[7])
    return Gga(
        time_of_day_us(fields[0]),
        grade != 0 if known else None,
        _position(fields[1:5]),
        _QUALITIES[grade - 1] if known and grade else "unknown",
        whole(fields[6]),
        hdop if hdop is not None and hdop >= 0 else None,
        number(fields[8]),
    )


def parse_gsa(sentence: Sentence) -> Gsa | None:
    """A GSA sentence read; None if its number of fields fits none of the forms that are known.

    Two fields, twelve numbers or a multiple of it, three dilutions, and from NMEA 4.10 on the system id.
    """
    fields = sentence.fields
    slots = (len(fields) - 5) // 12 * 12
    more = len(fields) - 5 - slots
    if slots < 12 or more > 1:
        return None
    system_id = hex_digit(fields[-1]) if more else None
    numbers = [whole(text) for text in fields[2 : 2 + slots]]
    found = {satellite_of(sentence.talker, each, system_id) for each in numbers if each is not None}
    return Gsa(frozenset(each for each in found if each is not None))


def parse_zda(sentence: Sentence) -> Zda | None:
    """A ZDA sentence read; None if fields of the standard are missing."""
    fields = sentence.fields
    if len(fields) < 4:
        return None
    day, month, year = (whole(text) for text in fields[1:4])
    return Zda(time_of_day_us(fields[0]), _date(year, month, day))


def time_of_day_us(text: str) -> int | None:
    """'hhmmss' or 'hhmmss.s...' as microseconds of the day; None if it is no such time. A leap second counts on."""
    found = _TIME.fullmatch(text)
    if not found:
        return None
    whole_s = int(found[1]) * 3600 + int(found[2]) * 60 + int(found[3])
    return whole_s * 1_000_000 + int(((found[4] or "") + "000000")[:6])


@lru_cache(maxsize=256)
def _date_of_digits(text: str) -> date | None:
    """'ddmmyy' as a date in the years 1980 to 2079."""
    if len(text) != 6 or whole(text) is None:
        return None
    year = int(text[4:])
    return _date(year + (1900 if year >= _FIRST_YEAR - 1900 else 2000), int(text[2:4]), int(text[:2]))


def _date(year: int | None, month: int | None, day: int | None) -> date | None:
    if year is None or month is None or day is None or not _FIRST_YEAR <= year <= _LAST_YEAR:
        return None
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _position(fields: tuple[str, ...]) -> Position | None:
    """Latitude, N or S, longitude, E or W."""
    latitude = _angle(fields[0], fields[1], "NS", 90)
    longitude = _angle(fields[2], fields[3], "EW", 180)
    return Position(latitude, longitude) if latitude is not None and longitude is not None else None


def _angle(text: str, side: str, sides: str, most: int) -> float | None:
    """'ddmm.mmm' or 'dddmm.mmm' as degrees, the second of `sides` negative."""
    found = _ANGLE.fullmatch(text)
    if not found or len(side) != 1 or side not in sides:
        return None
    degrees = int(found[1]) + float(found[2]) / 60
    if degrees > most:
        return None
    return -degrees if side == sides[1] else degrees
