"""What the word for a place says about the sky when nothing was measured: a weak prior by elevation.

'street' and 'open-sky' take the line-of-sight probabilities of 3GPP TR 38.811 (ETSI TR 138 811), Table 6.6.1-1,
S-band, for urban and for suburban/rural scenarios, as an open implementation of that report quotes them; the report
itself was not read. The other words are judgement, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv

from satdiag.language import tell

Floats = NDArray[np.float64]

_TABLE_ELEVATION_DEG = np.arange(10.0, 91.0, 10.0)
LOWEST_OF_TABLE_DEG = 10.0
"""Lower down a chance is that of this elevation, which is the better side."""
_URBAN = np.array([24.6, 38.6, 49.3, 61.3, 72.6, 80.5, 91.9, 96.8, 99.2]) / 100.0
_SUBURBAN_RURAL = np.array([78.2, 86.9, 91.9, 92.9, 93.5, 94.0, 94.9, 95.2, 99.8]) / 100.0
_CANOPY = np.full(9, 0.35)  # judgement, no source: leaves let a good signal through about one time in three
_INDOORS = np.full(9, 0.05)  # judgement, no source: a window side or a thin roof
_UNDERGROUND = np.full(9, 0.01)  # judgement, no source

P_CLEAR_BY_PLACE: Mapping[str, Floats] = {
    "open-sky": _SUBURBAN_RURAL,
    "street": _URBAN,
    "canopy": _CANOPY,
    "indoors": _INDOORS,
    "underground": _UNDERGROUND,
}

# A roof ends what a skyline measured outside could say.
UNDER_A_ROOF = ("indoors", "underground")

# judgement, no source: a place's word is worth two looks at the sky.
LOOKS_WORTH = 2.0


def p_clear_of_place(place: str, elevation_deg: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Probability that a direction at these elevations is clear, and its 90 % interval, from the place's word.

    Linear between the table's elevations, and as at 10 deg below that; 0 below the geometric horizon. The interval
    is that of a beta distribution worth `LOOKS_WORTH` looks, so it is wide on purpose.
    """
    elevation = np.asarray(elevation_deg, dtype=float)
    chance = np.interp(elevation, _TABLE_ELEVATION_DEG, P_CLEAR_BY_PLACE[place])
    low, high = (betaincinv(LOOKS_WORTH * chance, LOOKS_WORTH * (1.0 - chance), level) for level in (0.05, 0.95))
    risen = elevation > 0.0
    return (
        np.asarray(np.where(risen, chance, 0.0)),
        np.asarray(np.where(risen, np.minimum(low, chance), 0.0)),
        np.asarray(np.where(risen, np.maximum(high, chance), 0.0)),
    )


def low_words(name: str, elevation_deg: float) -> str:
    """What must be said of a satellite that stands below the table."""
    return tell(
        "the satellite '{satellite}' stands {elevation:.1f}° high; what is known of a place by its word ends at "
        "{least:g}°, so its chance is that of a satellite there and rather too high",
        satellite=name,
        elevation=elevation_deg,
        least=LOWEST_OF_TABLE_DEG,
    )


def edge_of_place(place: str) -> tuple[float, float]:
    """Mean and standard deviation, deg, of the edge of the sky that the place's word stands for.

    The chance of being clear at an elevation is read as the chance that the edge lies below it: the mean is then the
    integral of 1 - P over elevation, the mean square that of 2 e (1 - P).
    """
    elevation = np.linspace(0.0, 90.0, 901)
    above = 1.0 - np.interp(elevation, _TABLE_ELEVATION_DEG, P_CLEAR_BY_PLACE[place])
    mean = float(np.trapezoid(above, elevation))
    square = float(np.trapezoid(2.0 * elevation * above, elevation))
    return mean, float(np.sqrt(max(square - mean**2, 0.0)))


def visible_fraction_of_place(place: str, minimum_elevation_deg: float) -> tuple[float, tuple[float, float]]:
    """Open share of the solid angle above an elevation, and its 90 % interval, from the place's word alone.

    All elevations are taken to be better or worse together, which makes the interval as wide as it can be.
    """
    sines = np.linspace(np.sin(np.radians(minimum_elevation_deg)), 1.0, 201)
    middle = np.degrees(np.arcsin((sines[1:] + sines[:-1]) / 2.0))  # steps of equal solid angle
    value, low, high = (float(part.mean()) for part in p_clear_of_place(place, middle))
    return value, (low, high)
