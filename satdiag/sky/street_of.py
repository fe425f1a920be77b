"""A street out of what a person says or has listed: `street_named`, `street_of_obstacles`."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from satdiag.sky.propagation.street import Street
from satdiag.tables import Obstacle

# Judgement, no source: two obstacles are the sides of a street if each is so wide, if they stand across from each
# other to within so much, and if the vehicle stands so near the middle that the nearer is half as far at least.
LEAST_SPAN_DEG = 60.0
ACROSS_WITHIN_DEG = 30.0
MOST_UNLIKE = 2.0


def street_named(azimuth_deg: float, width_m: float, left_height_m: float, right_height_m: float) -> Street:
    """A street that runs along an azimuth, with its buildings' heights above the antenna. Raises OutsideDomain."""
    return Street(azimuth_deg % 360.0, right_height_m, width_m, left_height_m=left_height_m)


def street_of_obstacles(obstacles: Sequence[Obstacle] | None) -> Street | None:
    """The street that two listed obstacles form, the pair that fills most of the circle; None where none does.

    It is as wide as both are away, and is seen from its middle, though the vehicle may stand off it.
    """
    wide = [one for one in obstacles or () if _span_deg(one) >= LEAST_SPAN_DEG and one.height_m > 0.0]
    pairs = [pair for pair in combinations(wide, 2) if _across(*pair)]
    if not pairs:
        return None
    right, left = max(pairs, key=lambda pair: sum(_span_deg(one) for one in pair))
    # Along the street the right side lies 90 deg clockwise; the two sides may differ a little, so their mean counts.
    along = _middle_deg(right) - 90.0
    along += _turn(_middle_deg(left) + 90.0 - along) / 2.0
    if along % 360.0 >= 180.0:
        along, right, left = along - 180.0, left, right
    return street_named(along, right.distance_m + left.distance_m, left.height_m, right.height_m)


def _across(one: Obstacle, other: Obstacle) -> bool:
    near, far = sorted((one.distance_m, other.distance_m))
    away = abs(_turn(_middle_deg(one) - _middle_deg(other) - 180.0))
    return away <= ACROSS_WITHIN_DEG and far <= MOST_UNLIKE * near


def _span_deg(one: Obstacle) -> float:
    return (one.azimuth_to_deg - one.azimuth_from_deg) % 360.0


def _middle_deg(one: Obstacle) -> float:
    return one.azimuth_from_deg + _span_deg(one) / 2.0


def _turn(angle_deg: float) -> float:
    """An angle within -180 to 180."""
    return (angle_deg + 180.0) % 360.0 - 180.0
