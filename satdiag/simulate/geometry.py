"""Where the made-up satellites stand in the sky, by closed spherical formulae.

The sphere is good to 0.03 deg against an ellipsoid, far below what a vehicle antenna resolves, and it keeps
this room independent of the look angles that an analysis computes for itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

EARTH_RADIUS_KM = 6371.0
GEOSTATIONARY_RADIUS_KM = 42164.2


@dataclass(frozen=True)
class Satellite:
    """A geostationary satellite: place on the arc, carrier and transmitter.

    The transmitting beam is aimed at one point on the ground and falls off with the angle from there,
    as every shaped coverage does; `beam_half_deg` is the central angle at which it is 3 dB down.
    """

    name: str
    longitude_deg: float
    eirp_dbw: float
    frequency_mhz: float
    aim_latitude_deg: float = 39.0
    aim_longitude_deg: float = -97.0
    beam_half_deg: float = 22.0


# The invented pair: about 43 deg apart, so that one building seldom hides both.
DEMO_PAIR = (
    Satellite("east", -78.5, 66.0, 2322.0),
    Satellite("west", -121.5, 65.6, 2328.0),
)


@dataclass(frozen=True)
class Look:
    """Direction and distance of a satellite from a site, and the EIRP it sends that way."""

    azimuth_deg: float
    elevation_deg: float
    range_km: float
    eirp_dbw: float
    frequency_mhz: float


def central_angle_deg(
    latitude_1_deg: float, longitude_1_deg: float, latitude_2_deg: float, longitude_2_deg: float
) -> float:
    """Angle at the earth's centre between two places [deg] (spherical law of cosines)."""
    a, b = math.radians(latitude_1_deg), math.radians(latitude_2_deg)
    step = math.radians(longitude_2_deg - longitude_1_deg)
    cosine = math.sin(a) * math.sin(b) + math.cos(a) * math.cos(b) * math.cos(step)
    return math.degrees(math.acos(max(-1.0, min(1.0, cosine))))


def look(latitude_deg: float, longitude_deg: float, satellite: Satellite) -> Look:
    """Azimuth from true north, elevation [deg] and range [km] of a geostationary satellite."""
    phi = math.radians(latitude_deg)
    step = math.radians(satellite.longitude_deg - longitude_deg)
    cos_g = math.cos(phi) * math.cos(step)
    sin_g = math.sqrt(max(0.0, 1.0 - cos_g * cos_g))
    elevation = math.atan2(cos_g - EARTH_RADIUS_KM / GEOSTATIONARY_RADIUS_KM, sin_g)
    azimuth = math.atan2(math.sin(step), -math.sin(phi) * math.cos(step))
    distance = math.sqrt(
        EARTH_RADIUS_KM**2 + GEOSTATIONARY_RADIUS_KM**2 - 2.0 * EARTH_RADIUS_KM * GEOSTATIONARY_RADIUS_KM * cos_g
    )
    return Look(
        azimuth_deg=math.degrees(azimuth) % 360.0,
        elevation_deg=math.degrees(elevation),
        range_km=distance,
        eirp_dbw=satellite.eirp_dbw - _beam_loss_db(latitude_deg, longitude_deg, satellite),
        frequency_mhz=satellite.frequency_mhz,
    )


def _beam_loss_db(latitude_deg: float, longitude_deg: float, satellite: Satellite) -> float:
    """Fall of the beam away from its aim point: 3 dB at `beam_half_deg`, growing with the square [dB]."""
    off = central_angle_deg(latitude_deg, longitude_deg, satellite.aim_latitude_deg, satellite.aim_longitude_deg)
    return min(35.0, 3.0 * (off / satellite.beam_half_deg) ** 2)


def free_space_loss_db(range_km: float, frequency_mhz: float) -> float:
    """Free-space basic transmission loss [dB] (ITU-R P.525)."""
    return 92.4478 + 20.0 * math.log10(frequency_mhz / 1000.0) + 20.0 * math.log10(range_km)


def knife_edge_loss_db(below_edge_deg: float, edge_distance_m: float, frequency_mhz: float) -> float:
    """Loss over a roof edge, satellite `below_edge_deg` under the edge (negative: above it) [dB].

    The single knife edge of ITU-R P.526, J(v), with the source at a great distance: v = angle sqrt(2 d / lambda).
    """
    wavelength_m = 299.792458 / frequency_mhz
    v = math.radians(below_edge_deg) * math.sqrt(2.0 * edge_distance_m / wavelength_m)
    if v <= -0.78:
        return 0.0
    return max(0.0, 6.9 + 20.0 * math.log10(math.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1))
