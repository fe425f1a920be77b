"""Made skies for the tests: circular orbits, skylines of our own, and a receiver that reads whole dB.

Simulated: it proves the code against our own model only. Orbits are circles of nominal radius and inclination; an
edge 20 m away diffracts (knife edge, from memory); reflections and fading are drawn; values are whole numbers.
"""

from typing import NamedTuple

import numpy as np
import pynmeagps

from satdiag.sky.look_angles import EARTH_GM_M3_S2, EARTH_ROTATION_RAD_S, look_angles
from satdiag.sky.mask.looks import Looks

LATITUDE_DEG, LONGITUDE_DEG = 45.0, 10.0
# Planes, satellites in each, radius km, inclination deg, zenith level dB-Hz.
SYSTEMS = ((6, 5, 26560, 55, 46.0), (3, 8, 25508, 64.8, 48.0), (3, 8, 29600, 56, 45.0), (3, 8, 27906, 55, 46.5))
WAVE_M, EDGE_M = 0.19, 20.0


class Sky(NamedTuple):
    """A made record and the truth behind it: the edge of the sky at whole degrees of azimuth, in deg."""

    looks: Looks
    edge_deg: np.ndarray


def skyline(scene: str, random: np.random.Generator) -> np.ndarray:
    """The edge at 360 azimuths."""
    azimuth = np.arange(360.0)
    low = 4.0 + 2.0 * np.sin(np.radians(azimuth - random.uniform(0, 360)))
    if scene == "open":
        return low
    turned = (azimuth - random.uniform(0, 360)) % 360.0
    if scene == "wall":
        return np.where(turned < 120.0, 50.0, low)
    if scene == "canyon":
        sine = np.abs(np.sin(np.radians(turned)))
        return np.maximum(np.degrees(np.arctan(2.0 * sine)), low)
    blocks = low.copy()
    for _ in range(8):
        start, width = random.uniform(0, 360), random.uniform(15, 60)
        inside = (azimuth - start) % 360.0 < width
        blocks = np.where(inside, np.maximum(blocks, random.uniform(10, 50)), blocks)
    return blocks


def positions(time_s: np.ndarray, random: np.random.Generator) -> list[tuple[int, np.ndarray, np.ndarray]]:
    """(system, azimuth, elevation) of every satellite at times (n,)."""
    found = []
    for system, (planes, each, radius, inclination, _) in enumerate(SYSTEMS):
        first, motion = random.uniform(0, 2 * np.pi, 2), np.sqrt(EARTH_GM_M3_S2 / (radius * 1000.0) ** 3)
        for number in range(planes * each):
            plane, slot = divmod(number, each)
            along = first[1] + 2 * np.pi * (slot / each + plane / planes / each) + motion * time_s
            node = first[0] + 2 * np.pi * plane / planes - EARTH_ROTATION_RAD_S * time_s
            x, y = np.cos(along), np.sin(along) * np.cos(np.radians(inclination))
            z = np.sin(along) * np.sin(np.radians(inclination))
            place = np.stack([x * np.cos(node) - y * np.sin(node), x * np.sin(node) + y * np.cos(node), z], axis=-1)
            seen = look_angles(radius * place, LATITUDE_DEG, LONGITUDE_DEG)
            found.append((system, seen.azimuth_deg, seen.elevation_deg))
    return found


def knife_edge_db(above_deg: np.ndarray) -> np.ndarray:
    """Loss by an edge: 6 dB on it, none well above (the usual approximation of the Fresnel integral, from memory)."""
    nu = -np.radians(above_deg) * np.sqrt(2.0 * EDGE_M / WAVE_M)
    loss = 6.9 + 20.0 * np.log10(np.sqrt((nu - 0.1) ** 2 + 1.0) + nu - 0.1)
    return np.where(nu > -0.78, loss, 0.0)


def made_sky(scene: str, minutes: float, seed: int, step_s: float = 5.0) -> Sky:
    """A stay of some minutes under a scene."""
    random = np.random.default_rng(seed)
    edge = skyline(scene, random)
    time_s = np.arange(0.0, 60.0 * minutes, step_s)
    rows = []
    for number, (system, azimuth, elevation) in enumerate(positions(time_s, random)):
        up = elevation > 0.0
        if not up.any():
            continue
        loss = knife_edge_db(elevation - np.interp(azimuth, np.arange(361.0), np.append(edge, edge[0])))
        slow = np.repeat(random.normal(0.0, 1.5, len(time_s) // 24 + 1), 24)[: len(time_s)]
        level = SYSTEMS[system][4] - 9.0 * (1.0 - np.sin(np.radians(elevation))) + slow
        reflected = level - random.uniform(14.0, 24.0)
        level = np.maximum(level - loss, reflected) + random.normal(0.0, 1.0, len(time_s))
        level = np.where((level < 18.0) | (elevation < random.uniform(3.0, 6.0)), np.nan, np.round(level))
        size = int(up.sum())
        columns = (
            np.full(size, number),
            np.full(size, system),
            np.round(azimuth[up]) % 360.0,
            np.round(elevation[up]),
        )
        rows.append(np.stack([time_s[up], *columns, level[up]]))
    time, satellite, system, azimuth, elevation, level = np.concatenate(rows, axis=1)
    none = np.zeros(len(time), dtype=bool)
    return Sky(Looks(time, satellite.astype(int), system.astype(int), azimuth, elevation, level, none), edge)


TALKERS = ("GP", "GL", "GA", "GB")
FIRST_NUMBER = (1, 65, 1, 11)


def as_nmea(looks: Looks, speed_knots: float = 0.0, outage: tuple[float, float] | None = None) -> bytes:
    """A made record as a receiver sends it from 2031-05-03 14:00 UTC at 45 N 10 E; weak all over during `outage`."""
    lines = []
    numbers = {}
    for system in range(len(SYSTEMS)):
        own = np.unique(looks.satellite[looks.group == system])
        numbers.update({int(one): FIRST_NUMBER[system] + at for at, one in enumerate(own)})
    for time_s in np.unique(looks.time_s):
        minutes, seconds = divmod(int(time_s), 60)
        clock = f"{14 + minutes // 60:02d}{minutes % 60:02d}{seconds:02d}.00"
        lines.append(f"GNRMC,{clock},A,4500.0000,N,01000.0000,E,{speed_knots:.1f},0.0,030531,,,A")
        here = looks.where(looks.time_s == time_s)
        weak = 20.0 if outage and outage[0] <= time_s < outage[1] else 0.0
        for system, talker in enumerate(TALKERS):
            lines += _sentences(here.where(here.group == system), talker, numbers, weak)
    return b"".join(f"${line}*{pynmeagps.calc_checksum(line)}\r\n".encode() for line in lines)


def _sentences(looks: Looks, talker: str, numbers: dict[int, int], weak_db: float) -> list[str]:
    entries = []
    for at in range(len(looks)):
        level = looks.cn0_db_hz[at] - weak_db
        shown = "" if np.isnan(level) or level < 8 else f"{level:02.0f}"
        place = f"{looks.elevation_deg[at]:02.0f},{looks.azimuth_deg[at]:03.0f}"
        entries.append(f"{numbers[int(looks.satellite[at])]:02d},{place},{shown}")
    total = max(1, -(-len(entries) // 4))
    parts = [entries[4 * at : 4 * at + 4] for at in range(total)]
    return [f"{talker}GSV,{total},{at},{len(entries):02d},{','.join(part)},1" for at, part in enumerate(parts, 1)]
