"""What the buildings along a street hide: masks of simple streets, chance of blockage, loss over a roof's edge.

Masks: ITU-R P.681-11, Annex 1, 4.4 (recommendation); plain shadows, without diffraction and reflections, for a
vehicle in the middle of the street. Chance of blockage: the same, 4.2. Loss over an edge: the textbook half-plane.
Heights are above the antenna, except in `blockage_percent`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fresnel

from satdiag.language import mark
from satdiag.sky.propagation.standing import Floats, Source, within

MODEL = mark("street (ITU-R P.681-11, Annex 1)")
MASKS = Source(mark("ITU-R P.681-11, Annex 1, 4.4: street masks"), "recommendation")
BLOCKAGE = Source(mark("ITU-R P.681-11, Annex 1, 4.2: roadside buildings"), "recommendation")
EDGE = Source(mark("Fresnel diffraction at a half-plane, as in optics"), "textbook")

Shape = Literal["canyon", "wall", "crossing", "junction"]


@dataclass(frozen=True)
class Street:
    """A street seen from its middle. `azimuth_deg` is the way it runs, clockwise from true north.

    canyon: buildings on both sides; wall: on the right only; crossing: another street crosses here; junction: a side
    street opens on the right. `crossing_width_m` is that other street's, by default as wide as this one.
    `left_height_m`: the buildings on the left, looking along the street, where they are not as high as `height_m`.
    """

    azimuth_deg: float
    height_m: float
    width_m: float
    shape: Shape = "canyon"
    crossing_width_m: float | None = None
    left_height_m: float | None = None

    def __post_init__(self) -> None:
        """Raises OutsideDomain for a street without height or width."""
        within(self.height_m, 0.0, 1000.0, mark("a building height of"), MODEL, "m")
        within(self.left_height_m or 0.0, 0.0, 1000.0, mark("a building height of"), MODEL, "m")
        within(self.width_m, 1.0, 1000.0, mark("a street width of"), MODEL, "m")
        within(self.crossing_width_m or self.width_m, 1.0, 1000.0, mark("a crossing street's width of"), MODEL, "m")


def canyon_mask_deg(angle_deg: ArrayLike, height_m: ArrayLike, width_m: ArrayLike) -> Floats:
    """Elevation below which a canyon hides the sky, by the angle between street and path: atan(2 h sin(angle) / w).

    The same as the Recommendation's atan(h / sqrt(w^2/4 (1/tan^2 + 1))), which has no value along the street.
    """
    angle = np.radians(np.asarray(angle_deg, dtype=float))
    ratio = 2.0 * np.asarray(height_m) * np.abs(np.sin(angle)) / np.asarray(width_m)
    return np.asarray(np.degrees(np.arctan(ratio)))


def edge_distance_m(street: Street, azimuth_deg: ArrayLike) -> Floats:
    """Level distance to the building front in each direction; infinite where the street leaves the view open."""
    turn = np.radians(np.asarray(azimuth_deg, dtype=float) - street.azimuth_deg)
    across, along = np.abs(np.sin(turn)), np.abs(np.cos(turn))
    right = np.sin(turn) > 0.0
    with np.errstate(divide="ignore"):
        wall = np.where(across > 1e-12, street.width_m / 2.0 / across, np.inf)
        other_m = street.crossing_width_m or street.width_m
        side = np.where(along > 1e-12, other_m / 2.0 / along, np.inf)
    if street.shape == "canyon":
        return np.asarray(wall)
    if street.shape == "wall":
        return np.asarray(np.where(right, wall, np.inf))
    # Through the mouth of the other street the view ends at that street's own front.
    mouth = across * other_m > along * street.width_m
    opened = np.where(mouth, side, wall)
    return np.asarray(opened if street.shape == "crossing" else np.where(right, opened, wall))


def side_height_m(street: Street, azimuth_deg: ArrayLike) -> Floats:
    """Height of the buildings on the side that each direction lies on, whether or not one stands there."""
    turn = np.radians(np.asarray(azimuth_deg, dtype=float) - street.azimuth_deg)
    left = street.height_m if street.left_height_m is None else street.left_height_m
    return np.asarray(np.where(np.sin(turn) > 0.0, street.height_m, left))


def mask_deg(street: Street, azimuth_deg: ArrayLike) -> Floats:
    """Elevation of the buildings' upper edge in each direction; 0 where nothing stands."""
    distance = edge_distance_m(street, azimuth_deg)
    return np.asarray(np.degrees(np.arctan(side_height_m(street, azimuth_deg) / distance)))


ANTENNA_HEIGHT_M = 1.5
"""Common practice, no source: an antenna on the roof of a car."""


def street_blockage_share(
    street: Street, azimuth_deg: float, elevation_deg: float, frequency_ghz: float
) -> float | None:
    """Share of the way along a street over which buildings block, if its heights are the usual ones and vary.

    None along the street itself, where the model ends. Raises OutsideDomain.
    """
    height = float(side_height_m(street, azimuth_deg))
    if height <= 0.0 or np.isinf(edge_distance_m(street, azimuth_deg)):
        return 0.0
    turn = abs(azimuth_deg - street.azimuth_deg) % 180.0
    angle = min(turn, 180.0 - turn)
    if angle < 1.0:
        return None
    percent = blockage_percent(
        min(max(elevation_deg, 1.0), 89.0),
        angle,
        frequency_ghz,
        modal_height_m=height + ANTENNA_HEIGHT_M,
        antenna_height_m=ANTENNA_HEIGHT_M,
        front_m=street.width_m / 2.0,
    )
    return float(percent) / 100.0


def open_share(elevation_deg: ArrayLike, height_m: ArrayLike, width_m: ArrayLike) -> Floats:
    """Share of street directions in which a canyon leaves a satellite free: (2/pi) asin(w tan(el) / 2h) (derived)."""
    elevation = np.radians(within(elevation_deg, 0.0, 90.0, mark("an elevation of"), MODEL, "deg"))
    with np.errstate(divide="ignore"):
        ratio = np.asarray(width_m) * np.tan(elevation) / (2.0 * np.asarray(height_m))
    return np.asarray(2.0 / np.pi * np.arcsin(np.minimum(1.0, ratio)))


def blockage_percent(
    elevation_deg: ArrayLike,
    angle_deg: ArrayLike,
    frequency_ghz: ArrayLike,
    *,
    modal_height_m: ArrayLike,
    antenna_height_m: ArrayLike,
    front_m: ArrayLike,
    clearance: ArrayLike = 0.7,
) -> Floats:
    """Percentage of the road over which roadside buildings block: 100 exp(-(h1 - h2)^2 / (2 hb^2)).

    Building heights are Rayleigh with mode hb (`modal_height_m`), all heights above ground, `front_m` the distance to
    the fronts, `angle_deg` the angle between street and path (over 0 to 90). `clearance` is the part of the first
    Fresnel radius that has to be free: 0.7 is usual, 0 means the line of sight (both from memory). h2 uses the slope
    distance to the point over the front; one implementation has another one there, which changes the result by less
    than two points. 100 where the free ray lies lower than the clearance (from memory).
    """
    elevation = np.radians(within(elevation_deg, 1.0, 89.0, mark("an elevation of"), MODEL, "deg"))
    angle = np.radians(within(angle_deg, 1.0, 90.0, mark("an angle between street and path of"), MODEL, "deg"))
    frequency = within(frequency_ghz, 0.8, 20.0, mark("a frequency of"), MODEL, "GHz")
    front = within(front_m, 0.1, 1000.0, mark("a distance to the fronts of"), MODEL, "m")
    mode = within(modal_height_m, 0.1, 1000.0, mark("a building height of"), MODEL, "m")
    wavelength_m = 0.299792458 / frequency
    ray_m = np.asarray(antenna_height_m) + front * np.tan(elevation) / np.sin(angle)
    free_m = np.asarray(clearance) * np.sqrt(wavelength_m * front / (np.sin(angle) * np.cos(elevation)))
    over = np.maximum(ray_m - free_m, 0.0)
    return np.asarray(100.0 * np.exp(-(over**2) / (2.0 * mode**2)))


def half_plane_loss_db(v: ArrayLike) -> Floats:
    """Loss behind a half-plane by the Fresnel integrals; v > 0 in the shadow, v = 0 at its edge (6.02 dB), dB."""
    sine, cosine = fresnel(np.asarray(v, dtype=float))
    power = ((0.5 - cosine) ** 2 + (0.5 - sine) ** 2) / 2.0
    return np.asarray(-10.0 * np.log10(power))


def edge_loss_db(
    street: Street, azimuth_deg: ArrayLike, elevation_deg: ArrayLike, frequency_ghz: ArrayLike
) -> Floats:
    """Loss over the upper edge of the buildings, taken as a thin, endless half-plane, dB; 0 where nothing stands.

    v = h sqrt(2 / (wavelength d)) with the satellite far away: d along the path to the edge, h the edge's height
    above it. Reflections from other fronts are left out: in a deep shadow they, not the edge, set the level.
    """
    frequency = within(frequency_ghz, 0.8, 20.0, mark("a frequency of"), MODEL, "GHz")
    elevation = within(elevation_deg, 0.0, 90.0, mark("an elevation of"), MODEL, "deg")
    distance = edge_distance_m(street, azimuth_deg)
    height = side_height_m(street, azimuth_deg)
    nothing = np.isinf(distance) | (height == 0.0)
    slope_m = np.hypot(np.where(nothing, 1.0, distance), height)
    above = np.radians(mask_deg(street, azimuth_deg) - elevation)
    # Beyond a right angle the edge stands behind; it is as far from the path as it gets.
    along_m = slope_m * np.maximum(np.cos(above), 1e-3)
    v = slope_m * np.sin(above) * np.sqrt(2.0 * frequency / (0.299792458 * along_m))
    return np.asarray(np.where(nothing, 0.0, half_plane_loss_db(v)))
