"""The parsers of the sky and the lead: elements, constellations, sentences of navigation receivers, sweeps."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from functools import cache

import numpy as np

from satdiag.errors import SatdiagError
from satdiag.job import normalised
from tests.hardening.fuzz_changes import JSON, TABLE
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_texts import ROOT, samples
from tests.legal_jobs import SWEEPS
from tests.references.look_angles import TLE
from tests.references.orbits import LOW_TLE

_AT = np.array(["2031-05-03T13:40:00"], dtype="datetime64[us]")


def _elements(name: str) -> Callable[[bytes], str]:
    def read(data: bytes) -> str:
        from satdiag.sky.elements import parse_elements, positions_km

        sets = parse_elements(normalised(name, data).decode(), name)
        for one in sets[:3]:
            assert one.period_s > 0
            try:
                assert positions_km(one, one.epoch + np.arange(2) * np.timedelta64(1, "h")).shape == (2, 3)
            except SatdiagError:
                return "cannot be carried"
        return f"{min(len(sets), 5)} sets"

    return read


def _tle_mended(data: bytes) -> bytes:
    """The check digits of element lines made right (sum of the digits, a minus counts one, modulo ten)."""
    lines = data.split(b"\n")
    for at, line in enumerate(lines):
        if re.match(rb"[12] ", line) and len(line.rstrip()) >= 69:
            total = sum(mark - 48 if 48 <= mark <= 57 else mark == 45 for mark in line[:68])
            lines[at] = line[:68] + b"%d" % (total % 10) + line[69:]
    return b"\n".join(lines)


@cache
def _omms() -> tuple[bytes, ...]:
    from tests.sky import test_elements as tested

    fields = tested._omm_fields()
    writers = (json.dumps, tested._as_csv, tested._as_xml, tested._as_key_values)
    return (json.dumps([fields]).encode(), *(write(fields).encode() for write in writers))


def _constellation(data: bytes) -> str:
    from satdiag.sky.constellation import parse_constellation

    found = parse_constellation(normalised("constellation.toml", data).decode())
    assert isinstance(found.caution, str | None)
    return f"{min(len(found.satellites), 5)} satellites"


def _constellations() -> list[bytes]:
    packaged = sorted((ROOT / "satdiag/sky/constellations").glob("*.toml"))
    return [*(place.read_bytes() for place in packaged), *samples("constellation.toml")[:2]]


def _nmea(data: bytes) -> str:
    """The quick reading as arrays and the plain one agree in what they count."""
    from satdiag.gnss.bulk import read_sky
    from satdiag.gnss.read import read_nmea

    log, rows = read_nmea(data), read_sky(data)
    looks = sum(len(epoch.tracked) for epoch in log.epochs)
    assert len(rows.epoch) == len(rows.azimuth_deg)
    assert (rows.epoch < len(rows.track.time_s)).all()
    return f"{min(len(log.epochs), 3)} epochs, {min(looks, 3)} looks, {min(len(rows.epoch), 3)} directions"


def _nmea_seeds() -> list[bytes]:
    found = []
    for place in sorted((ROOT / "captures").glob("*.log")):
        data = place.read_bytes()
        at = data.find(b"$G")
        if at >= 0:
            found.append(data[at : at + 1500])
    plain = b"".join(
        summed(body)
        for body in (
            b"GPRMC,134000.00,A,4500.0000,N,09300.0000,W,0.1,90.0,030531,,,A",
            b"GPGGA,134000.00,4500.0000,N,09300.0000,W,1,08,1.0,300.0,M,-30.0,M,,",
            b"GPGSA,A,3,01,02,03,,,,,,,,,,2.0,1.0,1.5",
            b"GPGSV,1,1,03,01,40,083,46,02,17,308,41,03,07,344,",
            b"GNZDA,134000.00,03,05,2031,00,00",
        )
    )
    return [plain, *found[:25]]


def summed(body: bytes) -> bytes:
    """A sentence with its sum around it."""
    total = 0
    for mark in body:
        total ^= mark
    return b"$%s*%02X\r\n" % (body, total)


def _nmea_mended(data: bytes) -> bytes:
    """Every sentence with the sum that belongs to it (NMEA 0183: exclusive or of all between '$' and '*')."""
    return re.sub(rb"\$([^$*\r\n]*)\*[0-9A-Fa-f]{0,2}\r?\n?", lambda found: summed(found[1]), data)


def _touchstone(data: bytes) -> str:
    from satdiag.touchstone import parse_touchstone

    found = parse_touchstone(data, "feedline.s1p")
    assert all(map(math.isfinite, found.frequencies_hz()))
    return f"{min(len(found.rows), 5)} points"


_SWEEPS = (
    *SWEEPS,
    b"[Version] 2.0\n# GHz S MA R 50\n[Number of Ports] 1\n[Number of Frequencies] 2\n[Reference] 50\n"
    b"[Network Data]\n"
    b"2.3 0.5 10\n2.4 0.25 -170\n[End]\n",
    b"! demo\n# MHz S DB R 75\n" + b"".join(b"%d -%d.5 %d\n" % (2000 + n, n % 30, n) for n in range(40)),
)


SKY_PARSERS: tuple[Parser, ...] = (
    Parser("touchstone", lambda: _SWEEPS, _touchstone),
    Parser("tle", lambda: [TLE.encode(), LOW_TLE.encode()], _elements("elements.tle"), mend=_tle_mended),
    Parser("omm", _omms, _elements("elements.omm"), JSON),
    Parser("constellation", _constellations, _constellation),
    Parser("nmea", _nmea_seeds, _nmea, TABLE, mend=_nmea_mended, slow_s=6.0),
)
