"""Where the vehicle stands or drives, with or without something in the way."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random

from satdiag.simulate.base import street_place
from satdiag.simulate.geometry import DEMO_PAIR, Look, look
from satdiag.simulate.places import (
    Place,
    Site,
    Wall,
    make_site,
    neighbour,
    open_place,
    repeater_level,
)
from satdiag.simulate.worlds.plan import AT_A_PLACE, Plan
from satdiag.simulate.worlds.roads import Drive, entry_loss_db

PLACE_WORDS = ("yard", "street", "forecourt", "car-park", "depot", "ramp", "lane", "field-road")
# Far north of the beam, at its edge, or on another continent.
OUTSIDE = (
    (69.9, -156.0, 15.0, "America/Anchorage", -8),
    (66.9, -150.5, 300.0, "America/Anchorage", -8),
    (68.4, -149.5, 750.0, "America/Anchorage", -8),
    (47.1, 9.6, 480.0, "Europe/Zurich", 2),
    (51.2, 6.4, 60.0, "Europe/Berlin", 2),
)


def looks_from(site: Site) -> tuple[Look, Look]:
    """Directions of both satellites."""
    first, second = (look(site.latitude_deg, site.longitude_deg, satellite) for satellite in DEMO_PAIR)
    return first, second


def roofed(rng: Random, site: Site, severity: float, repeater: float | None) -> Place:
    """Under a roof: a building that loses more than a share `severity` of buildings would (ITU-R P.2109)."""
    looks = looks_from(site)
    efficient = rng.random() < 0.25
    share = min(0.97, max(0.1, 0.2 + 0.75 * severity))
    first, second = (entry_loss_db(share, one.elevation_deg, efficient=efficient) for one in looks)
    second += rng.gauss(0.0, 2.5)
    door = rng.random() < 0.15  # one of the two is seen through a gate
    return Place(
        "inside",
        site.name,
        "underground" if first > 46.0 and rng.random() < 0.5 else "indoors",
        sky_k=285.0,
        roof_db=(0.3 * first if door else first, max(0.0, second)),
        roof_repeater_db=max(0.0, entry_loss_db(share, 0.0, efficient=efficient) - rng.uniform(0, 6)),
        repeater_dbhz=repeater,
        sway_db=1.6,
        fault="indoors",
    )


def walled(rng: Random, site: Site, severity: float, repeater: float | None) -> Place:
    """Houses before one satellite, and from halfway on before the other too."""
    looks, first = looks_from(site), rng.randrange(2)
    walls = []
    for which in (first, 1 - first):
        hidden = which == first or rng.random() < severity
        over_deg = 2.0 + 20.0 * severity * rng.uniform(0.5, 1.0) if hidden else -rng.uniform(3.0, 14.0)
        distance = float(round(rng.uniform(10, 35)))
        tangent = min(72.0, max(4.0, looks[which].elevation_deg + over_deg))
        start = (looks[which].azimuth_deg - rng.uniform(15, 35)) % 360.0
        end = (looks[which].azimuth_deg + rng.uniform(15, 35)) % 360.0
        height = round(distance * math.tan(math.radians(tangent)), 1)
        walls.append(Wall(round(start, 0), round(end, 0), distance, height, rng.choice(("office block", "houses"))))
    word = rng.choices(("street", "open-sky"), (0.85, 0.15))[0]
    return Place(
        "kerb", site.name, word, sky_k=150.0, walls=tuple(walls), repeater_dbhz=repeater, sway_db=1.2,
        fault="obstructed",
    )  # fmt: skip


def road(rng: Random, site: Site, severity: float | None, repeater: float | None) -> tuple[Place, Drive]:
    """A road: among trees (as dense as `severity`), or (None) through suburbs as a healthy vehicle meets them."""
    looks = looks_from(site)
    wooded = severity is not None
    place = Place(
        "lane" if wooded else "road",
        site.name,
        "canopy" if wooded else rng.choice(("street", "open-sky")),
        sky_k=160.0 if wooded else 130.0,
        repeater_dbhz=repeater,
        repeater_sway_db=3.0,
        sway_db=0.6,
        moving=True,
        fault="foliage" if wooded else None,
    )
    drive = Drive(
        "rural-wooded" if wooded else "suburban",
        (looks[0].elevation_deg, looks[1].elevation_deg),
        crowded=0.9 + 0.9 * severity if severity is not None else 0.8,
        together=0.35 + 0.4 * (severity or 0.0),
        speed_m_s=rng.uniform(6, 16) if wooded else rng.uniform(8, 20),
    )
    return place, drive


def draw_places(rng: Random, plan: Plan) -> tuple[list[Site], dict[str, Place], dict[str, Drive]]:
    """Sites, and the places: `good` where nothing is in the way, `bad` where the plan has something, `elsewhere`."""
    severities = {trouble.fault: trouble.severity for trouble in plan.troubles}
    bad_fault = next((fault for fault in AT_A_PLACE if fault in severities), "")
    names = rng.sample(PLACE_WORDS, 3)
    here = make_site(rng, names[0], rng.choice(OUTSIDE) if bad_fault == "out-of-coverage" else None)
    there = neighbour(here, rng, names[1], rng.uniform(0.4, 2.5))
    if severities.get("indoors") is not None and rng.random() < 0.6:
        there = neighbour(here, rng, names[1], 0.0)
    repeater = None if bad_fault == "out-of-coverage" else repeater_level(rng, 0.35)
    places: dict[str, Place] = {"good": _good(rng, here, repeater)}
    drives: dict[str, Drive] = {}
    if plan.moving and not bad_fault:
        places["good"], drives["good"] = road(rng, here, None, repeater)
    places["elsewhere"] = open_place(rng, there.name, "elsewhere", repeater)
    severity = severities.get(bad_fault, 0.0)
    if bad_fault == "indoors":
        places["bad"] = roofed(rng, here, severity, repeater)
    elif bad_fault == "obstructed":
        places["bad"] = walled(rng, here, severity, repeater if rng.random() < 0.4 else None)
    elif bad_fault == "foliage":
        places["bad"], drives["bad"] = road(rng, here, severity, repeater if rng.random() < 0.4 else None)
    elif bad_fault == "interference":
        lifted = open_place(rng, here.name, "bad", repeater)
        places["bad"] = replace(lifted, interference_db=7.0 + 10.0 * severity, fault="interference")
    elif bad_fault == "out-of-coverage":
        places["bad"] = replace(places["good"], fault="out-of-coverage")
        places["elsewhere"] = replace(places["elsewhere"], fault="out-of-coverage")
    return [here, there], {name: replace(place, name=name) for name, place in places.items()}, drives


def _good(rng: Random, here: Site, repeater: float | None) -> Place:
    """Mostly open sky, one in five a street of low houses."""
    if rng.random() < 0.2:
        return street_place(rng, here.name, repeater)
    return open_place(rng, here.name, "good", repeater)
