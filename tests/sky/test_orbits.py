"""Constellations over time: SGP4's verification set, skyfield's directions, hand-over, and the age of elements."""

from itertools import pairwise

import numpy as np
import pytest
from skyfield.api import EarthSatellite, load, wgs84

from satdiag.errors import BadInput, SatdiagError
from satdiag.sheet import Site
from satdiag.sky.constellation import Satellite, parse_constellation
from satdiag.sky.elements import gmst_rad, parse_elements, positions_km, teme_positions_km
from satdiag.sky.look_angles import geostationary_look_angles, look_angles
from satdiag.sky.orbits import Handover, Orbit, age_warning, check_age, handovers, highest_of, orbits_of
from satdiag.sky.passes import sample_instants
from tests.references import look_angles as reference
from tests.references.orbits import LOW_TLE, verification_positions, verification_sets

START = np.datetime64("2026-01-01T00:00", "us")
END = np.datetime64("2026-01-02T00:00", "us")
SITE = Site("s", 40.0, -100.0)
CONSTELLATION = 'name = "high"\n' + "".join(
    f'[[satellite]]\nname = "HIGH-{letter}"\nelements = "elements.tle"\n' for letter in "ABC"
)
DOCUMENTS = {"elements.tle": reference.TLE.encode()}
# The verification output is printed to 1e-8 km; the library's own tests allow 2e-7.
VERIFICATION_KM = 2e-7


def _high():
    return orbits_of(parse_constellation(CONSTELLATION), DOCUMENTS)


def test_sgp4s_verification_set():
    sets, wanted = verification_sets(), verification_positions()
    assert len(sets) == 29
    compared = 0
    for number, lines in sets.items():
        elements = parse_elements("\n".join(lines), "elements.tle")[0]
        minutes = np.array([minute for minute, _ in wanted[number]])
        instants = elements.epoch + np.round(minutes * 60e6).astype("timedelta64[us]")
        theirs = np.array([position for _, position in wanted[number]])
        assert teme_positions_km(elements, instants) == pytest.approx(theirs, abs=VERIFICATION_KM), number
        compared += len(minutes)
    assert compared == 588  # all lines of the output but those of the three broken sets


@pytest.mark.parametrize("title", ["HIGH-A", "HIGH-B", "HIGH-C", "FLAT", "LOW"])
def test_a_day_of_directions_against_skyfield(title):
    lines = (reference.TLE + LOW_TLE).splitlines()
    at = lines.index(title)
    elements = parse_elements("\n".join(lines[at : at + 3]), "elements.tle")[0]
    orbit = Orbit(Satellite(title), elements)
    minutes = np.arange(0, 1440, 7)
    times = load.timescale(builtin=True).utc(2026, 1, 1, 0, minutes)
    there = EarthSatellite(lines[at + 1], lines[at + 2], title, times.ts) - wgs84.latlon(41.2, -96.1, 300.0)
    elevation, azimuth, distance = there.at(times).altaz()
    found = orbit.seen_from(Site("yard", 41.2, -96.1, 300.0), START + minutes * np.timedelta64(60, "s"))
    turn = (found.azimuth_deg - azimuth.degrees + 180.0) % 360.0 - 180.0
    assert np.abs(turn * np.cos(elevation.radians)).max() < 0.01
    assert found.elevation_deg == pytest.approx(elevation.degrees, abs=0.01)
    assert found.range_km == pytest.approx(distance.km, abs=0.5)


def test_leaving_out_ut1_costs_what_is_said_of_it():
    # UTC is kept within 0.9 s of UT1 (ITU-R TF.460): the Earth turned by that much more or less under the satellites.
    late_deg = 360.0 * 0.9 / 86164.1
    instants = sample_instants(START, END, 20.0)
    for text, most_deg in ((reference.TLE, 0.005), (LOW_TLE, 0.06)):
        elements = parse_elements(text, "elements.tle")[0]
        position = positions_km(elements, instants)
        seen, moved = (look_angles(position, 40.0, longitude) for longitude in (-100.0, -100.0 + late_deg))
        up = seen.elevation_deg > 10.0
        turn = (seen.azimuth_deg - moved.azimuth_deg + 180.0) % 360.0 - 180.0
        off = np.hypot(turn * np.cos(np.radians(seen.elevation_deg)), seen.elevation_deg - moved.elevation_deg)[up]
        assert 0.25 * most_deg < off.max() < most_deg


def test_sidereal_time_over_centuries_is_skyfields():
    from skyfield.sgp4lib import theta_GMST1982

    days = np.array([2433282.5, 2451545.0, 2461041.5, 2470000.5])
    theirs = [theta_GMST1982(day, 0.37)[0] for day in days]
    ours = gmst_rad(days, np.full(4, 0.37))
    assert np.abs(np.exp(1j * ours) - np.exp(1j * np.array(theirs))).max() < 1e-8


def test_a_geostationary_satellite_stands_still():
    pair = orbits_of(parse_constellation('name = "x"\n[[satellite]]\nname = "east"\nlongitude_deg = -78.5\n'), {})
    found = pair[0].seen_from(SITE, sample_instants(START, END, 3600.0))
    wanted = geostationary_look_angles(40.0, -100.0, 0.0, -78.5)
    assert found.azimuth_deg.shape == (25,)
    assert set(found.elevation_deg) == {float(wanted.elevation_deg)}
    assert not pair[0].moves


def test_highest_of_a_table():
    table = np.array([[10.0, 30.0, 5.0, 20.0], [20.0, 10.0, 4.0, 20.0]])
    assert highest_of(table, 8.0).tolist() == [1, 0, -1, 0]


def test_handover_on_one_ground_track_comes_every_eight_hours():
    # Three satellites follow each other on one ground track a third of a sidereal day apart (23 h 56 min 4.09 s), and
    # each leads twice as it passes (before and after it stands in the north), so every third hand-over is as far
    # from the one before; the Moon and the Sun pull them about a minute off. The highest of them never
    # stands below 63.3 deg (skyfield 1.55, 4-minute steps).
    orbits = _high()
    instants = sample_instants(START, END + np.timedelta64(6, "h"), 60.0)
    found = handovers(orbits, SITE, instants, 10.0)
    instants_s = np.array([(one.at - START) / np.timedelta64(1, "us") / 1e6 for one in found])
    assert len(found) >= 9
    assert instants_s[3:] - instants_s[:-3] == pytest.approx(86164.0905 / 3.0, abs=120.0)
    for one in found:
        before, after = one.at - np.timedelta64(1, "s"), one.at + np.timedelta64(1, "s")
        heights = {orbit.name: orbit.elevation_deg(SITE, np.array([before, one.at, after])) for orbit in orbits}
        assert heights[one.from_][0] > heights[one.to][0]
        assert heights[one.from_][2] < heights[one.to][2]
        assert abs(heights[one.from_][1] - heights[one.to][1]) < 1e-3
    assert min(
        max(orbit.elevation_deg(SITE, instants[i : i + 1])[0] for orbit in orbits) for i in range(0, 1440, 4)
    ) == (pytest.approx(63.3, abs=0.1))


def test_two_changes_in_one_step_are_both_found():
    # One satellite leads, then a second, then the third, told from two instants alone.
    orbits = _high()
    daily = handovers(orbits, SITE, sample_instants(START, END, 60.0), 10.0)
    first, second = next(pair for pair in pairwise(daily) if pair[0].from_ != pair[1].to)
    span = np.array([first.at - np.timedelta64(600, "s"), second.at + np.timedelta64(600, "s")])
    found = handovers(orbits, SITE, span, 10.0)
    assert [(one.from_, one.to) for one in found] == [(first.from_, first.to), (second.from_, second.to)]
    for one, wanted in zip(found, (first, second), strict=True):
        assert abs(one.at - wanted.at) < np.timedelta64(1, "s")


def test_to_none_and_back():
    alone = _high()[:1]
    found = handovers(alone, SITE, sample_instants(START, END, 60.0), 10.0)
    assert [(one.from_, one.to) for one in found] == [("HIGH-A", None), (None, "HIGH-A")]
    assert alone[0].elevation_deg(SITE, np.array([one.at for one in found])) == pytest.approx([10.0, 10.0], abs=0.001)
    assert isinstance(found[0], Handover)


# --- where the elements come from, and how old they may be -------------------------------------------------------


def test_elements_in_the_text_of_the_constellation_are_those_of_a_file():
    lines = "\n".join(reference.TLE.splitlines()[:3])
    text = f'name = "x"\n[[satellite]]\nname = "HIGH-A"\ntle = """\n{lines}\n"""\n'
    (inside,) = orbits_of(parse_constellation(text), {})
    instants = sample_instants(START, END, 3600.0)
    assert inside.moves
    assert inside.elevation_deg(SITE, instants) == pytest.approx(_high()[0].elevation_deg(SITE, instants))


def test_a_missing_file_is_one_clear_error():
    with pytest.raises(BadInput, match=r"satellite 'HIGH-A' are to be in elements\.tle, which is not in the job"):
        orbits_of(parse_constellation(CONSTELLATION), {})


def _low():
    return Orbit(Satellite("LOW"), parse_elements(LOW_TLE, "elements.tle")[0])


@pytest.mark.parametrize(("days", "warned"), [(0, False), (30, False), (31, True), (180, True)])
def test_old_elements_of_a_slow_satellite_are_warned_of(days, warned):
    told = check_age(_high()[:1], START + np.timedelta64(days, "D"))
    assert bool(told) == warned
    assert not warned or f"the elements of 'HIGH-A' are {days} days from the time asked for" in told[0]


def test_elements_that_are_too_old_are_refused_with_their_age():
    with pytest.raises(
        SatdiagError, match=r"'HIGH-A' are of 2026-01-01, 181 days from.*beyond 180 days.*newer elements"
    ):
        check_age(_high(), START + np.timedelta64(181, "D"))
    with pytest.raises(SatdiagError, match=r"'LOW' are of 2026-01-01, 31 days from.*beyond 30 days"):
        check_age([_low()], START + np.timedelta64(31, "D"))


def test_a_low_orbit_grows_old_sooner():
    assert age_warning(_low(), START + np.timedelta64(4, "D")) is None
    assert "6 days" in age_warning(_low(), START - np.timedelta64(6, "D"))
    assert age_warning(Orbit(Satellite("east", -78.5)), START) is None
