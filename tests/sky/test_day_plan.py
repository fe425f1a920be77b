"""The plan of a day: directions, passes, best and worst hours, and the words on how to park."""

import json

import numpy as np
import pytest

from satdiag.errors import SatdiagError
from satdiag.sheet import Site
from satdiag.sky.constellation import load_packaged, parse_constellation
from satdiag.sky.day_plan import plan_day
from satdiag.sky.look_angles import geostationary_look_angles
from satdiag.sky.orbits import orbits_of
from satdiag.sky.parking import compass_word
from satdiag.sky.stay import Stay
from satdiag.tables import HorizonPoint
from tests.references import look_angles as reference
from tests.references.orbits import LOW_TLE

START = np.datetime64("2026-01-01T00:00", "us")
END = np.datetime64("2026-01-02T00:00", "us")
YARD = Site("yard", 41.2, -96.1, 300.0)
DOCUMENTS = {"elements.tle": (reference.TLE + LOW_TLE).encode()}
HEAD = 'name = "mine"\ncoverage_min_elevation_deg = 10.0\n'


def _moving(*names):
    return HEAD + "".join(f'[[satellite]]\nname = "{name}"\nelements = "elements.tle"\n' for name in names)


def _plan(constellation, site=YARD, readings=None, place=None, days=0):
    found = parse_constellation(constellation) if isinstance(constellation, str) else constellation
    span = (START + np.timedelta64(days, "D"), END + np.timedelta64(days, "D"))
    return plan_day(Stay(site, None, place, readings, None), "that day", span, found, orbits_of(found, DOCUMENTS))


def test_satellites_that_stand_still():
    plan = _plan(load_packaged("demo-pair"))
    for one, longitude in zip(plan.satellites, (-78.5, -121.5), strict=True):
        wanted = geostationary_look_angles(41.2, -96.1, 300.0, longitude)
        assert (one.sky.azimuth_deg, one.sky.elevation_deg) == (wanted.azimuth_deg, wanted.elevation_deg)
        assert (one.moves, one.passes, one.track, one.sky.as_of) == (False, (), (), None)
    assert [rank.same_all_day for rank in plan.ranks] == [True, True]
    assert [rank.best.satellite for rank in plan.ranks] == ["east", "west"]
    assert (plan.handovers, plan.cautions, plan.mask) == ((), (), None)
    assert plan.frequency_mhz == 2332.5
    assert plan.advice[0] == (
        "The satellites stand in the south-southeast (east), 39 degrees up, and in the southwest (west), 36 degrees "
        "up: keep those sides free of walls and trees."
    )
    # 5 m / tan 35.8 deg = 6.9 m
    assert plan.advice[1] == "What rises 5 m above the antenna there must be 7 m away or more."
    assert plan.advice[-1] == "Directions are from true north, not magnetic."


@pytest.mark.parametrize(
    ("azimuth", "word"),
    [
        (0.0, "north"),
        (11.2, "north"),
        (11.3, "north-northeast"),
        (157.5, "south-southeast"),
        (202.0, "south-southwest"),
        (270.0, "west"),
        (348.8, "north"),
        (359.9, "north"),
    ],
)
def test_the_nearest_of_sixteen_compass_points(azimuth, word):
    assert compass_word(azimuth) == word


def test_slots_from_memory_are_told_with_every_plan():
    plan = _plan(load_packaged("north-america-2300"))
    assert len(plan.cautions) == 1
    assert "a and b in 'north-america-2300' are from memory and not checked" in plan.cautions[0]
    assert plan.to_dict()["cautions"] == list(plan.cautions)


def test_three_on_one_ground_track():
    # From 40 N 100 W the highest of the three never stands below 63.3 and the second highest never below 34.2 deg
    # (skyfield 1.55, 4-minute steps).
    plan = _plan(_moving("HIGH-A", "HIGH-B", "HIGH-C"), Site("s", 40.0, -100.0))
    first, second = plan.ranks
    assert first.worst.lowest_elevation_deg == pytest.approx(63.3, abs=0.1)
    assert second.worst.lowest_elevation_deg == pytest.approx(34.0, abs=0.3)
    assert first.best.lowest_elevation_deg > first.worst.lowest_elevation_deg + 10.0
    assert not first.same_all_day
    assert "keep the sky overhead free of roofs and trees" in plan.advice[0]
    assert {change.to for change in plan.handovers} == {"HIGH-A", "HIGH-B", "HIGH-C"}
    for one in plan.satellites:
        heights = [point.elevation_deg for point in one.track]
        assert min(heights) >= 0.0
        assert max(heights) <= one.sky.elevation_deg + 1e-9
        assert one.sky.elevation_deg == pytest.approx(max(heights), abs=0.5)
        hours = [point.at for point in one.track if point.hour]
        assert all(at.endswith(":00:00Z") for at in hours)
        assert len(hours) > 10


def test_hours_are_the_lowest_of_their_samples():
    plan = _plan(_moving("HIGH-A"), Site("s", 40.0, -100.0))
    orbit = orbits_of(parse_constellation(_moving("HIGH-A")), DOCUMENTS)[0]
    (rank,) = plan.ranks
    for hour in (rank.best, rank.worst):
        begin = np.datetime64(hour.from_.removesuffix("Z"), "us")
        seconds = begin + np.arange(0, 3601, 20) * np.timedelta64(1, "s")
        wanted = orbit.elevation_deg(Site("s", 40.0, -100.0), seconds).min()
        assert hour.lowest_elevation_deg == pytest.approx(wanted, abs=1e-3)  # sampled each minute


def test_a_quick_satellite_beside_one_that_stands():
    plan = _plan(_moving("LOW") + '[[satellite]]\nname = "east"\nlongitude_deg = -78.5\n')
    low = plan.satellites[0]
    assert len(low.passes) > 3
    assert all(one.culmination_elevation_deg > 10.0 for one in low.passes)
    assert {(change.from_, change.to) for change in plan.handovers} <= {("east", "LOW"), ("LOW", "east")}
    assert len(plan.advice) >= 3


def test_no_compass_word_for_what_stands_overhead():
    plan = _plan(HEAD + '[[satellite]]\nname = "a"\nlongitude_deg = -78.5\n', Site("equator", 0.0, -78.5))
    assert plan.advice == (
        "The satellite stands nearly overhead (a), 90 degrees up: keep the sky overhead free of roofs and trees.",
        "Directions are from true north, not magnetic.",
    )


def test_what_does_not_rise_is_not_counted_on():
    plan = _plan(HEAD + '[[satellite]]\nname = "far"\nlongitude_deg = 80.0\n')
    assert plan.advice == (
        "No satellite stands high enough here on this day: no way of parking will do.",
        "Satellite far does not rise here: do not count on it.",
    )
    low = _plan(HEAD + '[[satellite]]\nname = "a"\nlongitude_deg = -85.0\n', Site("north", 72.0, -85.0))
    assert "gets only 9 degrees up, below the 10 at which the service is offered" in low.advice[-1]


def test_a_skyline_and_a_roof_are_told():
    behind = tuple(HorizonPoint(float(azimuth), 60.0) for azimuth in range(0, 360, 20))
    plan = _plan(load_packaged("demo-pair"), readings=behind)
    assert plan.mask is not None
    assert "Going by the measured skyline, satellite east in the south-southeast is probably hidden" in plan.advice[2]
    garage = _plan(load_packaged("demo-pair"), place="indoors")
    assert garage.advice[0] == "The vehicle stands indoors: take it out under the open sky first."


def test_old_elements_are_told_and_then_refused():
    assert "'HIGH-A' are 40 days from" in _plan(_moving("HIGH-A"), days=40).cautions[0]
    with pytest.raises(SatdiagError, match=r"'HIGH-A'.*beyond 180 days they say nothing"):
        _plan(_moving("HIGH-A"), days=200)


def test_the_document_is_plain_json():
    plan = _plan(_moving("HIGH-A", "LOW"))
    document = json.loads(json.dumps(plan.to_dict(), allow_nan=False))
    assert document["from"] == "2026-01-01T00:00:00Z"
    assert document["satellites"][0]["passes"][0]["set"].endswith("Z")
    assert document["ranks"][0]["best"]["lowest_elevation_deg"] > 0.0
