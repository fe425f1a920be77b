"""The sky of a whole job: sites, moves, roofs, satellites that move, and what could not be done."""

import pytest

from satdiag.errors import BadInput, SatdiagError
from satdiag.sky.estimate import estimate_sky
from satdiag.sky.look_angles import geostationary_look_angles
from satdiag.sky.place_prior import low_words
from tests.helpers import BASE, make_job
from tests.references import look_angles as reference

YARD = '[[site]]\nname = "yard"\nlatitude_deg = 41.2\nlongitude_deg = -96.1\nheight_m = 300.0\n'
STREET = '[[site]]\nname = "street"\nlatitude_deg = 41.3\nlongitude_deg = -96.0\n'
PAIR = '[service]\nconstellation = "demo-pair"\n'
OWN = '[service]\nconstellation = "constellation.toml"\n'
HORIZON = b"azimuth_deg,elevation_deg\n" + b"".join(b"%d,20\n" % azimuth for azimuth in range(0, 360, 30))
WALL = b"azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n140,170,10,40,wall\n"


def sky_of(rows="0:00 power receiver awake", sheet=YARD + PAIR, **documents):
    files = {name.replace("_", "."): data for name, data in documents.items()}
    return estimate_sky(make_job(rows, sheet, documents=files))


def test_directions_are_those_of_the_look_angles():
    site = sky_of().sites[0]
    assert [satellite.name for satellite in site.satellites] == ["east", "west"]
    for satellite, longitude in zip(site.satellites, (-78.5, -121.5), strict=True):
        wanted = geostationary_look_angles(41.2, -96.1, 300.0, longitude)
        assert satellite.azimuth_deg == wanted.azimuth_deg
        assert satellite.elevation_deg == wanted.elevation_deg
        assert satellite.range_km == wanted.range_km
        assert satellite.as_of is None


def test_nothing_known_of_the_sky_is_unknown_not_half():
    found = sky_of()
    site = found.sites[0]
    assert {(s.p_clear, s.p_clear_90, s.from_) for s in site.satellites} == {(None, None, "none")}
    assert site.visible_fraction is None
    assert site.visible_fraction_90 is None
    assert site.mask is None
    assert found.coverage_min_elevation_deg == 10.0
    assert found.could_not == (
        "site 'yard': no horizon, obstacles or place: whether a satellite is clear is unknown",
    )


def test_no_position():
    found = sky_of(sheet=PAIR)
    assert found.sites == ()
    assert found.coverage_min_elevation_deg == 10.0
    assert found.could_not == ("no position: look angles not computed",)
    with_sentences = sky_of(sheet=PAIR, gnss_nmea=b"")
    assert "positions in gnss*.nmea were not used" in with_sentences.could_not[1]


def test_no_constellation():
    found = sky_of(sheet=YARD, horizon_csv=HORIZON)
    assert found.sites[0].satellites == ()
    assert found.sites[0].visible_fraction == pytest.approx(0.796, abs=0.001)
    assert found.coverage_min_elevation_deg is None
    assert found.could_not == ("no constellation named in job.toml: look angles not computed",)


def test_an_unknown_constellation_is_an_error():
    with pytest.raises(SatdiagError, match="packaged are: demo-pair"):
        sky_of(sheet=YARD + PAIR.replace("demo-pair", "other-pair"))


def test_horizon_and_obstacles():
    found = sky_of(horizon_csv=HORIZON, obstacles_csv=WALL)
    east, west = found.sites[0].satellites
    assert east.from_ == "obstacles"  # azimuth 154, elevation 39: behind a wall of 76 deg
    assert east.p_clear < 0.03
    assert west.from_ == "horizon"  # azimuth 216, elevation 36: 16 deg above the skyline
    assert west.p_clear > 0.9
    assert west.p_clear_90[0] < west.p_clear < west.p_clear_90[1]
    assert found.could_not == ()
    mask = found.sites[0].mask
    assert len({len(part) for part in (mask.azimuth_deg, mask.edge_elevation_deg, mask.edge_p05_deg)}) == 1
    edges = dict(zip(mask.azimuth_deg, mask.edge_elevation_deg, strict=True))
    assert edges[0.0] == pytest.approx(20.0)
    assert edges[150.0] == pytest.approx(75.96, abs=0.01)
    assert all(low < high for low, high in zip(mask.edge_p05_deg, mask.edge_p95_deg, strict=True))


def test_the_last_word_for_the_place_counts():
    site = sky_of("0:00 place vehicle indoors\n5:00 place vehicle unreadable\n6:00 place vehicle street").sites[0]
    assert site.place == "street"
    assert {satellite.from_ for satellite in site.satellites} == {"place"}
    assert 0.5 < site.satellites[0].p_clear < 0.7
    assert site.visible_fraction_90[0] < site.visible_fraction < site.visible_fraction_90[1]


def test_a_roof_sets_a_measured_skyline_aside():
    found = sky_of("0:00 place vehicle underground", horizon_csv=HORIZON)
    site = found.sites[0]
    assert {satellite.from_ for satellite in site.satellites} == {"place"}
    assert site.satellites[0].p_clear < 0.05
    assert site.mask is not None
    assert "the measured skyline was set aside" in found.could_not[0]


def test_a_skyline_outweighs_a_word():
    found = sky_of("0:00 place vehicle street", horizon_csv=HORIZON)
    assert {satellite.from_ for satellite in found.sites[0].satellites} == {"horizon"}


def test_each_site_has_its_own_place_and_the_skyline_is_the_first_sites():
    rows = """
        0:00 place vehicle street
        9:00 site vehicle street
        9:30 place vehicle open-sky
        20:00 site vehicle yard
        21:00 power receiver awake
    """
    found = sky_of(rows, YARD + STREET + PAIR, horizon_csv=HORIZON)
    yard, street = found.sites
    assert (yard.place, street.place) == ("street", "open-sky")
    assert {satellite.from_ for satellite in yard.satellites} == {"horizon"}
    assert {satellite.from_ for satellite in street.satellites} == {"place"}
    assert street.mask is None
    assert "taken to belong to 'yard'" in found.could_not[0]


def test_a_satellite_below_the_horizon_is_not_clear_whatever_the_sky():
    far = 'name = "far"\n[[satellite]]\nname = "other-side"\nlongitude_deg = 80.0\n'
    satellite = sky_of(sheet=YARD + OWN, constellation_toml=far.encode()).sites[0].satellites[0]
    assert satellite.elevation_deg < 0.0
    assert (satellite.p_clear, satellite.p_clear_90, satellite.from_) == (0.0, (0.0, 0.0), "none")


def test_below_the_covered_elevation_the_geometry_still_speaks():
    low = 'name = "x"\ncoverage_min_elevation_deg = 60.0\n[[satellite]]\nname = "a"\nlongitude_deg = -100.0\n'
    found = sky_of(sheet=YARD + OWN, constellation_toml=low.encode(), horizon_csv=HORIZON)
    assert found.coverage_min_elevation_deg == 60.0
    assert found.sites[0].satellites[0].elevation_deg < 60.0
    assert found.sites[0].satellites[0].p_clear > 0.9
    assert found.sites[0].visible_fraction == 1.0


def test_a_job_without_rows():
    found = sky_of("", horizon_csv=HORIZON)
    assert found.sites[0].satellites[0].p_clear > 0.9


# --- satellites in any orbit -------------------------------------------------------------------------------------

MOVING = b'name = "high"\n[[satellite]]\nname = "HIGH-A"\nelements = "elements.tle"\n'


def test_a_moving_satellite_at_the_last_row_of_the_stay():
    # The same direction as in the published-values table: 40 N 100 W, 2026-01-01 08:00 UTC (skyfield).
    when, azimuth, elevation, distance = reference.ELLIPTICAL[2]
    site = '[[site]]\nname = "s"\nlatitude_deg = 40.0\nlongitude_deg = -100.0\n'
    job = make_job("", site + OWN, documents={"constellation.toml": MOVING, "elements.tle": reference.TLE.encode()})
    row = make_job("0:00 power receiver awake").rows[0]._replace(time=f"{when}:00Z")
    moved = type(job)(sheet=job.sheet, header=job.header, rows=(row,), documents=job.documents)
    satellite = estimate_sky(moved).sites[0].satellites[0]
    assert satellite.azimuth_deg == pytest.approx(azimuth, abs=0.005)
    assert satellite.elevation_deg == pytest.approx(elevation, abs=0.005)
    assert satellite.range_km == pytest.approx(distance, abs=0.1)
    assert satellite.as_of == f"{when}:00Z"


def test_old_elements_are_said():
    found = sky_of(sheet=YARD + OWN, constellation_toml=MOVING, elements_tle=reference.TLE.encode())
    days = (BASE.replace(tzinfo=None) - BASE.replace(2026, 1, 1, 0, tzinfo=None)).days
    assert f"the elements of 'HIGH-A' are {days + 1} days from the job" in found.could_not[0]


def test_a_moving_satellite_without_any_row_has_no_direction():
    found = sky_of("", sheet=YARD + OWN, constellation_toml=MOVING, elements_tle=reference.TLE.encode())
    assert found.sites[0].satellites[0].azimuth_deg is None
    assert "the log has no row" in found.could_not[0]


def test_missing_files_are_one_clear_error():
    with pytest.raises(BadInput, match=r"job\.toml: constellation is 'constellation\.toml', and the job has no such"):
        sky_of(sheet=YARD + OWN)
    with pytest.raises(BadInput, match=r"satellite 'HIGH-A' are to be in elements\.tle, which is not in the job"):
        sky_of(sheet=YARD + OWN, constellation_toml=MOVING)


# --- what must be said besides -----------------------------------------------------------------------------------


def test_below_the_table_of_places_and_at_a_pole_it_is_said():
    north = '[[site]]\nname = "north"\nlatitude_deg = 66.5\nlongitude_deg = -78.5\n'
    found = sky_of("0:00 place vehicle open-sky", north + PAIR)
    east, west = found.sites[0].satellites
    assert east.elevation_deg > 10.0 > west.elevation_deg > 0.0
    low = [text for text in found.could_not if "ends at 10°" in text]
    assert low == [f"site 'north': {low_words('west', west.elevation_deg)}"]
    pole = north.replace("66.5", "90.0")
    assert any("at a pole there is no north" in text for text in sky_of(sheet=pole + PAIR).could_not)
    assert not any("pole" in text for text in found.could_not)


def test_the_band_of_a_skyline_does_not_go_below_the_horizon():
    low = b"azimuth_deg,elevation_deg\n" + b"".join(b"%d,%d\n" % (at, 3 - at // 90) for at in range(0, 360, 30))
    mask = sky_of(horizon_csv=low).sites[0].mask
    for part in (mask.edge_elevation_deg, mask.edge_p05_deg, mask.edge_p95_deg):
        assert min(part) >= 0.0
    assert max(mask.edge_p95_deg) > 3.0
