"""Sentences of a navigation receiver (NMEA 0183) standing where the vehicle stands: what the sky lets through.

Twelve satellites hold a fixed direction for the minutes of a visit; each one's carrier to noise falls from 45 dB-Hz
at 60 degrees of elevation by some dB towards the horizon, by the same walls and roofs that the radio meets, and by a
spread of 2 dB. Below 20 dB-Hz a satellite is in view and not tracked.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from random import Random

from satdiag.simulate.geometry import knife_edge_loss_db
from satdiag.simulate.places import Place, Site

NAVIGATION_MHZ = 1575.42
TRACKED_DBHZ = 20.0


def sentences(rng: Random, site: Site, place: Place, opened: datetime, step_s: int = 20, count: int = 12) -> str:
    """Some minutes of GGA, RMC and GSV at a parked vehicle."""
    sky = [(number, rng.uniform(0, 360), 8.0 + 78.0 * rng.random() ** 1.4) for number in rng.sample(range(1, 33), 12)]
    lines = []
    for step in range(count):
        when = opened + timedelta(seconds=step * step_s)
        seen = [
            (number, azimuth, elevation, _level(rng, place, azimuth, elevation)) for number, azimuth, elevation in sky
        ]
        used = sum(level is not None for *_, level in seen)
        lines += [_rmc(when, site, used >= 4), _gga(when, site, used), *_gsv(seen)]
    return "".join(f"${line}*{_checksum(line):02X}\r\n" for line in lines)


def _level(rng: Random, place: Place, azimuth_deg: float, elevation_deg: float) -> float | None:
    level = 45.0 - 6.0 * ((60.0 - elevation_deg) / 50.0) ** 2 + rng.gauss(0.0, 2.0)
    level -= 0.9 * place.roof_db[0]
    for wall in place.walls:
        if wall.covers(azimuth_deg):
            below = wall.elevation_deg - elevation_deg
            level -= min(30.0, knife_edge_loss_db(below, wall.distance_m, NAVIGATION_MHZ))
    return level if level >= TRACKED_DBHZ else None


def _angle(degrees: float, width: int, signs: str) -> str:
    whole = int(abs(degrees))
    minutes = 60.0 * (abs(degrees) - whole)
    return f"{whole:0{width}d}{minutes:07.4f},{signs[0] if degrees >= 0 else signs[1]}"


def _rmc(when: datetime, site: Site, valid: bool) -> str:
    clock, date = when.strftime("%H%M%S") + ".00", when.strftime("%d%m%y")
    if not valid:
        return f"GPRMC,{clock},V,,,,,,,{date},,,N"
    where = f"{_angle(site.latitude_deg, 2, 'NS')},{_angle(site.longitude_deg, 3, 'EW')}"
    return f"GPRMC,{clock},A,{where},0.00,,{date},,,A"


def _gga(when: datetime, site: Site, used: int) -> str:
    clock = when.strftime("%H%M%S") + ".00"
    if used < 4:
        return f"GPGGA,{clock},,,,,0,{used:02d},,,M,,M,,"
    where = f"{_angle(site.latitude_deg, 2, 'NS')},{_angle(site.longitude_deg, 3, 'EW')}"
    return f"GPGGA,{clock},{where},1,{used:02d},1.1,{site.height_m:.1f},M,0.0,M,,"


def _gsv(seen: list[tuple[int, float, float, float | None]]) -> list[str]:
    total = (len(seen) + 3) // 4
    lines = []
    for part in range(total):
        cells = [
            f"{number:02d},{elevation:02.0f},{azimuth % 360:03.0f},{'' if level is None else f'{level:02.0f}'}"
            for number, azimuth, elevation, level in seen[4 * part : 4 * part + 4]
        ]
        lines.append(f"GPGSV,{total},{part + 1},{len(seen):02d}," + ",".join(cells))
    return lines


def _checksum(line: str) -> int:
    value = 0
    for sign in line.encode("ascii"):
        value ^= sign
    return value
