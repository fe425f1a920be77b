"""Fading beside trees along a road: the empirical roadside model of ITU-R P.681-11, Annex 1, 4.1 (recommendation).

Formulae as an open implementation gives them. The model was made from drives on tree-lined roads with the path
roughly across the road; `exceeded_percent` is the share of the distance, so of driving time at constant speed, over
which the fade is larger. At 1.5 GHz and 45 deg its curve runs through the median of eight measured drives, which lie
within 5 dB of it (Goldhirsh and Vogel, Handbook of Propagation Effects for Vehicular and Personal Mobile Satellite
Systems, 1998, section 3.4.1): read every figure as 'typical, give or take 5 dB'.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import erf

from satdiag.language import mark
from satdiag.sky.propagation.standing import Floats, Source, within

MODEL = mark("roadside trees (ITU-R P.681-11, Annex 1, 4.1)")
SOURCE = Source(mark("ITU-R P.681-11, Annex 1, 4.1.1: fades beside roadside trees"), "recommendation")
TYPICAL_ERROR_DB = 5.0
LOWEST_ELEVATION_DEG = 7.0
LOWEST_PERCENT, KNEE_PERCENT, HIGHEST_PERCENT = 1.0, 20.0, 80.0

# Above 60 deg the Recommendation has only these: percentages and, at 80 deg, fades at two frequencies.
HIGH_PERCENT = np.array([1.0, 5.0, 10.0, 15.0, 20.0, 30.0])
FADE_AT_80_DB = {
    1.6: np.array([4.1, 2.0, 1.5, 1.4, 1.3, 1.2]),
    2.6: np.array([9.0, 5.2, 3.8, 3.2, 2.8, 2.5]),
}


def frequency_factor(frequency_ghz: ArrayLike) -> Floats:
    """How much larger a tree fade is than at 1.5 GHz (0.8 to 20 GHz): exp(1.5 (1/sqrt(1.5) - 1/sqrt(f)))."""
    frequency = within(frequency_ghz, 0.8, 20.0, mark("a frequency of"), MODEL, "GHz")
    return np.asarray(np.exp(1.5 * (1.0 / np.sqrt(1.5) - 1.0 / np.sqrt(frequency))))


def _slope_and_offset(elevation_deg: Floats) -> tuple[Floats, Floats]:
    """M and N of A = N - M ln p; the Recommendation takes 20 deg for everything from 7 to 20 deg."""
    elevation = np.maximum(elevation_deg, 20.0)
    return 3.44 + 0.0975 * elevation - 0.002 * elevation**2, 34.76 - 0.443 * elevation


def tree_fade_db(exceeded_percent: ArrayLike, elevation_deg: ArrayLike, frequency_ghz: ArrayLike) -> Floats:
    """Fade exceeded over a percentage of the road, dB; arguments broadcast.

    1 to 80 % (the model ends at 80 % with no fade), 7 to 60 deg, 0.8 to 20 GHz. Raises OutsideDomain.
    """
    percent = within(exceeded_percent, LOWEST_PERCENT, HIGHEST_PERCENT, mark("a share of"), MODEL, "%")
    elevation = within(elevation_deg, LOWEST_ELEVATION_DEG, 60.0, mark("an elevation of"), MODEL, "deg")
    slope, offset = _slope_and_offset(elevation)
    knee = offset - slope * np.log(np.minimum(percent, KNEE_PERCENT))
    beyond = np.log(HIGHEST_PERCENT / np.maximum(percent, KNEE_PERCENT)) / np.log(HIGHEST_PERCENT / KNEE_PERCENT)
    return np.asarray(frequency_factor(frequency_ghz) * knee * beyond)


def high_tree_fade_db(exceeded_percent: ArrayLike, elevation_deg: ArrayLike, frequency_ghz: ArrayLike) -> Floats:
    """Fade exceeded over 1 to 30 % of the road with the satellite at 60 to 90 deg, dB (section 4.1.1.1).

    Linear from the 60 deg fade to the tabulated one at 80 deg and from there to nothing at 90 deg. The table knows
    1.6 and 2.6 GHz: any frequency between takes the row of 2.6 GHz, the safe side; outside them OutsideDomain is
    raised. Between the table's percentages the row is read linearly in ln p (our choice).
    """
    percent = within(exceeded_percent, 1.0, 30.0, mark("with the satellite above 60 deg a share of"), MODEL, "%")
    elevation = within(elevation_deg, 60.0, 90.0, mark("an elevation of"), MODEL, "deg")
    frequency = within(frequency_ghz, 1.6, 2.6, mark("with the satellite above 60 deg a frequency of"), MODEL, "GHz")
    low, high = (np.interp(np.log(percent), np.log(HIGH_PERCENT), FADE_AT_80_DB[key]) for key in (1.6, 2.6))
    at_80 = np.where(frequency == 1.6, low, high)
    at_60 = tree_fade_db(percent, 60.0, frequency)
    below = at_60 + (at_80 - at_60) * (elevation - 60.0) / 20.0
    return np.asarray(np.where(elevation <= 80.0, below, at_80 * (90.0 - elevation) / 10.0))


def tree_share_percent(fade_db: ArrayLike, elevation_deg: ArrayLike, frequency_ghz: ArrayLike) -> Floats:
    """Percentage of the road over which the fade is larger than this: the inverse of `tree_fade_db`.

    A fade of 0 dB gives 80 %, where the model ends. Fades so deep that less than 1 % of the road has them are
    outside the model: NaN stands there.
    """
    fade = within(fade_db, 0.0, np.inf, mark("a fade of"), MODEL, "dB")
    elevation = within(elevation_deg, LOWEST_ELEVATION_DEG, 60.0, mark("an elevation of"), MODEL, "deg")
    slope, offset = _slope_and_offset(elevation)
    factor = frequency_factor(frequency_ghz)
    at_knee = factor * (offset - slope * np.log(KNEE_PERCENT))
    common = np.exp((offset - fade / factor) / slope)
    rare = HIGHEST_PERCENT / (HIGHEST_PERCENT / KNEE_PERCENT) ** (fade / at_knee)
    share = np.where(common <= KNEE_PERCENT, common, rare)
    return np.asarray(np.where(share >= LOWEST_PERCENT, share, np.nan))


def fade_longer_share(distance_m: ArrayLike) -> Floats:
    """Share of fades over 5 dB that last longer than this distance (section 4.1.2): log-normal, median 0.22 m.

    From 0.02 m on; made from drives at 51 deg under moderate to severe shadowing.
    """
    distance = within(distance_m, 0.02, np.inf, mark("a fade's length of"), MODEL, "m")
    return np.asarray(0.5 * (1.0 - erf((np.log(distance) - np.log(0.22)) / (np.sqrt(2.0) * 1.215))))
