"""Element sets: SGP4 and the turn to the Earth against skyfield, the notations against each other, bad input."""

import io
import json

import numpy as np
import pytest
from sgp4.api import Satrec
from sgp4.exporter import export_omm
from skyfield.api import EarthSatellite, load
from skyfield.framelib import itrs

from satdiag.errors import BadInput, SatdiagError
from satdiag.sky.elements import find_set, gmst_rad, parse_elements, positions_km
from satdiag.sky.look_angles import look_angles
from tests.references import look_angles as reference
from tests.references.orbits import LOW_TLE

HALF_KM = 0.5


@pytest.fixture(scope="module")
def sets():
    return parse_elements(reference.TLE, "elements.tle")


def _hours(count):
    return np.datetime64("2026-01-01T00:00", "us") + np.arange(count) * np.timedelta64(3600, "s")


def test_titles_and_epoch(sets):
    assert [entry.name for entry in sets] == ["HIGH-A", "HIGH-B", "HIGH-C", "FLAT"]
    assert sets[0].epoch == np.datetime64("2026-01-01T00:00:00", "us")
    assert sets[0].age_days(np.datetime64("2025-12-30T12:00", "us")) == pytest.approx(1.5)


def test_sidereal_time_is_skyfields():
    angle = gmst_rad(np.array([2461041.5]), np.array([0.0]))
    assert np.degrees(angle)[0] == pytest.approx(reference.GMST_2026_DEG, abs=1e-6)


@pytest.mark.parametrize("title", ["HIGH-A", "HIGH-B", "FLAT"])
def test_earth_fixed_positions_against_skyfield(sets, title):
    lines = reference.TLE.splitlines()
    start = lines.index(title)
    scale = load.timescale(builtin=True)
    times = scale.utc(2026, 1, 1, np.arange(48))
    theirs = EarthSatellite(lines[start + 1], lines[start + 2], title, scale).at(times).frame_xyz(itrs).km.T
    ours = positions_km(find_set(sets, title.lower(), "elements.tle"), _hours(48))
    assert ours == pytest.approx(theirs, abs=HALF_KM)


def test_directions_against_skyfields(sets):
    for when, azimuth, elevation, distance in reference.ELLIPTICAL:
        position = positions_km(sets[0], np.array([np.datetime64(when, "us")]))[0]
        found = look_angles(position, 40.0, -100.0)
        assert found.azimuth_deg == pytest.approx(azimuth, abs=0.005)
        assert found.elevation_deg == pytest.approx(elevation, abs=0.005)
        assert found.range_km == pytest.approx(distance, abs=0.1)


def test_a_nearly_geostationary_set_over_a_day(sets):
    minutes = np.datetime64("2026-01-01", "us") + np.arange(0, 1440, 10) * np.timedelta64(60, "s")
    found = look_angles(positions_km(sets[3], minutes), 40.0, -75.0)
    ends = found.elevation_deg.min(), found.elevation_deg.max(), found.azimuth_deg.min(), found.azimuth_deg.max()
    assert ends == pytest.approx((*reference.FLAT_ELEVATION_DEG, *reference.FLAT_AZIMUTH_DEG), abs=0.002)


def _omm_fields():
    lines = reference.TLE.splitlines()
    return export_omm(Satrec.twoline2rv(lines[1], lines[2]), "HIGH-A")


def _as_csv(fields):
    out = io.StringIO()
    out.write(",".join(fields) + "\n" + ",".join(str(value) for value in fields.values()) + "\n")
    return out.getvalue()


def _as_xml(fields):
    body = "".join(f"<{key}>{value}</{key}>" for key, value in fields.items())
    parts = f"<metadata></metadata><data><meanElements>{body}</meanElements><tleParameters/></data>"
    return f"<ndm><omm><body><segment>{parts}</segment></body></omm></ndm>"


def _as_key_values(fields):
    return "CCSDS_OMM_VERS = 2.0\n" + "".join(f"{key} = {value}\n" for key, value in fields.items())


@pytest.mark.parametrize("write", [_as_csv, _as_xml, _as_key_values, json.dumps])
def test_every_notation_of_an_omm_is_the_tle(sets, write):
    found = parse_elements(write(_omm_fields()), "elements.omm")
    assert [entry.name for entry in found] == ["HIGH-A"]
    assert positions_km(found[0], _hours(24)) == pytest.approx(positions_km(sets[0], _hours(24)), abs=1e-3)


def test_two_key_value_messages_in_one_file():
    other = {**_omm_fields(), "OBJECT_NAME": "OTHER"}
    found = parse_elements(_as_key_values(_omm_fields()) + _as_key_values(other), "elements.omm")
    assert [entry.name for entry in found] == ["HIGH-A", "OTHER"]


def test_the_only_untitled_set_serves_any_satellite():
    bare = "\n".join(reference.TLE.splitlines()[1:3])
    sets = parse_elements(bare, "elements.tle")
    assert find_set(sets, "east", "elements.tle") is sets[0]


def test_no_fitting_title(sets):
    with pytest.raises(BadInput, match=r"elements\.tle: none of 4 element sets has the title 'east'.*line above"):
        find_set(sets, "east", "elements.tle")


TLE_LINES = reference.TLE.splitlines()


def _type_four(line):
    """Line 1 of a TLE with ephemeris type 4 and the checksum that belongs to it."""
    changed = line[:62] + "4" + line[63:68]
    return changed + str(sum(int(part) if part.isdigit() else part == "-" for part in changed) % 10)


@pytest.mark.parametrize(
    ("text", "file", "told"),
    [
        ("", "elements.tle", "no element set was found"),
        ("a title alone\n", "elements.tle", "no element set was found"),
        ("\n".join([TLE_LINES[1][:40], TLE_LINES[2]]), "elements.tle", "line 1: a TLE line is cut short"),
        (TLE_LINES[2], "elements.tle", "line 1: a TLE line is cut short, or line 2 comes without line 1"),
        (TLE_LINES[1], "elements.tle", "line 1 of a TLE comes without line 2"),
        ("\n".join([TLE_LINES[1], TLE_LINES[5]]), "elements.tle", "line 2: not a valid TLE"),
        ("\n".join([TLE_LINES[1], TLE_LINES[2].replace("63.4", "63.5")]), "elements.tle", "not a valid TLE"),
        ("<ndm><omm>", "elements.omm", "not readable as an OMM"),
        ("[1, 2]", "elements.omm", "OMM"),
        ("{", "elements.omm", "not readable as an OMM"),
        ("", "elements.omm", "no element set was found"),
        ('{"EPOCH": "2026-01-01T00:00:00"}', "elements.omm", "the OMM has no "),
        (json.dumps({**_omm_fields(), "EPOCH": "yesterday"}), "elements.omm", "cannot be read"),
        (json.dumps({**_omm_fields(), "ECCENTRICITY": "round"}), "elements.omm", "cannot be read"),
        (json.dumps({**_omm_fields(), "ECCENTRICITY": "1.5"}), "elements.omm", "not a valid OMM"),
        (json.dumps({**_omm_fields(), "MEAN_ELEMENT_THEORY": "DSST"}), "elements.omm", "MEAN_ELEMENT_THEORY is DSST"),
        (json.dumps({**_omm_fields(), "REF_FRAME": "ICRF"}), "elements.omm", "REF_FRAME is ICRF, and only TEME"),
        (json.dumps({**_omm_fields(), "TIME_SYSTEM": "TAI"}), "elements.omm", "TIME_SYSTEM is TAI"),
        ("\n".join([_type_four(TLE_LINES[1]), TLE_LINES[2]]), "elements.tle", "extended theory"),
    ],
)
def test_bad_elements_are_one_clear_error(text, file, told):
    with pytest.raises(BadInput, match=told) as caught:
        parse_elements(text, file)
    assert str(caught.value).startswith(file)
    assert len(caught.value.problems) == 1


def test_elements_that_cannot_be_carried_so_far():
    # A low orbit with strong drag: SGP4 says the satellite has decayed.
    drag = {**_omm_fields(), "MEAN_MOTION": 16.2, "ECCENTRICITY": 0.001, "BSTAR": 0.05}
    low = parse_elements(json.dumps(drag), "elements.omm")[0]
    with pytest.raises(SatdiagError, match=r"cannot be carried to the time of the job.*newer elements"):
        positions_km(low, np.array([np.datetime64("2027-01-01", "us")]))


def test_an_offset_of_the_epoch_counts():
    late = {**_omm_fields(), "EPOCH": "2026-01-01T02:00:00+02:00"}
    assert parse_elements(json.dumps(late), "elements.omm")[0].epoch == np.datetime64("2026-01-01T00:00", "us")


def test_limits_of_age_by_orbit(sets):
    assert (sets[0].age_limits.warn_days, sets[0].age_limits.refuse_days) == (30.0, 180.0)
    assert sets[0].period_s == pytest.approx(86164.09, abs=0.5)
    low = parse_elements(LOW_TLE, "elements.tle")[0]
    assert (low.age_limits.warn_days, low.age_limits.refuse_days) == (5.0, 30.0)
    assert low.period_s == pytest.approx(86400.0 / 15.2, rel=1e-6)
