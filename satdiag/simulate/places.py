"""Surroundings of a vehicle: skyline, roof, trees and traffic passing, repeater, interference.

Figures are physical and each has its reason beside it; the shadowing numbers are of the order of ITU-R P.681
(roadside trees at 2.3 GHz: 5-20 dB) and ITU-R P.2109 (building entry at 2.3 GHz: 8-50 dB).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from satdiag.simulate.geometry import Look, knife_edge_loss_db


@dataclass(frozen=True)
class Site:
    """A named site of the job sheet."""

    name: str
    latitude_deg: float
    longitude_deg: float
    height_m: float
    timezone: str
    utc_offset_h: int  # in the months the demo jobs play


@dataclass(frozen=True)
class Wall:
    """Something solid along the skyline: a building, a hill, a load on the roof."""

    azimuth_from_deg: float
    azimuth_to_deg: float
    distance_m: float
    height_m: float  # above the antenna
    note: str

    @property
    def elevation_deg(self) -> float:
        """Elevation of its upper edge [deg]."""
        return math.degrees(math.atan2(self.height_m, self.distance_m))

    def covers(self, azimuth_deg: float) -> bool:
        """Whether an azimuth falls within the wall (the range may pass north)."""
        span = (self.azimuth_to_deg - self.azimuth_from_deg) % 360.0
        return (azimuth_deg - self.azimuth_from_deg) % 360.0 <= span


@dataclass(frozen=True)
class Passing:
    """Things that come between for a moment: trees while driving, lorries at a kerb, branches in the wind."""

    per_minute: float
    dwell_s: float
    deep_share: float  # share of events that block rather than shade
    shade_db: tuple[float, float] = (8.0, 2.5)  # mean and spread
    block_db: tuple[float, float] = (20.0, 3.5)
    together: float = 0.4  # chance that the same event reaches the other path too


QUIET = Passing(per_minute=0.02, dwell_s=3.0, deep_share=0.1)


@dataclass(frozen=True)
class Place:
    """Where the vehicle stands or drives.

    `word` is what a person would call the sky there. `fault` names the fault of findings that standing here
    amounts to, if any. `repeater_dbhz` is the C/N0 a healthy installation has from a terrestrial repeater.
    """

    name: str
    site: str
    word: str
    sky_k: float = 100.0  # broad vehicle antenna under open sky; about 290 K under a roof
    walls: tuple[Wall, ...] = ()
    roof_db: tuple[float, float] = (0.0, 0.0)  # towards east, west
    roof_repeater_db: float = 0.0
    passing: Passing = QUIET
    repeater_dbhz: float | None = None
    repeater_sway_db: float = 1.5
    sway_db: float = 0.5  # slow change of a standing vehicle: multipath, people walking round it
    interference_db: float = 0.0
    moving: bool = False
    fault: str | None = None

    def standing_loss_db(self, which: int, look: Look) -> float:
        """Loss that does not pass: roof plus skyline, towards satellite number `which` [dB]."""
        loss = self.roof_db[which]
        for wall in self.walls:
            if wall.covers(look.azimuth_deg):
                below = wall.elevation_deg - look.elevation_deg
                loss += min(30.0, knife_edge_loss_db(below, wall.distance_m, look.frequency_mhz))
        return loss

    def skyline_deg(self, azimuth_deg: float) -> float:
        """Elevation of the skyline [deg], as a clinometer would find it."""
        heights = [wall.elevation_deg for wall in self.walls if wall.covers(azimuth_deg)]
        return max([2.0, *heights])


# Invented working places on the plains and beside them; offsets are those of summer time.
TOWNS = (
    (41.2, -96.1, 300.0, "America/Chicago", -5),
    (39.1, -94.6, 270.0, "America/Chicago", -5),
    (35.5, -97.5, 365.0, "America/Chicago", -5),
    (44.9, -93.3, 260.0, "America/Chicago", -5),
    (39.7, -105.0, 1610.0, "America/Denver", -6),
    (33.5, -112.1, 340.0, "America/Phoenix", -7),
    (40.0, -83.0, 240.0, "America/New_York", -4),
    (33.8, -84.4, 310.0, "America/New_York", -4),
)


def make_site(rng: Random, name: str, town: tuple[float, float, float, str, int] | None = None) -> Site:
    """A site near one of the towns, to about 100 m."""
    latitude, longitude, height, zone, offset = town or rng.choice(TOWNS)
    return Site(
        name,
        round(latitude + rng.uniform(-0.15, 0.15), 4),
        round(longitude + rng.uniform(-0.15, 0.15), 4),
        round(height + rng.uniform(-20, 20), 0),
        zone,
        offset,
    )


def neighbour(site: Site, rng: Random, name: str, kilometres: float = 0.0) -> Site:
    """Another named place `kilometres` away (0: the same plot)."""
    bearing = rng.uniform(0.0, 2.0 * math.pi)
    step = kilometres / 111.2
    return Site(
        name,
        round(site.latitude_deg + step * math.cos(bearing), 4),
        round(site.longitude_deg + step * math.sin(bearing) / math.cos(math.radians(site.latitude_deg)), 4),
        site.height_m,
        site.timezone,
        site.utc_offset_h,
    )


def repeater_level(rng: Random, share: float = 0.4) -> float | None:
    """C/N0 from a terrestrial repeater [dB-Hz], or None out of its reach; towns have one more often than not."""
    return rng.gauss(82.0, 5.0) if rng.random() < share else None


def open_place(rng: Random, site: str, name: str = "open", repeater: float | None = None) -> Place:
    """A yard or car park under open sky: low walls and fences only."""
    walls = tuple(
        Wall(start, start + rng.uniform(15, 50), rng.uniform(25, 60), rng.uniform(2, 7), note)
        for start, note in ((rng.uniform(0, 110), "fence"), (rng.uniform(240, 320), "low shed"))
        if rng.random() < 0.6
    )
    return Place(name, site, "open-sky", sky_k=rng.uniform(85, 120), walls=walls, repeater_dbhz=repeater)


def roofed_place(rng: Random, site: str, loss_db: float, repeater: float | None = None) -> Place:
    """A garage or workshop; the two satellites lose about the same, one may find the door."""
    return Place(
        "inside",
        site,
        "underground" if loss_db > 45.0 else "indoors",
        sky_k=285.0,
        roof_db=(loss_db + rng.gauss(0, 2.5), loss_db + rng.gauss(0, 2.5)),
        roof_repeater_db=0.6 * loss_db,
        repeater_dbhz=repeater,
        sway_db=1.6,  # indoors the direct ray is gone: what is left is scattered
        fault="indoors",
    )


def lane_place(rng: Random, site: str) -> Place:
    """Driving under roadside trees whose crowns close over the road (extreme shadowing of P.681)."""
    return Place(
        "lane",
        site,
        "canopy",
        sky_k=160.0,  # leaves are warm
        passing=Passing(
            per_minute=rng.uniform(9, 14),
            dwell_s=rng.uniform(2.5, 4.5),
            deep_share=rng.uniform(0.35, 0.55),
            shade_db=(rng.uniform(7, 10), 2.5),
            together=rng.uniform(0.4, 0.65),
        ),
        sway_db=1.8,
        moving=True,
        fault="foliage",
    )


def walled_place(rng: Random, site: str, looks: tuple[Look, Look]) -> Place:
    """A kerb with a tall building before one satellite and a roof edge just grazing the other.

    Neither is a tree: both losses follow from distance, height and the knife edge.
    """
    first = rng.randrange(2)
    walls = []
    for which, over_deg, near, far in (
        (first, rng.uniform(9, 22), 12, 25),
        (1 - first, rng.uniform(0.6, 2.2), 18, 35),
    ):
        look = looks[which]
        distance = float(round(rng.uniform(near, far)))
        height = distance * math.tan(math.radians(min(75.0, look.elevation_deg + over_deg)))
        start = (look.azimuth_deg - rng.uniform(18, 30)) % 360.0
        end = (look.azimuth_deg + rng.uniform(18, 30)) % 360.0
        note = "office block" if which == first else "house, roof edge"
        walls.append(Wall(round(start, 0), round(end, 0), distance, round(height, 1), note))
    return Place(
        "kerb",
        site,
        "street",
        sky_k=150.0,
        walls=tuple(walls),
        passing=Passing(per_minute=1.2, dwell_s=4.0, deep_share=0.25, shade_db=(7.0, 2.0), together=0.1),
        sway_db=1.2,
        fault="obstructed",
    )
