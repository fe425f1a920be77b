"""Two satellites at once: how often neither is received, ITU-R P.681-11, Annex 1, 9.1 and 9.2 (recommendation).

The formulae for the joint outage are exact for two yes-or-no variables. The correlation in a street canyon follows
the Recommendation's three-segment model in the form that an open implementation corrected (two places look misprinted
there); counting street directions one by one confirms that form to 0.02.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from satdiag.language import mark
from satdiag.sky.propagation.standing import Floats, Source, within

MODEL = mark("two satellites (ITU-R P.681-11, Annex 1, 9)")
SOURCE = Source(mark("ITU-R P.681-11, Annex 1, 9: two satellites, in a street canyon correlated"), "recommendation")
BOUNDS = Source(
    mark("both paths fail together or by chance: the two bounds of independent and equal fate"), "definition"
)


def correlation_range(outage_1: ArrayLike, outage_2: ArrayLike) -> tuple[Floats, Floats]:
    """The lowest and highest correlation that two outages of these probabilities can have (0 where one is 0 or 1)."""
    first, second = np.broadcast_arrays(
        within(outage_1, 0.0, 1.0, mark("an outage of"), MODEL),
        within(outage_2, 0.0, 1.0, mark("an outage of"), MODEL),
    )
    spread = np.sqrt(first * (1.0 - first) * second * (1.0 - second))
    safe = np.where(spread > 0.0, spread, 1.0)
    least = np.maximum(0.0, first + second - 1.0) - first * second
    most = np.minimum(first, second) - first * second
    return np.where(spread > 0.0, least / safe, 0.0), np.where(spread > 0.0, most / safe, 0.0)


def joint_outage(outage_1: ArrayLike, outage_2: ArrayLike, correlation: ArrayLike = 0.0) -> Floats:
    """Probability that both fail: p1 p2 + rho sqrt(p1 (1 - p1) p2 (1 - p2)), kept to what probabilities can be.

    A correlation beyond `correlation_range` is taken as its end. Raises OutsideDomain outside -1..1 and 0..1.
    """
    rho = within(correlation, -1.0, 1.0, mark("a correlation of"), MODEL)
    low, high = correlation_range(outage_1, outage_2)
    first, second = np.asarray(outage_1, dtype=float), np.asarray(outage_2, dtype=float)
    spread = np.sqrt(first * (1.0 - first) * second * (1.0 - second))
    both = first * second + np.clip(rho, low, high) * spread
    return np.asarray(np.clip(both, np.maximum(0.0, first + second - 1.0), np.minimum(first, second)))


def street_correlation(
    elevation_1_deg: float,
    elevation_2_deg: float,
    azimuth_difference_deg: float,
    height_m: float,
    width_m: float,
    length_m: float = 200.0,
) -> float:
    """Correlation of the shadowing of two satellites over all directions of a street canyon, -1 to 1.

    The street is at least 200 m long; elevations over 0 to 90 deg. 1 where buildings hide neither.
    """
    within(length_m, 200.0, 1e6, mark("a street length of"), MODEL, "m")
    low, high = sorted((elevation_1_deg, elevation_2_deg))
    within([low, high], 0.1, 90.0, mark("an elevation of"), MODEL, "deg")
    masking_deg = float(np.degrees(np.arctan(2.0 * height_m / width_m)))
    if low >= masking_deg:
        return 1.0
    open_1 = _open_degrees(low, height_m, width_m, length_m)
    if high >= masking_deg:
        return (4.0 * open_1 + 2.0) / 180.0 - 1.0
    open_2 = _open_degrees(high, height_m, width_m, length_m)
    turn = abs(azimuth_difference_deg) % 180.0
    return _three_segments(open_1, open_2, min(turn, 180.0 - turn))


def _open_degrees(elevation_deg: float, height_m: float, width_m: float, length_m: float) -> int:
    """Whole degrees of street direction, either side of the path, in which the satellite is free."""
    reach2 = (height_m / np.tan(np.radians(elevation_deg))) ** 2 - width_m**2 / 4.0
    reach = min(float(np.sqrt(reach2)), length_m / 2.0)
    return round(float(np.degrees(np.arctan(width_m / 2.0 / reach))))


def _three_segments(open_1: int, open_2: int, turn_deg: float) -> float:
    """Level up to B, level from C on, linear between; counts over the 360 degrees of street direction."""
    near = (4 * open_1 + 2, 358 - 4 * open_2, 4 * (open_2 - open_1), 0)
    if open_1 + open_2 <= 90:
        corner = open_1 + open_2
        far = (0, 356 - 4 * open_1 - 4 * open_2, 4 * open_2 + 2, 4 * open_1 + 2)
    else:
        corner = 180 - open_1 - open_2
        far = (4 * open_1 + 4 * open_2 - 356, 0, 358 - 4 * open_1, 358 - 4 * open_2)
    begin = open_2 - open_1
    ends = [_correlation_of_counts(open_1, open_2, counts) for counts in (near, far)]
    return float(np.interp(turn_deg, [begin, max(corner, begin + 1e-9)], ends))


def _correlation_of_counts(open_1: int, open_2: int, counts: tuple[int, int, int, int]) -> float:
    """Correlation from how often both are free, neither, the second alone, the first alone."""
    both, neither, second, first = counts
    share_1, share_2 = (open_1 + 0.5) / 90.0, (open_2 + 0.5) / 90.0
    spread = [
        np.sqrt(((4 * part + 2) * (1.0 - share) ** 2 + (358 - 4 * part) * share**2) / 359.0)
        for part, share in ((open_1, share_1), (open_2, share_2))
    ]
    if min(spread) == 0.0:
        return 1.0
    together = both * (1.0 - share_1) * (1.0 - share_2) + neither * share_1 * share_2
    apart = first * (1.0 - share_1) * share_2 + second * share_1 * (1.0 - share_2)
    return float(np.clip((together - apart) / (359.0 * spread[0] * spread[1]), -1.0, 1.0))


def any_share_range(works: Sequence[float]) -> tuple[float, float]:
    """Share in which at least one path works, if all fail together (the best alone) and if each fails by chance."""
    shares = within(np.asarray(works, dtype=float), 0.0, 1.0, mark("a share of"), MODEL)
    return float(shares.max()), float(1.0 - np.prod(1.0 - shares))


def any_share_in_streets(
    works: Sequence[float],
    elevation_deg: Sequence[float],
    azimuth_deg: Sequence[float],
    masking_deg: Sequence[float],
) -> tuple[float, float]:
    """The same for streets, whose buildings may hide one satellite just where they leave another one free.

    The least is that of equal fate. The most is that of independence, or more where one of the canyons of these
    masking angles (straight across) makes outages exclude each other; a canyon that would hide neither of two
    satellites is left out. The shares are not those of these canyons, so nothing narrower is known.
    """
    least, most = any_share_range(works)
    for one, two in combinations(range(len(works)), 2):
        pair = elevation_deg[one], elevation_deg[two]
        turn = azimuth_deg[one] - azimuth_deg[two]
        for mask in masking_deg:
            if mask > min(pair):
                rho = street_correlation(*pair, turn, np.tan(np.radians(mask)) / 2.0, 1.0)
                both_out = joint_outage(1.0 - works[one], 1.0 - works[two], rho)
                most = max(most, 1.0 - float(both_out))
    return least, most
