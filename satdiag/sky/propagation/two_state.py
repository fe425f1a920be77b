"""The two-state semi-Markov model of ITU-R P.681-11 (Annex 1, 6.2 and Annex 2) in closed form (recommendation).

A drive alternates between a good and a bad state of the path. Event lengths are log-normal and redrawn while too
short, so their mean is that of a cut log-normal (derived). Within an event the level is a Loo distribution (C. Loo,
IEEE Transactions on Vehicular Technology 34, 1985): a direct part whose level in dB is normal, plus a scattered part.
The 10 to 90 % limit on a bad event's level is as both open implementations of the model have it; the ramps between
events are left out of the closed forms.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import ArrayLike
from scipy.special import chndtr, erf, ndtri

from satdiag.language import mark, tell
from satdiag.sky.propagation.p681_table import HIGHEST_GHZ, LOWEST_GHZ, TABLE, Column, Environment, State
from satdiag.sky.propagation.standing import Floats, Source, within

MODEL = mark("two-state model (ITU-R P.681-11, Annex 2)")
SOURCE = Source(mark("ITU-R P.681-11, Annex 1, 6.2 and Annex 2: two states along a drive"), "recommendation")
LOWEST_ELEVATION_DEG, HIGHEST_ELEVATION_DEG = 15.0, 75.0
"""Judgement, no source: the columns stand at 20 to 70 deg, and the nearest one is used up to 5 deg beyond them."""

BAD_LEVEL_SHARES = (0.1, 0.9)
_NODES = 48


class Chosen(NamedTuple):
    """A column of the table, the elevation it stands at, and a sentence where that is not the one asked for ('')."""

    column: Column
    elevation_deg: float
    note: str


def column_at(environment: Environment, elevation_deg: float, frequency_ghz: float) -> Chosen:
    """The column nearest in elevation, 1.5 to 3 GHz, 15 to 75 deg. Raises OutsideDomain."""
    elevation = float(
        within(elevation_deg, LOWEST_ELEVATION_DEG, HIGHEST_ELEVATION_DEG, mark("an elevation of"), MODEL, "deg")
    )
    within(frequency_ghz, LOWEST_GHZ, HIGHEST_GHZ, mark("a frequency of"), MODEL, "GHz")
    columns = TABLE[environment]
    nearest = min(columns, key=lambda key: (abs(key - elevation), key))
    note = ""
    if abs(nearest - elevation) > 0.5:
        note = tell(
            "the table's nearest elevation, {nearest:g}°, stands for {elevation:.0f}°",
            nearest=nearest,
            elevation=elevation,
        )
    return Chosen(columns[nearest], nearest, note)


def mean_length_m(state: State) -> float:
    """Mean length of an event, a log-normal that is redrawn while shorter than the shortest (derived)."""
    mu, sigma, least = state.length_mu, state.length_sigma, np.log(state.shortest_m)
    kept = 1.0 - erf((least - mu) / (sigma * np.sqrt(2.0)))
    weighted = 1.0 - erf((least - mu - sigma**2) / (sigma * np.sqrt(2.0)))
    return float(np.exp(mu + sigma**2 / 2.0) * weighted / kept)


def good_share(column: Column) -> float:
    """Share of the distance in the good state."""
    good, bad = mean_length_m(column.good), mean_length_m(column.bad)
    return good / (good + bad)


def loo_cdf(level_db: ArrayLike, direct_db: ArrayLike, spread_db: ArrayLike, scatter_db: ArrayLike) -> Floats:
    """Probability that a Loo-distributed level lies below `level_db`; all in dB against the open sky.

    `direct_db`, `spread_db`: mean and standard deviation of the direct level; `scatter_db`: power of the scattered
    part. Arguments broadcast. Given the direct level the amplitude is Rician; that is averaged by Gauss-Hermite.
    """
    node, weight = hermegauss(_NODES)
    level, direct, spread, scatter = (
        np.asarray(part, dtype=float)[..., None] for part in (level_db, direct_db, spread_db, scatter_db)
    )
    per_axis = 10 ** (scatter / 10.0) / 2.0
    below = chndtr(10 ** (level / 10.0) / per_axis, 2.0, 10 ** ((direct + spread * node) / 10.0) / per_axis)
    return np.asarray((below * weight).sum(axis=-1) / weight.sum())


def event_shape_db(state: State, level_db: ArrayLike) -> tuple[Floats, Floats]:
    """Spread of the direct part and power of the scattered part of an event with this level, dB.

    The straight lines of the table can make a spread negative for rare levels; it is 0 then (our choice).
    """
    level = np.asarray(level_db, dtype=float)
    spread = np.maximum(state.spread_slope * level + state.spread_db, 0.0)
    return spread, state.scatter_slope * level + state.scatter_db


def _state_cdf(level_db: Floats, state: State, shares: tuple[float, float]) -> Floats:
    """Probability below each level in one state: Loo distributions averaged over equal slices of event levels."""
    low, high = shares
    slice_middle = low + (high - low) * (np.arange(_NODES) + 0.5) / _NODES
    event = state.level_mean_db + state.level_sd_db * ndtri(slice_middle)
    spread, scatter = event_shape_db(state, event)
    return np.asarray(loo_cdf(level_db[:, None], event, spread, scatter).mean(axis=-1))


def fade_share(fade_db: ArrayLike, column: Column) -> Floats:
    """Share of the distance over which the level lies more than `fade_db` below the open sky's; ramps left out."""
    fade = np.asarray(fade_db, dtype=float)
    level = -np.atleast_1d(fade).ravel()
    good = good_share(column)
    below = good * _state_cdf(level, column.good, (0.0, 1.0))
    below = below + (1.0 - good) * _state_cdf(level, column.bad, BAD_LEVEL_SHARES)
    return below.reshape(fade.shape)


_FADE_GRID_DB = np.arange(-12.0, 45.01, 0.5)


@lru_cache(maxsize=64)
def _fade_curve(column: Column) -> Floats:
    return fade_share(_FADE_GRID_DB, column)


def fade_exceeded_db(share: ArrayLike, column: Column) -> Floats:
    """Fade exceeded over a share of the distance (0.005 to 0.995), dB; negative where scatter lifts the level.

    Read from the curve of `fade_share` in steps of 0.5 dB, linearly in the normal quantile of the share.
    """
    wanted = within(share, 0.005, 0.995, mark("a share of"), MODEL)
    curve = np.clip(_fade_curve(column), 1e-9, 1.0 - 1e-9)
    falling = np.minimum.accumulate(curve)
    return np.asarray(np.interp(-ndtri(wanted), -ndtri(falling), _FADE_GRID_DB))
