"""What to expect on a day: all satellites at one instant, those too low left out, streets, and the words for it."""

import dataclasses
import json

import numpy as np
import pytest

from satdiag.errors import SatdiagError
from satdiag.sheet import Site
from satdiag.sky.constellation import load_packaged, parse_constellation
from satdiag.sky.day_plan import plan_day
from satdiag.sky.expect import KINDS, environment
from satdiag.sky.expect_day import day_expectation
from satdiag.sky.expect_text import expectation_text
from satdiag.sky.orbits import orbits_of
from satdiag.sky.propagation.street import Street, mask_deg
from satdiag.sky.stay import Stay
from satdiag.sky.street_of import street_named, street_of_obstacles
from satdiag.tables import HorizonPoint, Obstacle
from tests.references import look_angles as reference

START = np.datetime64("2026-01-02T00:00", "us")
SPAN = (START, START + np.timedelta64(1, "D"))
SITE = Site("s", 40.0, -100.0)
HEAD = 'name = "mine"\nband_mhz = [2320.0, 2345.0]\ncoverage_min_elevation_deg = 10.0\n'
MOVING = HEAD + "".join(
    f'[[satellite]]\nname = "{name}"\nelements = "elements.tle"\n' for name in ("HIGH-A", "HIGH-B", "HIGH-C")
)


def plan_of(constellation=MOVING, site=SITE, readings=None, obstacles=None, place=None):
    found = parse_constellation(constellation) if isinstance(constellation, str) else constellation
    orbits = orbits_of(found, {"elements.tle": reference.TLE.encode()})
    return plan_day(Stay(site, None, place, readings, obstacles), "that day", SPAN, found, orbits)


@pytest.fixture(scope="module")
def moving():
    return plan_of()


def said(plan, word, street=None):
    return expectation_text(day_expectation(plan, word, street), lambda instant: instant[11:16])


# --- instants ----------------------------------------------------------------------------------------------------


def test_all_satellites_are_taken_at_one_instant_of_the_best_and_of_the_worst_hour(moving):
    best, worst = moving.moments
    assert (best.word, worst.word) == ("best-hour", "worst-hour")
    orbits = orbits_of(parse_constellation(MOVING), {"elements.tle": reference.TLE.encode()})
    for moment, hour in ((best, moving.ranks[0].best), (worst, moving.ranks[0].worst)):
        assert hour.from_ < moment.at < hour.to
        at = np.array([np.datetime64(moment.at.removesuffix("Z"), "us")])
        wanted = [float(orbit.elevation_deg(SITE, at)[0]) for orbit in orbits]
        assert [one.elevation_deg for one in moment.directions] == pytest.approx(wanted, abs=1e-6)
    # Three on one ground track: never two of them overhead, though each is at its own highest instant.
    assert all(one.sky.elevation_deg > 89.0 for one in moving.satellites)
    for moment in moving.moments:
        assert sorted(one.elevation_deg for one in moment.directions)[1] < 81.0


def test_at_least_one_works_is_of_satellites_that_stand_there_together(moving):
    found = day_expectation(moving, "trees")
    worst = found.moments[1]
    heights = [one.elevation_deg for one in worst.satellites]
    wanted = environment("trees", heights, [one.azimuth_deg for one in worst.satellites], 2332.5e6)
    assert worst.kinds[0] == wanted
    # Three at 64, 42 and 25 deg; at their own highest instants they would all stand at 90 deg.
    assert heights == pytest.approx([63.7, 42.0, 25.2], abs=1.0)


def test_a_skyline_moves_the_hours():
    wall = [HorizonPoint(float(at), 85.0 if at <= 60 or at >= 300 else 3.0) for at in range(0, 360, 10)]
    plan = plan_of(readings=wall)
    assert plan.moments[1].at > plan.clear_hours.worst.from_
    assert plan.moments[1].at < plan.clear_hours.worst.to
    assert plan.clear_hours.worst.from_ != plan.ranks[0].worst.from_


def test_a_satellite_too_low_for_the_service_is_not_counted():
    # From 65 N the slot at -121.5 stands 9.4 deg high, below the 10 at which the service is offered.
    plan = plan_of(load_packaged("demo-pair"), Site("north", 65.0, -78.5))
    (moment,) = day_expectation(plan, "trees").moments
    assert [one.name for one in moment.satellites] == ["east"]
    assert [one.name for one in moment.too_low] == ["west"]
    low, high = moment.kinds[0].any_path_share_range
    assert low == high == moment.kinds[0].paths[0].works_share
    text = said(plan, "trees")
    assert "west is at 9°, below the 10° of the service: not counted" in text
    assert "at least one of them" not in text


def test_where_none_stands_high_enough_it_is_said():
    plan = plan_of(HEAD + '[[satellite]]\nname = "far"\nlongitude_deg = 80.0\n')
    text = said(plan, "street")
    assert "no satellite stands high enough" in text
    assert "far is below the horizon: not counted" in text


# --- streets -----------------------------------------------------------------------------------------------------


def test_a_street_has_a_height_on_each_side():
    # Along 30 deg, 20 m wide: 10 m to either front; 12 m on the left, 5 m on the right.
    street = street_named(30.0, 20.0, 12.0, 5.0)
    edges = mask_deg(street, [120.0, 300.0, 30.0])
    assert edges == pytest.approx([np.degrees(np.arctan(0.5)), np.degrees(np.arctan(1.2)), 0.0], abs=1e-6)


@pytest.mark.parametrize("along", [0.0, 40.0, 100.0, 175.0])
def test_two_obstacles_across_from_each_other_form_a_street(along):
    right = Obstacle((along + 40.0) % 360, (along + 140.0) % 360, 9.0, 5.0, "")
    left = Obstacle((along + 220.0) % 360, (along + 320.0) % 360, 11.0, 12.0, "")
    for listed in ((right, left), (left, right)):
        street = street_of_obstacles(listed)
        assert street.azimuth_deg == pytest.approx(along)
        assert (street.width_m, street.left_height_m, street.height_m) == (20.0, 12.0, 5.0)


@pytest.mark.parametrize(
    "other",
    [
        Obstacle(130.0, 230.0, 10.0, 10.0, "beside it"),
        Obstacle(260.0, 290.0, 10.0, 10.0, "narrow"),
        Obstacle(220.0, 320.0, 60.0, 10.0, "far away"),
        Obstacle(220.0, 320.0, 10.0, -2.0, "below the antenna"),
    ],
)
def test_what_forms_no_street(other):
    assert street_of_obstacles([Obstacle(40.0, 140.0, 10.0, 10.0, ""), other]) is None
    assert street_of_obstacles(None) is None


def test_a_street_that_was_asked_for_goes_before_one_of_obstacles():
    listed = (Obstacle(40.0, 140.0, 9.0, 5.0, ""), Obstacle(220.0, 320.0, 11.0, 12.0, ""))
    plan = plan_of(load_packaged("demo-pair"), obstacles=listed)
    assert day_expectation(plan, "street").street_from == "obstacles"
    assert "found from the listed obstacles" in said(plan, "street")
    asked = Street(154.2, 20.0, 20.0)
    found = day_expectation(plan, "street", asked)
    assert (found.street, found.street_from) == (asked, "asked")
    assert day_expectation(plan, "trees", asked).street is None


# --- words -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["open", "street", "trees", "garage"])
def test_the_text_names_satellites_numbers_and_sources(word):
    text = said(plan_of(load_packaged("demo-pair"), Site("yard", 41.2, -96.1)), word)
    for part in ("east at 39°", "west at 36°", "at least one of them works", "from: ", "cloudburst"):
        assert part in text
    assert text.count("2.33 GHz") == len(KINDS[word]) + 1
    assert " 0 dB in" not in text
    assert "In the best hour" not in text
    assert "99 to 100 %" not in text


def test_the_text_of_a_day_with_movement(moving):
    text = said(moving, "trees")
    assert "In the best hour, with all of them as they stand at " in text
    assert "In the worst hour, with all of them as they stand at 00:30" in text
    assert "at least one of them works in at least 99 % of the way driven" in text
    assert text.count("  from: ITU-R P.681-11, Annex 1, 4.1.1") == 1  # what holds throughout is said once


def test_words_for_a_street():
    plan = plan_of(load_packaged("demo-pair"), Site("yard", 41.2, -96.1))
    text = said(plan, "street", street_named(154.0, 20.0, 20.0, 8.0))
    assert "clear of the buildings" in text
    assert "over the edge" not in text.split("west at")[0]
    assert "buildings block" in text
    assert "runs along 154° and 334° from true north, 20 m wide" in text
    assert "20 m above the antenna on the left and 8 m on the right" in text


def test_what_cannot_be():
    plan = plan_of(load_packaged("demo-pair"))
    with pytest.raises(SatdiagError, match="'cellar' is not an environment"):
        day_expectation(plan, "cellar")
    with pytest.raises(SatdiagError, match="band_mhz or frequency_mhz"):
        day_expectation(dataclasses.replace(plan, frequency_mhz=None), "open")


def test_the_document_holds_the_numbers(moving):
    document = json.loads(json.dumps(day_expectation(moving, "street").to_dict(), allow_nan=False))
    worst = document["moments"][1]
    assert worst["word"] == "worst-hour"
    assert worst["kinds"][0]["paths"][0]["exceeded_10_db"] > 1.0
    assert worst["kinds"][0]["any_path_share_range"][1] <= 1.0
