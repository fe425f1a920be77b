"""The skyline from clinometer readings and listed obstacles, and what it leaves open of the sky.

An `Edge` is the elevation below which the sky is closed, by azimuth, with a standard deviation: that of the
reading, growing between readings because nothing is known there but the straight line. Where readings and
obstacles both speak, the higher edge counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from satdiag.tables import HorizonPoint, Obstacle

Floats = NDArray[np.float64]

# common practice, no source: a hand clinometer held at eye height beside the vehicle. The first part is shared by all
# readings of one person on one day (eye against antenna height, zero of the instrument), the second is not.
READING_SHARED_SD_DEG = 1.5
READING_OWN_SD_DEG = 2.5

# judgement, no source: how fast a skyline leaves the straight line between two readings, as the variance per degree
# of azimuth of a random walk tied at both readings: 5.5 deg half way between readings 30 deg apart, 9.5 at 90 deg.
SKYLINE_VARIANCE_PER_DEG = 4.0

# judgement, no source: the edge of a roof or a tree is not sharp for a wave 13 cm long a few tens of metres away.
EDGE_SOFTNESS_DEG = 2.0

# judgement, no source: what no skyline says (a lamp post, the vehicle's own load; a gap in a crown), with what is not
# known of it: a beta distribution worth so many looks, of which these are the 5 and 95 % quantiles.
SURPRISE = 0.02
SURPRISE_LOOKS = 100.0
SURPRISE_90 = (0.0036, 0.0470)

# common practice, no source: distance and height judged by eye, as the relative deviation of height / distance.
OBSTACLE_RELATIVE_SD = 0.2
OBSTACLE_FLOOR_SD_DEG = 1.0

# judgement, no source: who lists obstacles leaves out what is low; so much may still stand in the other directions.
UNLISTED_EDGE_DEG = 5.0
UNLISTED_SD_DEG = 8.0

# judgement, no source: how far the edge at one azimuth may differ from its neighbours' though all were read.
OWN_SD_DEG = 2.0

# A direction counts as measured up to this far from a reading.
MEASURED_WITHIN_DEG = 15.0

Z_90 = 1.6448536269514722  # 95 % quantile of the standard normal
DRAWS = 400
_RANDOM_SEED = 20260101  # fixed, so that the same job always gives the same interval


@dataclass(frozen=True)
class Edge:
    """The skyline at n azimuths: arrays of shape (n,); `measured` false where it is only inferred.

    `from_horizon` tells a clinometer reading's edge from a listed (or unlisted) obstacle's.
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    sd_deg: Floats
    measured: NDArray[np.bool_]
    from_horizon: NDArray[np.bool_]


def skyline(
    readings: Sequence[HorizonPoint] | None, obstacles: Sequence[Obstacle] | None, azimuth_deg: ArrayLike
) -> Edge | None:
    """The edge at azimuths (n,), or None if there is neither a reading nor an obstacle to go by."""
    azimuth = np.atleast_1d(np.asarray(azimuth_deg, dtype=float)) % 360.0
    by_reading = _reading_edge(readings, azimuth) if readings else None
    by_obstacle = _obstacle_edge(obstacles, azimuth) if obstacles else None
    if by_reading is None or by_obstacle is None:
        return by_reading or by_obstacle
    # Beside readings, an azimuth without an obstacle says nothing.
    higher = by_obstacle.measured & (by_obstacle.elevation_deg > by_reading.elevation_deg)
    return Edge(
        azimuth_deg=azimuth,
        elevation_deg=np.where(higher, by_obstacle.elevation_deg, by_reading.elevation_deg),
        sd_deg=np.where(higher, by_obstacle.sd_deg, by_reading.sd_deg),
        measured=by_reading.measured | by_obstacle.measured,
        from_horizon=~higher,
    )


def p_clear(edge: Edge, elevation_deg: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Probability that directions at the edge's azimuths and these elevations are clear, and its 90 % interval.

    A logistic in elevation minus edge. The edge's deviation widens it (logistic-normal integral after MacKay 1992,
    Neural Computation 4, 720); the interval holds the edge, and what no skyline says, at their 5 and 95 % quantiles,
    and is stretched to hold the value where that is the mean of a very lopsided chance.
    """
    above = np.asarray(elevation_deg, dtype=float) - edge.elevation_deg
    widened = EDGE_SOFTNESS_DEG * np.sqrt(1.0 + np.pi / 8.0 * (edge.sd_deg / EDGE_SOFTNESS_DEG) ** 2)
    value = _softened(above / widened)
    rare, often = SURPRISE_90
    low = _softened((above - Z_90 * edge.sd_deg) / EDGE_SOFTNESS_DEG, blocked=often, clear=rare)
    high = _softened((above + Z_90 * edge.sd_deg) / EDGE_SOFTNESS_DEG, blocked=rare, clear=often)
    return value, np.minimum(low, value), np.maximum(high, value)


def open_fraction(edge_deg: ArrayLike, minimum_elevation_deg: float) -> Floats:
    """Share of the solid angle above `minimum_elevation_deg` that lies above the edge.

    `edge_deg` has shape (..., n), evenly spaced in azimuth; the result (...). The ring of elevations a to b takes
    sin b - sin a of each unit of azimuth (Archimedes).
    """
    edge = np.clip(np.asarray(edge_deg, dtype=float), minimum_elevation_deg, 90.0)
    whole = 1.0 - np.sin(np.radians(minimum_elevation_deg))
    share = (1.0 - np.sin(np.radians(edge))).mean(axis=-1) / whole
    return np.asarray(np.clip(share, 0.0, 1.0))  # rounding may pass 1 by the last digit


def visible_fraction(
    readings: Sequence[HorizonPoint] | None,
    obstacles: Sequence[Obstacle] | None,
    minimum_elevation_deg: float,
) -> tuple[float, tuple[float, float]] | None:
    """Open share of the sky above an elevation, with a 90 % interval from draws of whole skylines.

    The value is that of the best single skyline; the interval is stretched to hold it. None without any input.
    """
    azimuth = np.arange(360.0)
    edge = skyline(readings, obstacles, azimuth)
    if edge is None:
        return None
    value = float(open_fraction(edge.elevation_deg, minimum_elevation_deg))
    drawn = open_fraction(_drawn_skylines(readings, obstacles, azimuth), minimum_elevation_deg)
    low, high = np.quantile(drawn, [0.05, 0.95])
    return value, (min(float(low), value), max(float(high), value))


def drawn_chances(
    readings: Sequence[HorizonPoint] | None,
    obstacles: Sequence[Obstacle] | None,
    azimuth_deg: Floats,
    elevation_deg: Floats,
) -> Floats:
    """Chance that directions (n,) are clear under each of `DRAWS` drawn skylines, shape (DRAWS, n)."""
    edge = _drawn_skylines(readings, obstacles, np.asarray(azimuth_deg, dtype=float) % 360.0)
    random = np.random.default_rng(_RANDOM_SEED + 1)
    shape = SURPRISE * SURPRISE_LOOKS, (1.0 - SURPRISE) * SURPRISE_LOOKS
    blocked, clear = (random.beta(*shape, (DRAWS, 1)) for _ in range(2))
    return _softened((elevation_deg - edge) / EDGE_SOFTNESS_DEG, blocked, clear)


def held_before(
    readings: Sequence[HorizonPoint] | None, obstacles: Sequence[Obstacle] | None, azimuth_deg: ArrayLike
) -> tuple[Floats, Floats] | None:
    """The edge at azimuths (n,) as a normal distribution: mean (n,), covariance (n, n). None without any input.

    What is to be held of the edge before navigation satellites are asked. Variances are those of `skyline`, with
    `OWN_SD_DEG` more for each azimuth, so that neighbours may differ.
    """
    azimuth = np.atleast_1d(np.asarray(azimuth_deg, dtype=float)) % 360.0
    edge = skyline(readings, obstacles, azimuth)
    if edge is None:
        return None
    covariance = (
        _reading_covariance(readings, azimuth) if readings else _obstacle_covariance(obstacles or (), azimuth)
    )
    # Where an obstacle stands above the readings' line, its deviation takes the place of theirs.
    higher = np.sqrt(np.diag(covariance)), edge.sd_deg
    scale = np.where(edge.from_horizon | (not readings), 1.0, higher[1] / higher[0])
    return edge.elevation_deg, covariance * np.outer(scale, scale) + OWN_SD_DEG**2 * np.eye(len(azimuth))


def _reading_covariance(readings: Sequence[HorizonPoint], azimuth_deg: Floats) -> Floats:
    """Shared error, own errors carried along the straight lines, and a random walk tied at both readings."""
    at, _ = _knots(readings)
    along = _unrolled(azimuth_deg, at[0])
    right = np.clip(np.searchsorted(at, along, side="right"), 1, len(at) - 1)
    gap = at[right] - at[right - 1]
    before = along - at[right - 1]
    carried = np.zeros((len(along), len(at) - 1))
    each = np.arange(len(along))
    np.add.at(carried, (each, (right - 1) % (len(at) - 1)), 1.0 - before / gap)
    np.add.at(carried, (each, right % (len(at) - 1)), before / gap)
    tied = np.minimum(before[:, None], before) - np.outer(before, before) / gap
    same_gap = right[:, None] == right
    walk = np.where(same_gap, SKYLINE_VARIANCE_PER_DEG * np.maximum(tied, 0.0), 0.0)
    return np.asarray(READING_SHARED_SD_DEG**2 + READING_OWN_SD_DEG**2 * carried @ carried.T + walk)


def _obstacle_covariance(obstacles: Sequence[Obstacle], azimuth_deg: Floats) -> Floats:
    """One obstacle is wrong as a whole; azimuths with none listed are half alike and half each on its own."""
    edge = _obstacle_edge(obstacles, azimuth_deg)
    heights = np.array([obstacle_elevation_deg(obstacle) for obstacle in obstacles])
    covered = np.array([_covers(obstacle, azimuth_deg) for obstacle in obstacles])
    which = np.where(covered, heights[:, None], -np.inf).argmax(axis=0)
    which = np.where(edge.measured, which, -1)
    alike = np.where(which[:, None] == which, np.where(which[:, None] < 0, 0.5, 1.0), 0.0)
    np.fill_diagonal(alike, 1.0)
    return np.asarray(np.outer(edge.sd_deg, edge.sd_deg) * alike)


def _softened(steps: Floats, blocked: Floats | float = SURPRISE, clear: Floats | float = SURPRISE) -> Floats:
    """A logistic from the chance that something `clear` lies far below the edge to 1 less that of `blocked` above."""
    return np.asarray(clear + (1.0 - clear - blocked) / (1.0 + np.exp(-np.clip(steps, -500.0, 500.0))))


# --- clinometer readings -----------------------------------------------------------------------------------------


def _knots(readings: Sequence[HorizonPoint]) -> tuple[Floats, Floats]:
    """Distinct azimuths in rising order and their elevations (mean of repeated readings), closed round the circle."""
    azimuth = np.array([point.azimuth_deg % 360.0 for point in readings])
    elevation = np.array([point.elevation_deg for point in readings])
    distinct, where = np.unique(azimuth, return_inverse=True)
    mean = np.bincount(where, elevation) / np.bincount(where)
    return np.append(distinct, distinct[0] + 360.0), np.append(mean, mean[0])


def _unrolled(azimuth_deg: Floats, first_deg: float) -> Floats:
    """Azimuths as numbers from `first_deg` up to a full turn above it."""
    return first_deg + (azimuth_deg - first_deg) % 360.0


def _reading_edge(readings: Sequence[HorizonPoint], azimuth_deg: Floats) -> Edge:
    at, elevation = _knots(readings)
    along = _unrolled(azimuth_deg, at[0])
    right = np.clip(np.searchsorted(at, along, side="right"), 1, len(at) - 1)
    before, gap = along - at[right - 1], at[right] - at[right - 1]
    after = gap - before
    own_variance = READING_OWN_SD_DEG**2 * (before**2 + after**2) / gap**2
    bridge_variance = SKYLINE_VARIANCE_PER_DEG * before * after / gap
    return Edge(
        azimuth_deg=azimuth_deg,
        elevation_deg=np.interp(along, at, elevation),
        sd_deg=np.sqrt(READING_SHARED_SD_DEG**2 + own_variance + bridge_variance),
        measured=np.asarray(np.minimum(before, after) <= MEASURED_WITHIN_DEG),
        from_horizon=np.ones(len(azimuth_deg), dtype=bool),
    )


def _drawn_readings(readings: Sequence[HorizonPoint], azimuth_deg: Floats, random: np.random.Generator) -> Floats:
    """Skylines (DRAWS, n) on an even azimuth grid: readings with errors, and a random walk tied at them."""
    at, elevation = _knots(readings)
    along = _unrolled(azimuth_deg, at[0])
    order = np.argsort(along, kind="stable")
    own = random.normal(0.0, READING_OWN_SD_DEG, (DRAWS, len(at) - 1))
    knots = elevation + np.column_stack([own, own[:, 0]])
    steps = np.diff(np.concatenate([[at[0]], along[order], [at[-1]]]))
    noise = random.normal(0.0, 1.0, (DRAWS, len(steps)))
    walk = np.column_stack([np.zeros(DRAWS), np.cumsum(noise * np.sqrt(SKYLINE_VARIANCE_PER_DEG * steps), axis=1)])
    places = np.concatenate([[at[0]], along[order], [at[-1]]])
    drawn = np.empty((DRAWS, len(azimuth_deg)))
    for number in range(DRAWS):
        tied = knots[number] - np.interp(at, places, walk[number])
        drawn[number, order] = walk[number, 1:-1] + np.interp(along[order], at, tied)
    return drawn + random.normal(0.0, READING_SHARED_SD_DEG, (DRAWS, 1))


# --- obstacles ---------------------------------------------------------------------------------------------------


def obstacle_elevation_deg(obstacle: Obstacle) -> float:
    """Elevation of an obstacle's upper edge as seen from the antenna."""
    return float(np.degrees(np.arctan2(obstacle.height_m, obstacle.distance_m)))


def _covers(obstacle: Obstacle, azimuth_deg: Floats) -> NDArray[np.bool_]:
    """Which azimuths the span holds, clockwise from its start; 0 to 360 is the whole circle."""
    start, end = obstacle.azimuth_from_deg, obstacle.azimuth_to_deg
    width = 360.0 if abs(end - start) == 360.0 else (end - start) % 360.0
    return np.asarray((azimuth_deg - start) % 360.0 <= width)


def _obstacle_edge(obstacles: Sequence[Obstacle], azimuth_deg: Floats) -> Edge:
    edges = np.array([obstacle_elevation_deg(obstacle) for obstacle in obstacles])
    covered = np.array([_covers(obstacle, azimuth_deg) for obstacle in obstacles])
    highest = np.where(covered, edges[:, None], -np.inf).max(axis=0)
    listed = covered.any(axis=0)
    spread_deg = np.degrees(0.5 * np.sin(2.0 * np.radians(highest.clip(-90.0))) * OBSTACLE_RELATIVE_SD)
    return Edge(
        azimuth_deg=azimuth_deg,
        elevation_deg=np.where(listed, highest, UNLISTED_EDGE_DEG),
        sd_deg=np.where(listed, np.hypot(spread_deg, OBSTACLE_FLOOR_SD_DEG), UNLISTED_SD_DEG),
        measured=np.asarray(listed),
        from_horizon=np.zeros(len(azimuth_deg), dtype=bool),
    )


def _drawn_obstacles(
    obstacles: Sequence[Obstacle], azimuth_deg: Floats, beside_readings: bool, random: np.random.Generator
) -> Floats:
    """Skylines (DRAWS, n): each obstacle with its own error in height / distance, the rest low or left out."""
    unlisted = random.normal(UNLISTED_EDGE_DEG, UNLISTED_SD_DEG, (DRAWS, 1))
    covered = np.array([_covers(obstacle, azimuth_deg) for obstacle in obstacles])
    drawn = np.where(covered.any(axis=0) | beside_readings, -90.0, unlisted)
    for obstacle, inside in zip(obstacles, covered, strict=True):
        ratio = obstacle.height_m / obstacle.distance_m * random.lognormal(0.0, OBSTACLE_RELATIVE_SD, DRAWS)
        edge = np.degrees(np.arctan(ratio)) + random.normal(0.0, OBSTACLE_FLOOR_SD_DEG, DRAWS)
        drawn = np.where(inside, np.maximum(drawn, edge[:, None]), drawn)
    return drawn


def _drawn_skylines(
    readings: Sequence[HorizonPoint] | None, obstacles: Sequence[Obstacle] | None, azimuth_deg: Floats
) -> Floats:
    random = np.random.default_rng(_RANDOM_SEED)
    drawn = np.full((DRAWS, len(azimuth_deg)), -90.0)
    if readings:
        drawn = np.maximum(drawn, _drawn_readings(readings, azimuth_deg, random))
    if obstacles:
        drawn = np.maximum(drawn, _drawn_obstacles(obstacles, azimuth_deg, bool(readings), random))
    return drawn
