"""Where a satellite stands in the sky: azimuth, elevation and range from a site on the WGS84 ellipsoid.

Everything is vectorised: sites and satellites may be scalars or arrays that numpy can broadcast together.
Refraction is left out: it lifts a satellite by less than 0.1 deg above 10 deg of elevation (ITU-R P.619,
closed form), which no vehicle antenna resolves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

# WGS84 defining constants (NGA.STND.0036, World Geodetic System 1984).
EARTH_EQUATORIAL_RADIUS_KM = 6378.137
EARTH_INVERSE_FLATTENING = 298.257223563
EARTH_GM_M3_S2 = 3.986004418e14
EARTH_ROTATION_RAD_S = 7.292115e-5

# The circular equatorial orbit that turns with the Earth: (GM / w^2)^(1/3), 42 164.173 km.
GEOSTATIONARY_RADIUS_KM = (EARTH_GM_M3_S2 / EARTH_ROTATION_RAD_S**2) ** (1.0 / 3.0) / 1000.0

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LookAngles:
    """Directions from a site: arrays of one common shape (shape () for a single direction).

    `azimuth_deg` runs clockwise from true north in [0, 360). With the satellite exactly overhead it has no
    meaning, and the number then found there must not be used.
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    range_km: Floats


def site_position_km(latitude_deg: ArrayLike, longitude_deg: ArrayLike, height_m: ArrayLike = 0.0) -> Floats:
    """Earth-centred, Earth-fixed position of a geodetic site, shape (..., 3), km.

    Formula: the standard geodetic to geocentric conversion on an ellipsoid (e.g. EPSG method 9602).
    """
    latitude = np.radians(np.asarray(latitude_deg, dtype=float))
    longitude = np.radians(np.asarray(longitude_deg, dtype=float))
    height_km = np.asarray(height_m, dtype=float) / 1000.0
    flattening = 1.0 / EARTH_INVERSE_FLATTENING
    eccentricity2 = flattening * (2.0 - flattening)
    normal_km = EARTH_EQUATORIAL_RADIUS_KM / np.sqrt(1.0 - eccentricity2 * np.sin(latitude) ** 2)
    from_axis_km = (normal_km + height_km) * np.cos(latitude)
    above_equator_km = (normal_km * (1.0 - eccentricity2) + height_km) * np.sin(latitude)
    return _stack(from_axis_km * np.cos(longitude), from_axis_km * np.sin(longitude), above_equator_km)


def geostationary_position_km(
    satellite_longitude_deg: ArrayLike, radius_km: ArrayLike = GEOSTATIONARY_RADIUS_KM
) -> Floats:
    """Earth-fixed position of a satellite on the geostationary circle, shape (..., 3), km."""
    longitude = np.radians(np.asarray(satellite_longitude_deg, dtype=float))
    radius = np.asarray(radius_km, dtype=float)
    return _stack(radius * np.cos(longitude), radius * np.sin(longitude), 0.0 * longitude)


def look_angles(
    satellite_position_km: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    height_m: ArrayLike = 0.0,
) -> LookAngles:
    """Azimuth, elevation and range of Earth-fixed positions (..., 3) in km, seen from geodetic sites.

    The difference vector is turned into east, north and up at the site's geodetic latitude, so elevation is
    counted from the plane that a level shows, not from the geocentric one.
    """
    difference_km = np.asarray(satellite_position_km, dtype=float) - site_position_km(
        latitude_deg, longitude_deg, height_m
    )
    latitude = np.radians(np.asarray(latitude_deg, dtype=float))
    longitude = np.radians(np.asarray(longitude_deg, dtype=float))
    x, y, z = np.moveaxis(difference_km, -1, 0)
    outward = np.cos(longitude) * x + np.sin(longitude) * y
    east = -np.sin(longitude) * x + np.cos(longitude) * y
    north = np.cos(latitude) * z - np.sin(latitude) * outward
    up = np.cos(latitude) * outward + np.sin(latitude) * z
    azimuth_deg = np.degrees(np.arctan2(east, north)) % 360.0
    return LookAngles(
        azimuth_deg=np.asarray(np.where(azimuth_deg >= 360.0, 0.0, azimuth_deg)),
        elevation_deg=np.asarray(np.degrees(np.arctan2(up, np.hypot(east, north)))),
        range_km=np.asarray(np.sqrt(east**2 + north**2 + up**2)),
    )


def geostationary_look_angles(
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    height_m: ArrayLike,
    satellite_longitude_deg: ArrayLike,
    radius_km: ArrayLike = GEOSTATIONARY_RADIUS_KM,
) -> LookAngles:
    """Look angles to geostationary satellites; give `radius_km` to use another orbit radius.

    Latitude and longitude in degrees (north and east positive), height in metres above the ellipsoid.
    """
    position_km = geostationary_position_km(satellite_longitude_deg, radius_km)
    return look_angles(position_km, latitude_deg, longitude_deg, height_m)


def _stack(x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Floats:
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1).astype(float)
