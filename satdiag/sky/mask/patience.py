"""How long to stay parked until the answer for a broadcast satellite is useful.

The satellites that were heard are carried on along circles: each constellation's nominal radius and inclination, the
plane through the direction last seen, and of the two possible ones the one that fits how the satellite moved. What
they would show is drawn: a skyline from what is known now, each look clear or not by its chance under that skyline
(soft under trees), and its level from those of clear or blocked satellites. The mask is fitted again with these looks
added, for longer and longer stays, and the stay is the shortest after which, in four of five drawn futures, the
interval is no wider than `USEFUL_WIDTH` and rests on looks (see `SkyMask.speaks`), not on what was held before.
Satellites that have not risen yet are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from satdiag.gnss.identity import Satellite
from satdiag.sky.look_angles import EARTH_GM_M3_S2, EARTH_ROTATION_RAD_S, look_angles, site_position_km
from satdiag.sky.mask.combine import SkyMask
from satdiag.sky.mask.likelihood import (
    BLOCKED_MOST_DB,
    BLOCKED_UNTRACKED,
    MARGIN_DB,
    clear_spread_db,
    evidence,
    expected_cn0,
)
from satdiag.sky.mask.looks import Flags, Floats, Looks, unit_vectors
from satdiag.sky.mask.posterior import EdgePrior, fit_edge
from satdiag.sky.mask.thinning import Cells, cells_of

USEFUL_WIDTH = 0.4
STAYS_S = (300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0, 14400.0, 28800.0)
STEP_S = 120.0
DRAWS, ENOUGH = 5, 0.8
LOWEST_DEG = 5.0
ZENITH_DB_HZ = 45.0  # any level will do: what counts is how far a look is below it

# Radius in km and inclination in deg of the constellations' circles (their interface documents, from memory).
ORBITS = {"gps": (26560.0, 55.0), "glonass": (25508.0, 64.8), "galileo": (29600.0, 56.0), "beidou": (27906.0, 55.0)}
# BeiDou satellites on geosynchronous orbits (from memory); what stands nearly still shows nothing new.
BEIDOU_HIGH = frozenset((*range(1, 11), 13, 16, 31, 38, 39, 40, 56, *range(59, 64)))


@dataclass(frozen=True)
class Place:
    """Where the vehicle is parked."""

    latitude_deg: float
    longitude_deg: float
    height_m: float


def stays_s(
    mask: SkyMask,
    prior: EdgePrior,
    satellites: tuple[Satellite, ...],
    place: Place,
    azimuth_deg: Floats,
    elevation_deg: Floats,
) -> list[float | None]:
    """For each direction the further stay in seconds; 0: useful now; None: no stay up to 8 h is foretold to do.

    Tried on one day of two receivers: see `python scripts/benchmark.py sky`. None is rather too careful, because
    satellites that rise later are left out.
    """
    now = mask.chances(azimuth_deg, elevation_deg)
    useful = (now.high - now.low <= USEFUL_WIDTH) & mask.speaks(now, azimuth_deg)
    stays: list[float | None] = [0.0 if one else None for one in useful.tolist()]
    ahead = np.arange(STEP_S, STAYS_S[-1] + 1.0, STEP_S)
    paths = future_paths(mask.looks, satellites, place, ahead)
    if not len(paths[0]) or all(stay is not None for stay in stays):
        return stays
    random = np.random.default_rng(20310503)  # fixed: the same job, the same answer
    levels = [_drawn_levels(mask, paths, edge, random) for edge in mask.edge.drawn(DRAWS, random)]
    for stay in STAYS_S:
        found = [_useful(mask, prior, paths, level, stay, azimuth_deg, elevation_deg) for level in levels]
        for number, share in enumerate(np.mean(found, axis=0).tolist()):
            if stays[number] is None and share >= ENOUGH:
                stays[number] = stay
        if all(known is not None for known in stays):
            break
    return stays


_Paths = tuple[Floats, Floats, Floats]
"""Future looks: seconds ahead, azimuth, elevation, arrays (n,)."""


def _drawn_levels(mask: SkyMask, paths: _Paths, edge: Floats, random: np.random.Generator) -> Floats:
    """C/N0 of future looks (n,) under a drawn skyline (KNOTS,), NaN where one is not tracked."""
    _, along, height = paths
    open_ = random.random(len(height)) < mask.edge.with_edge(edge).p_clear(along, height)[0]
    clear = clear_spread_db(height) * random.standard_normal(len(height))
    blocked = random.uniform(MARGIN_DB, BLOCKED_MOST_DB, len(height))
    lost = ~open_ & (random.random(len(height)) < BLOCKED_UNTRACKED)
    return np.where(lost, np.nan, expected_cn0(height, ZENITH_DB_HZ) - np.where(open_, clear, blocked))


def _useful(
    mask: SkyMask, prior: EdgePrior, paths: _Paths, level: Floats, stay: float, azimuth: Floats, elevation: Floats
) -> Flags:
    """Whether the answer is useful at directions (n,) after a stay in which looks have drawn levels."""
    inside = paths[0] <= stay
    along, height = paths[1][inside], paths[2][inside]
    said = evidence(height, level[inside], np.full(len(height), ZENITH_DB_HZ), np.zeros(len(height), dtype=bool))
    more = cells_of(along, height, said)
    cells = Cells(*(np.concatenate([getattr(part, name) for part in (mask.cells, more)]) for name in _CELL_PARTS))
    found = replace(mask, edge=fit_edge(cells, prior, mask.settings.edge_width_deg), cells=cells)
    answer = found.chances(azimuth, elevation)
    return np.asarray((answer.high - answer.low <= USEFUL_WIDTH) & found.speaks(answer, azimuth))


_CELL_PARTS = tuple(Cells.__dataclass_fields__)


def future_paths(looks: Looks, satellites: tuple[Satellite, ...], place: Place, ahead_s: Floats) -> _Paths:
    """Where the satellites in medium orbits that were heard will stand, counted from the last look, above 5 deg."""
    found = []
    end = float(looks.time_s.max()) if len(looks) else 0.0
    for number in np.unique(looks.satellite).tolist():
        satellite = satellites[number]
        if satellite.constellation not in ORBITS:
            continue
        if satellite.constellation == "beidou" and satellite.number in BEIDOU_HIGH:
            continue
        own = looks.where(looks.satellite == number)
        first, last = int(own.time_s.argmin()), int(own.time_s.argmax())
        seen = [(own.azimuth_deg[at], own.elevation_deg[at], own.time_s[at] - end) for at in (first, last)]
        azimuth, elevation = _carried_on(seen, ORBITS[satellite.constellation], place, ahead_s)
        up = elevation > LOWEST_DEG
        found.append(np.stack([ahead_s[up], azimuth[up], elevation[up]]))
    if not found:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    ahead, along, height = np.concatenate(found, axis=1)
    return ahead, along, height


def _carried_on(
    seen: list[tuple[float, float, float]], orbit: tuple[float, float], place: Place, ahead_s: Floats
) -> tuple[Floats, Floats]:
    """Azimuth and elevation at times (n,) of a satellite seen as (azimuth, elevation, time), first and last."""
    (azimuth0, elevation0, time0), (azimuth1, elevation1, time1) = seen
    position = _position_km(azimuth1, elevation1, orbit[0], place)
    was = unit_vectors(np.array([azimuth0]), np.array([elevation0]))[0]
    best: tuple[float, Floats, Floats] | None = None
    for ascending in (True, False):
        azimuth, elevation = _circle(position, orbit, ascending, place, np.append(ahead_s - time1, time0 - time1))
        miss = float(np.linalg.norm(unit_vectors(azimuth[-1:], elevation[-1:])[0] - was))
        if best is None or miss < best[0]:
            best = miss, azimuth[:-1], elevation[:-1]
    assert best is not None
    return best[1], best[2]


def _position_km(azimuth_deg: float, elevation_deg: float, radius_km: float, place: Place) -> Floats:
    """The Earth-fixed place on a sphere of that radius which is seen in a direction."""
    latitude, longitude = np.radians(place.latitude_deg), np.radians(place.longitude_deg)
    east, north, up = unit_vectors(np.array([azimuth_deg]), np.array([elevation_deg]))[0]
    outward = np.cos(latitude) * up - np.sin(latitude) * north
    ray = np.array(
        [
            np.cos(longitude) * outward - np.sin(longitude) * east,
            np.sin(longitude) * outward + np.cos(longitude) * east,
            np.sin(latitude) * up + np.cos(latitude) * north,
        ]
    )
    site = site_position_km(place.latitude_deg, place.longitude_deg, place.height_m)
    along = float(site @ ray)
    return np.asarray(site + ray * (-along + np.sqrt(along**2 + radius_km**2 - float(site @ site))))


def _circle(
    position_km: Floats, orbit: tuple[float, float], ascending: bool, place: Place, after_s: Floats
) -> tuple[Floats, Floats]:
    """Azimuth and elevation of a satellite that is at a place at time 0 and on its way north, or south."""
    radius, inclination = orbit[0], np.radians(orbit[1])
    sine = np.clip(position_km[2] / radius / np.sin(inclination), -1.0, 1.0)
    along = np.arcsin(sine) if ascending else np.pi - np.arcsin(sine)
    node = np.arctan2(position_km[1], position_km[0]) - np.arctan2(np.cos(inclination) * np.sin(along), np.cos(along))
    motion = np.sqrt(EARTH_GM_M3_S2 / (radius * 1000.0) ** 3)
    on = along + motion * after_s
    turned = node - EARTH_ROTATION_RAD_S * after_s
    x, y = np.cos(on), np.cos(inclination) * np.sin(on)
    fixed = np.stack(
        [
            x * np.cos(turned) - y * np.sin(turned),
            x * np.sin(turned) + y * np.cos(turned),
            np.sin(inclination) * np.sin(on),
        ],
        axis=-1,
    )
    seen = look_angles(radius * fixed, place.latitude_deg, place.longitude_deg, place.height_m)
    return seen.azimuth_deg, seen.elevation_deg
