"""Best and worst hours by the chance that a satellite is clear, and what a skyline adds to the words on parking."""

import math

import numpy as np
import pytest

from satdiag.sheet import Site
from satdiag.sky.clear_hours import clear_hours
from satdiag.sky.constellation import load_packaged, parse_constellation
from satdiag.sky.day_plan import plan_day
from satdiag.sky.orbits import orbits_of
from satdiag.sky.skyline_at import edge_at
from satdiag.sky.stay import Stay, mask_of
from satdiag.sky.together import chances_now, together
from satdiag.tables import HorizonPoint, Obstacle
from tests.references import look_angles as reference

START = np.datetime64("2026-01-01T00:00", "us")
SPAN = (START, START + np.timedelta64(1, "D"))
SITE = Site("s", 40.0, -100.0)
YARD = Site("yard", 41.2, -96.1, 300.0)
DOCUMENTS = {"elements.tle": reference.TLE.encode()}
HEAD = 'name = "mine"\ncoverage_min_elevation_deg = 10.0\n'


def _moving(*names):
    return parse_constellation(
        HEAD + "".join(f'[[satellite]]\nname = "{name}"\nelements = "elements.tle"\n' for name in names)
    )


def _wall(begin_deg, end_deg, high_deg):
    return (Obstacle(begin_deg, end_deg, 10.0, 10.0 * math.tan(math.radians(high_deg)), "a wall"),)


def _stay(site=SITE, place=None, readings=None, obstacles=None):
    return Stay(site, None, place, readings, obstacles)


def _plan(stay, found):
    return plan_day(stay, "that day", SPAN, found, orbits_of(found, DOCUMENTS))


def test_a_wall_before_the_highest_way_turns_best_into_worst():
    # HIGH-A stands at azimuth 30 deg, 83 deg high, at 04:00 (skyfield 1.55); the wall there is 87 deg high.
    found = _moving("HIGH-A")
    open_, walled = (_plan(_stay(obstacles=_wall(*wall)), found) for wall in ((0, 360, 1.0), (0, 360, 40.0)))
    assert open_.ranks == walled.ranks  # by elevation alone
    assert walled.clear_hours.best.p_any_clear > 0.9
    assert walled.clear_hours.worst.p_any_clear == 0.0  # below the horizon
    hidden = _plan(_stay(obstacles=_wall(0, 180, 87.0)), found)
    by_height = hidden.ranks[0].best.from_
    assert hidden.clear_hours.best.from_ != by_height
    assert hidden.clear_hours.known_from == "obstacles"


def test_an_hour_is_the_mean_of_one_satellites_chances():
    found = _moving("HIGH-B")
    stay = _stay(obstacles=_wall(20, 200, 55.0))
    (orbit,) = orbits_of(found, DOCUMENTS)
    hours = clear_hours(stay, [orbit], SPAN, 10.0)
    means = {}
    for begin in np.arange(*SPAN, np.timedelta64(1, "h")):
        instants = begin + np.arange(0, 3600, orbit.step_s) * np.timedelta64(1, "s")
        seen = orbit.seen_from(SITE, instants)
        chance = np.where(seen.elevation_deg >= 10.0, chances_now(stay, seen.azimuth_deg, seen.elevation_deg), 0.0)
        means[f"{begin.astype('datetime64[s]')}Z"] = chance.mean()
    assert hours.best.p_any_clear == pytest.approx(max(means.values()), abs=1e-3)
    assert hours.worst.p_any_clear == pytest.approx(min(means.values()), abs=1e-3)
    assert means[hours.best.from_] == pytest.approx(max(means.values()), abs=1e-3)
    assert hours.best.p_any_clear_90[0] <= hours.best.p_any_clear <= hours.best.p_any_clear_90[1]
    assert not hours.same_all_day


def test_more_satellites_make_it_better():
    stay = _stay(place="street")
    one, three = (_plan(stay, _moving(*names)) for names in (("HIGH-A",), ("HIGH-A", "HIGH-B", "HIGH-C")))
    assert three.clear_hours.worst.p_any_clear > one.clear_hours.worst.p_any_clear
    assert three.clear_hours.best.p_any_clear >= one.clear_hours.best.p_any_clear - 0.01
    assert three.clear_hours.known_from == "place"


def test_what_stands_still_is_alike_all_day_and_as_told_for_the_site():
    stay = _stay(YARD, obstacles=_wall(100, 250, 36.0))
    plan = _plan(stay, load_packaged("demo-pair"))
    assert plan.clear_hours.same_all_day
    wanted = together(stay, [one.sky for one in plan.satellites])
    assert plan.clear_hours.best.p_any_clear == pytest.approx(wanted.any_, abs=1e-6)
    assert plan.clear_hours.best.p_any_clear_90 == pytest.approx(wanted.any_90, abs=1e-6)


def test_where_nothing_is_known_there_is_none():
    assert _plan(_stay(), _moving("HIGH-A")).clear_hours is None
    assert _plan(_stay(), _moving("HIGH-A")).to_dict()["clear_hours"] is None


# --- how to park, by the skyline ---------------------------------------------------------------------------------


def test_a_hidden_satellite_is_told_how_high_the_skyline_is_and_how_far_to_go():
    # A level skyline of 60 deg: at 39 deg one must stand tan(upper end) / tan(39) times as far away.
    plan = _plan(
        _stay(YARD, readings=[HorizonPoint(float(at), 60.0) for at in range(0, 360, 20)]), load_packaged("demo-pair")
    )
    text = next(said for said in plan.advice if "satellite east" in said)
    edge = edge_at(plan.mask, np.array([plan.satellites[0].sky.azimuth_deg]))
    azimuth = round(plan.satellites[0].sky.azimuth_deg)
    assert f"At azimuth {azimuth} degrees the skyline reaches 60 degrees (90 %: " in text
    assert f"to {edge.high_deg[0]:.0f}), and the satellite stands at 39." in text
    times = math.tan(math.radians(edge.high_deg[0])) / math.tan(math.radians(plan.satellites[0].sky.elevation_deg))
    assert f"{math.ceil(times * 10) / 10:.1f} times as far from what stands there is far enough." in text
    assert plan.advice[-1] == "Directions are from true north, not magnetic."


def test_a_free_one_is_told_by_how_much():
    plan = _plan(
        _stay(YARD, readings=[HorizonPoint(float(at), 10.0) for at in range(0, 360, 20)]), load_packaged("demo-pair")
    )
    free = [said for said in plan.advice if "is free where the vehicle stands" in said]
    assert len(free) == 2
    edge = edge_at(plan.mask, np.array([plan.satellites[0].sky.azimuth_deg]))
    spare = math.floor(plan.satellites[0].sky.elevation_deg - edge.high_deg[0])
    assert f"stands, {spare} degrees above the upper end of the skyline's range." in free[0]


def test_of_those_that_move_the_time_behind_and_the_sides():
    walled = _plan(_stay(obstacles=_wall(0, 180, 87.0)), _moving("HIGH-A", "HIGH-B", "HIGH-C"))
    text = next(said for said in walled.advice if "behind it for about" in said)
    assert "stand farther from what rises there." in text
    low = _plan(_stay(obstacles=_wall(0, 360, 5.0)), _moving("HIGH-A", "HIGH-B", "HIGH-C"))
    assert "By the skyline there, the one that is highest of those that move is free all the time." in low.advice


def test_a_roof_ends_what_the_skyline_says():
    stay = _stay(YARD, place="indoors", readings=[HorizonPoint(float(at), 60.0) for at in range(0, 360, 20)])
    assert not [said for said in _plan(stay, load_packaged("demo-pair")).advice if "skyline reaches" in said]


def test_the_skyline_between_its_azimuths_runs_straight_and_round():
    stay = _stay(YARD, readings=[HorizonPoint(0.0, 10.0), HorizonPoint(180.0, 30.0)])
    mask = mask_of(stay)
    edge = edge_at(mask, np.array([0.0, 90.0, 91.0, 359.0])).edge_deg
    assert edge == pytest.approx([10.0, 20.0, 20.0 + 1.0 / 9.0, 10.0 + 1.0 / 9.0], abs=1e-6)
