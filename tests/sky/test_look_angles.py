"""Look angles against skyfield, pymap3d, pyproj's site, and the closed form on a sphere."""

import numpy as np
import pymap3d
import pytest
from skyfield.api import Distance, load, wgs84
from skyfield.toposlib import ITRSPosition

from satdiag.sky.look_angles import (
    EARTH_EQUATORIAL_RADIUS_KM,
    GEOSTATIONARY_RADIUS_KM,
    geostationary_look_angles,
    geostationary_position_km,
    site_position_km,
)
from tests.references import look_angles as reference

DEGREE = 1e-4
KILOMETRE = 1e-3


@pytest.mark.parametrize("row", reference.WORKED)
def test_the_worked_examples(row):
    latitude, longitude, height, azimuth, elevation, distance = row
    found = geostationary_look_angles(
        latitude, longitude, height, reference.SATELLITE_LONGITUDE_DEG, reference.RADIUS_KM
    )
    assert found.azimuth_deg == pytest.approx(azimuth, abs=DEGREE)
    assert found.elevation_deg == pytest.approx(elevation, abs=DEGREE)
    assert found.range_km == pytest.approx(distance, abs=KILOMETRE)


def test_site_position_is_pyprojs():
    latitude, longitude, height = reference.WORKED[0][:3]
    assert site_position_km(latitude, longitude, height) == pytest.approx(reference.SITE_KM, abs=1e-6)


def _grid():
    latitude, longitude, satellite = np.meshgrid(
        [-55.0, -33.3, -10.0, 0.5, 25.8, 41.2, 64.8, 75.0],
        [-179.0, -122.3, -96.1, -75.0, 5.0, 140.0],
        [-121.5, -100.0, -78.5, 20.0, 179.5],
    )
    height = np.where(latitude > 20, 1609.0, 3.0)
    return latitude.ravel(), longitude.ravel(), height.ravel(), satellite.ravel()


def test_a_grid_against_pymap3d():
    latitude, longitude, height, satellite = _grid()
    found = geostationary_look_angles(latitude, longitude, height, satellite)
    x, y, z = (part * 1000.0 for part in geostationary_position_km(satellite).T)
    azimuth, elevation, distance = pymap3d.ecef2aer(x, y, z, latitude, longitude, height)
    turn = (found.azimuth_deg - azimuth + 180.0) % 360.0 - 180.0
    assert np.abs(turn).max() < DEGREE
    assert found.elevation_deg == pytest.approx(elevation, abs=DEGREE)
    assert found.range_km == pytest.approx(distance / 1000.0, abs=KILOMETRE)


def test_a_grid_against_skyfield():
    when = load.timescale(builtin=True).utc(2031, 5, 3)
    for latitude, longitude, height, satellite in zip(*(part[::7] for part in _grid()), strict=True):
        found = geostationary_look_angles(latitude, longitude, height, satellite)
        there = ITRSPosition(Distance(km=geostationary_position_km(satellite)))
        seen = (there - wgs84.latlon(latitude, longitude, height)).at(when)
        elevation, azimuth, distance = seen.altaz()
        assert (found.azimuth_deg - azimuth.degrees + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=DEGREE)
        assert found.elevation_deg == pytest.approx(elevation.degrees, abs=DEGREE)
        assert found.range_km == pytest.approx(distance.km, abs=KILOMETRE)


def _sphere(latitude_deg, longitude_deg, satellite_deg, orbit_km):
    """The closed form on a sphere, written independently of the code under test."""
    latitude, turn = np.radians(latitude_deg), np.radians(satellite_deg - longitude_deg)
    cosine = np.cos(latitude) * np.cos(turn)
    ratio = reference.SPHERE_RADIUS_KM / orbit_km
    elevation = np.degrees(np.arctan2(cosine - ratio, np.sqrt(1.0 - cosine**2)))
    azimuth = np.degrees(np.arctan2(np.sin(turn), -np.sin(latitude) * np.cos(turn))) % 360.0
    distance = orbit_km * np.sqrt(1.0 + ratio**2 - 2.0 * ratio * cosine)
    return azimuth, elevation, distance


def test_the_sphere_is_as_far_off_as_it_should_be():
    for latitude, longitude, azimuth, elevation, distance in reference.SPHERE:
        closed = _sphere(latitude, longitude, reference.SATELLITE_LONGITUDE_DEG, reference.RADIUS_KM)
        assert closed == pytest.approx((azimuth, elevation, distance), abs=1e-3)
    latitude, longitude = np.meshgrid(np.arange(-75.0, 75.1, 3.0), np.arange(-180.0, -19.0, 4.0))
    ellipsoid = geostationary_look_angles(latitude, longitude, 0.0, -100.0, reference.RADIUS_KM)
    azimuth, elevation, distance = _sphere(latitude, longitude, -100.0, reference.RADIUS_KM)
    high = ellipsoid.elevation_deg >= 5.0
    error = np.abs(elevation - ellipsoid.elevation_deg)[high]
    assert 0.03 < error.max() < reference.SPHERE_ELEVATION_ERROR_DEG
    assert 10.0 < np.abs(distance - ellipsoid.range_km)[high].max() < reference.SPHERE_RANGE_ERROR_KM


def test_radius_follows_from_gravity_and_rotation():
    # 42 164 km is the figure that textbooks print; the digits below follow from GM and w of WGS84.
    assert abs(GEOSTATIONARY_RADIUS_KM - 42164.17293) < 1e-4
    overhead = geostationary_look_angles(0.0, -100.0, 0.0, -100.0)
    assert overhead.elevation_deg == pytest.approx(90.0, abs=1e-6)
    assert overhead.range_km == pytest.approx(GEOSTATIONARY_RADIUS_KM - EARTH_EQUATORIAL_RADIUS_KM)


def test_arrays_give_what_scalars_give():
    latitude, longitude, height, satellite = _grid()
    together = geostationary_look_angles(latitude, longitude, height, satellite)
    assert together.azimuth_deg.shape == latitude.shape
    for number in (0, 17, 101):
        alone = geostationary_look_angles(latitude[number], longitude[number], height[number], satellite[number])
        assert alone.azimuth_deg.shape == ()
        assert float(alone.azimuth_deg) == together.azimuth_deg[number]
    crossed = geostationary_look_angles(latitude[:3, None], longitude[:3, None], 0.0, np.array([-78.5, -121.5]))
    assert crossed.elevation_deg.shape == (3, 2)


def test_azimuth_is_never_360():
    found = geostationary_look_angles(-35.0, -100.0, 0.0, np.array([-100.0, -100.0 - 1e-15, -100.0 + 1e-15]))
    assert ((found.azimuth_deg >= 0.0) & (found.azimuth_deg < 360.0)).all()
