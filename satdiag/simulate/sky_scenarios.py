"""Scenarios whose cause lies above or around the vehicle."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from satdiag.simulate.base import healthy, new_or_old, out_of_date
from satdiag.simulate.geometry import DEMO_PAIR, look
from satdiag.simulate.places import (
    Place,
    Site,
    lane_place,
    make_site,
    neighbour,
    open_place,
    roofed_place,
    walled_place,
)
from satdiag.simulate.setup import Setup


def _two_places(setup: Setup, here: Site, bad: Place, rng: Random, name: str, kilometres: float) -> Setup:
    """The bad place at the start, a good one to compare with."""
    there = neighbour(here, rng, name, kilometres)
    setup.sites = [here, there]
    setup.places = {"start": replace(bad, name="start"), "elsewhere": open_place(rng, there.name, "elsewhere")}
    return setup


def indoors(rng: Random) -> Setup:
    """Under a roof: 16-40 dB of building, or a light shed of about 10 dB where reception hangs on."""
    setup = new_or_old(healthy(rng, "indoors"), "customer: hardly anything plays in the garage", rng, old_share=0.35)
    here = make_site(rng, "workshop")
    loss = rng.uniform(9.5, 13.0) if rng.random() < 0.35 else max(16.0, min(42.0, rng.gauss(24, 7)))
    repeater = rng.uniform(58, 66) if rng.random() < 0.3 else None
    setup.supply.source = rng.choice(("battery", "charger"))  # no engine running under a roof
    setup.crank_likely = 0.0
    return _two_places(setup, here, roofed_place(rng, "workshop", loss, repeater), rng, "yard", 0.0)


def obstructed(rng: Random) -> Setup:
    """A building before one satellite, a roof edge grazing the other."""
    setup = new_or_old(
        healthy(rng, "obstructed"), "customer: it cuts out where the car is parked", rng, old_share=0.8
    )
    here = make_site(rng, "kerb")
    first, second = (look(here.latitude_deg, here.longitude_deg, satellite) for satellite in DEMO_PAIR)
    bad = walled_place(rng, "kerb", (first, second))
    return _two_places(setup, here, bad, rng, "car-park", rng.uniform(0.2, 1.0))


def foliage(rng: Random) -> Setup:
    """Driving under trees: everything comes and goes in seconds."""
    setup = new_or_old(healthy(rng, "foliage"), "customer: drop-outs on the way to work", rng, old_share=0.85)
    here = make_site(rng, "lane")
    setup.supply.source, setup.crank_likely = "engine", 0.0
    return _two_places(setup, here, lane_place(rng, "lane"), rng, "field-road", rng.uniform(1.0, 3.0))


def out_of_coverage(rng: Random) -> Setup:
    """Far north of the beam, or on another continent, under a perfectly open sky."""
    setup = new_or_old(healthy(rng, "out-of-coverage"), "customer: nothing since the move", rng, old_share=0.5)
    town = rng.choice(
        (
            (69.9, -156.0, 15.0, "America/Anchorage", -8),
            (68.4, -149.5, 750.0, "America/Anchorage", -8),
            (47.1, 9.6, 480.0, "Europe/Zurich", 2),
            (51.2, 6.4, 60.0, "Europe/Berlin", 2),
        )
    )
    here = make_site(rng, "yard", town)
    there = neighbour(here, rng, "hill", rng.uniform(2, 6))
    setup.sites = [here, there]
    setup.places = {
        "start": replace(open_place(rng, "yard", "start"), fault="out-of-coverage"),
        "elsewhere": replace(open_place(rng, "hill", "elsewhere"), fault="out-of-coverage"),
    }
    return out_of_date(setup, rng)


def interference(rng: Random) -> Setup:
    """A strong emission next to the band at one place; half a mile on it is gone."""
    setup = new_or_old(
        healthy(rng, "interference"), "customer: it stops near the shop, always there", rng, old_share=0.75
    )
    here = make_site(rng, "street")
    # A base station 100-300 m away lifts the noise floor by some 10-16 dB through a real front end.
    bad = replace(open_place(rng, "street"), interference_db=rng.uniform(10.5, 16.0), fault="interference")
    return _two_places(setup, here, bad, rng, "field", rng.uniform(0.8, 2.5))
