"""Which satellite a number in a sentence means. It depends on the talker, or on the system id beside it.

Numbers of the standard (NMEA 0183 4.11): GPS 1-32, SBAS 33-64 = PRN - 87, GLONASS 65-99 = slot + 64; under a talker
of their own Galileo 1-36, BeiDou 1-63, QZSS 1-10, NavIC 1-14. Others that receivers are seen to send: SBAS as PRN
120-158, Galileo from 101 and 301, BeiDou from 201 and 401, QZSS as PRN 193-202.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal, NamedTuple

Constellation = Literal["gps", "glonass", "galileo", "beidou", "qzss", "navic", "sbas"]

_LETTERS: dict[Constellation, str] = {
    "gps": "G",
    "glonass": "R",
    "galileo": "E",
    "beidou": "C",
    "qzss": "J",
    "navic": "I",
    "sbas": "S",
}


class Satellite(NamedTuple):
    """One satellite. `number`: PRN; GLONASS slot; QZSS PRN - 192; SBAS PRN (120-158)."""

    constellation: Constellation
    number: int

    @property
    def name(self) -> str:
        """The short name of RINEX 3 (section 3.5): 'G05', 'R12'; SBAS is PRN - 100, so PRN 131 is 'S31'."""
        number = self.number - 100 if self.constellation == "sbas" else self.number
        return f"{_LETTERS[self.constellation]}{number:02d}"


_Range = tuple[int, int, Constellation, int]
_SBAS: tuple[_Range, ...] = ((33, 64, "sbas", 87), (120, 158, "sbas", 0))
_QZSS: tuple[_Range, ...] = ((193, 202, "qzss", -192),)
_GLONASS: tuple[_Range, ...] = ((65, 99, "glonass", -64),)
_FAR: tuple[_Range, ...] = ((301, 336, "galileo", -300), (401, 463, "beidou", -400))
_GPS: tuple[_Range, ...] = ((1, 32, "gps", 0), *_SBAS, *_GLONASS, *_QZSS, *_FAR)
_GALILEO: tuple[_Range, ...] = ((1, 36, "galileo", 0), (37, 64, "sbas", 87), (101, 136, "galileo", -100), _FAR[0])
_BEIDOU: tuple[_Range, ...] = ((1, 63, "beidou", 0), (201, 263, "beidou", -200), _FAR[1])
_QZSS_OWN: tuple[_Range, ...] = ((1, 10, "qzss", 0), *_QZSS)
_NAVIC: tuple[_Range, ...] = ((1, 14, "navic", 0),)

_BY_TALKER: dict[str, tuple[_Range, ...]] = {
    "GP": _GPS,
    "GN": _GPS,
    "GL": (*_GLONASS, *_SBAS[:1]),
    "GA": _GALILEO,
    "GB": _BEIDOU,
    "BD": _BEIDOU,
    "GQ": _QZSS_OWN,
    "QZ": _QZSS_OWN,
    "GI": _NAVIC,
}
_BY_SYSTEM: dict[int, tuple[_Range, ...]] = {
    1: _GPS,
    2: _BY_TALKER["GL"],
    3: _GALILEO,
    4: _BEIDOU,
    5: _QZSS_OWN,
    6: _NAVIC,
}


@lru_cache(maxsize=4096)
def satellite_of(talker: str, number: int, system_id: int | None = None) -> Satellite | None:
    """The satellite of a number, or None if nobody is known to mean one by it.

    The system id (1 GPS, 2 GLONASS, 3 Galileo, 4 BeiDou, 5 QZSS, 6 NavIC) goes before the talker.
    """
    ranges = _BY_SYSTEM.get(system_id or 0) or _BY_TALKER.get(talker, ())
    for first, last, constellation, offset in ranges:
        if first <= number <= last:
            return Satellite(constellation, number + offset)
    return None


PRIMARY_SIGNALS: dict[Constellation, tuple[int, ...]] = {
    "gps": (1,),
    "glonass": (1,),
    "galileo": (7, 6),
    "beidou": (1, 3),
    "qzss": (1,),
    "navic": (1,),
    "sbas": (1,),
}
"""Signal ids (NMEA 0183 4.11) of the L1 signals, the preferred first: L1 C/A, L1OF, E1-BC then E1-A, B1I then B1C.

Older receivers mean B2I by BeiDou's 3, which therefore counts only where B1I has no C/N0. NavIC: L5, from memory.
"""
