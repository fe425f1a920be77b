"""A known-good vehicle beside this one: the same place and minutes, its own parts, its own log.

It meets the same roof, walls, repeater and service; on a road it meets trees of its own, since two vehicles do not
stand in the same spot.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace
from random import Random

from satdiag.simulate import job_files
from satdiag.simulate.notebook import Notebook
from satdiag.simulate.setup import Setup
from satdiag.simulate.worlds.living import LivingWorld
from satdiag.simulate.worlds.person import Person
from satdiag.simulate.worlds.roads import Drive
from satdiag.simulate.worlds.tools import everything

LOGGED_S = 600.0
PAUSE_S = 12.0


@dataclass(frozen=True)
class Neighbour:
    """The other vehicle's job sheet and its log."""

    sheet: bytes
    book: Notebook


def good_world(person: Person, rng: Random) -> LivingWorld:
    """A healthy vehicle at the place where ours stands now."""
    ours = person.world
    place = replace(ours.place, name="here", fault=None)
    old = ours.drives.get(ours.place.name)
    drives = (
        {"here": Drive(old.environment, old.elevations_deg, old.crowded, old.together, old.speed_m_s)} if old else {}
    )
    setup = Setup(
        scenario="world",
        sites=ours.setup.sites,
        places={"here": place},
        start="here",
        lineup=ours.setup.lineup,
        package="all",
        activated_before=True,
        account_state="confirmed",
        reason="check",
    )
    return LivingWorld(setup, rng, "service-down" if ours.other == "service-down" else "", drives)


def stand_beside(person: Person, key: str) -> Neighbour:
    """Log levels and locks of both for ten minutes; ours go into the person's log, theirs into one of their own."""
    rng = Random(f"{key}/beside")
    other = good_world(person, rng)
    other.advance(40.0)
    person.world.advance(40.0)
    shift_s = person.world.now_s - other.now_s
    book = Notebook(person.book.instant(shift_s), person.book.time_style, person.book.offset_h)
    kit = everything(person.kit)
    plan = replace(person.plan, swapped_labels=False)
    theirs = Person(other, kit, book, rng, plan, person.setting)
    ends_at_s = person.world.now_s + LOGGED_S
    while person.world.now_s < ends_at_s:
        for one in (person, theirs):
            one.levels()
            one.locks()
        person.world.advance(PAUSE_S)
        other.advance(max(0.0, person.world.now_s - shift_s - other.now_s))
    setup = copy(other.setup)
    setup.has_lineup_file = False
    sheet = job_files.job_toml(setup, kit, "neighbour", book.opened, False, rng)
    return Neighbour(sheet.encode(), book)
