"""Loss on the way into a building: ITU-R P.2109-2, Annex 1, section 3 (recommendation).

Formula and coefficients stand alike in two open implementations; the tests hold rows of one's validation table. The
model speaks of buildings as a whole: `share` is the share of places and buildings in which the loss is smaller, not
of time. 'traditional' and 'thermally-efficient' (coated glass, foil-backed panels) are its only two kinds. Garages
were not measured apart: that a garage is like the ground floor of such a building is our reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from satdiag.language import mark
from satdiag.sky.propagation.standing import Floats, Source, within

MODEL = mark("building entry loss (ITU-R P.2109-2)")
SOURCE = Source(mark("ITU-R P.2109-2, Annex 1, section 3: loss into a building"), "recommendation")

Building = Literal["traditional", "thermally-efficient"]


class _Coefficients(NamedTuple):
    r: float
    s: float
    t: float
    u: float
    v: float
    w: float
    x: float
    y: float
    z: float


BUILDINGS: Mapping[Building, _Coefficients] = {
    "traditional": _Coefficients(12.64, 3.72, 0.96, 9.6, 2.0, 9.1, -3.0, 4.5, -2.0),
    "thermally-efficient": _Coefficients(28.19, -3.00, 8.48, 13.5, 3.8, 27.8, -2.9, 9.4, -2.1),
}
_C_DB = -3.0
_LOWEST_SHARE, _HIGHEST_SHARE = 1e-9, 1.0 - 1e-9
_HALVINGS = 60


def entry_loss_db(share: ArrayLike, elevation_deg: ArrayLike, frequency_ghz: ArrayLike, building: Building) -> Floats:
    """Loss not exceeded in this share of places (0 to 1), dB; arguments broadcast.

    0.08 to 100 GHz; the elevation is that of the path at the outer wall, -90 to 90 deg. Small shares give gains of up
    to 3 dB, as the Recommendation has it. Raises OutsideDomain.
    """
    chance = within(share, _LOWEST_SHARE, _HIGHEST_SHARE, mark("a share of"), MODEL)
    elevation = within(elevation_deg, -90.0, 90.0, mark("an elevation of"), MODEL, "deg")
    log_f = np.log10(within(frequency_ghz, 0.08, 100.0, mark("a frequency of"), MODEL, "GHz"))
    c = BUILDINGS[building]
    through_walls = c.r + c.s * log_f + c.t * log_f**2 + 0.212 * np.abs(elevation)
    normal = ndtri(chance)
    first = normal * (c.u + c.v * log_f) + through_walls
    second = normal * (c.y + c.z * log_f) + (c.w + c.x * log_f)
    return np.asarray(10.0 * np.log10(10 ** (0.1 * first) + 10 ** (0.1 * second) + 10 ** (0.1 * _C_DB)))


def share_below(loss_db: ArrayLike, elevation_deg: ArrayLike, frequency_ghz: ArrayLike, building: Building) -> Floats:
    """Share of places with a smaller loss than this: the inverse of `entry_loss_db`, by halving.

    0 or 1 stand for less than one place in 10^9.
    """
    loss, elevation, frequency = np.broadcast_arrays(loss_db, elevation_deg, frequency_ghz)
    low, high = np.full(loss.shape, _LOWEST_SHARE), np.full(loss.shape, _HIGHEST_SHARE)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        above = entry_loss_db(middle, elevation, frequency, building) > loss
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    share = (low + high) / 2.0
    share = np.where(entry_loss_db(_LOWEST_SHARE, elevation, frequency, building) > loss, 0.0, share)
    return np.asarray(np.where(entry_loss_db(_HIGHEST_SHARE, elevation, frequency, building) < loss, 1.0, share))
