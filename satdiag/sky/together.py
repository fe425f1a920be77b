"""Several directions at once: the chance that at least one of them is clear, and that all are.

Directions of one sky share its obstacles and what is not known of them, so their chances are not multiplied. Whole
skies are drawn from what is known (skylines from their distribution, local evidence from its own); under one drawn
sky each direction has a chance of its own, and the mean over all skies is the answer (Monte Carlo, textbook). What is
left of chance under one sky is shared by directions that lie close together, as far as a look at one tells of the
other, and independent for others (judgement, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from scipy.special import betaincinv, expit, logit

from satdiag.findings import Interval, SatelliteSky
from satdiag.sky import horizon
from satdiag.sky.mask.canopy import nearness
from satdiag.sky.mask.looks import Floats, unit_vectors
from satdiag.sky.place_prior import LOOKS_WORTH, p_clear_of_place
from satdiag.sky.stay import Stay

DRAWS = 200
_LEAST = 1e-6
_HALVINGS = 40
# Directions this little alike are taken as independent.
_APART = 0.01


class Together(NamedTuple):
    """Chances for a set of satellites, each with its 90 % interval; unknown is None.

    `all_` counts those above the horizon only; it is None where there is none.
    """

    any_: float | None
    any_90: Interval | None
    all_: float | None
    all_90: Interval | None


UNKNOWN = Together(None, None, None, None)


def together(stay: Stay, satellites: list[SatelliteSky]) -> Together:
    """The chance that at least one of the satellites is clear, and that all that have risen are."""
    if not satellites or any(sat.p_clear is None or sat.elevation_deg is None for sat in satellites):
        return UNKNOWN
    risen = [sat for sat in satellites if (sat.elevation_deg or 0.0) > 0.0]
    if not risen:
        return Together(0.0, (0.0, 0.0), None, None)
    if len(risen) == 1:
        only = risen[0]
        return Together(only.p_clear, only.p_clear_90, only.p_clear, only.p_clear_90)
    azimuth = np.array([sat.azimuth_deg for sat in risen], dtype=float)
    elevation = np.array([sat.elevation_deg for sat in risen], dtype=float)
    chance = np.array([sat.p_clear for sat in risen], dtype=float)
    drawn = matched(drawn_chances(stay, azimuth, elevation), chance)
    any_, all_ = any_and_all(drawn, alike(azimuth, elevation))
    return Together(float(any_.mean()), interval_of(any_), float(all_.mean()), interval_of(all_))


def interval_of(drawn: Floats) -> Interval:
    """The 90 % interval of drawn chances (d,), stretched to hold their mean."""
    low, high = np.quantile(drawn, [0.05, 0.95])
    value = float(drawn.mean())
    return min(float(low), value), max(float(high), value)


# --- drawn skies -------------------------------------------------------------------------------------------------


def drawn_chances(stay: Stay, azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """Chances of directions (n,) under drawn skies, shape (d, n), from the best that is known at a stay.

    Raises ValueError where nothing is known of the sky there.
    """
    if stay.seen:
        return stay.seen.drawn_chances(azimuth_deg, elevation_deg, DRAWS)
    if stay.has_skyline:
        return horizon.drawn_chances(stay.readings, stay.obstacles, azimuth_deg, elevation_deg)
    if stay.place is None:
        raise ValueError("nothing is known of the sky at this stay")
    chance = p_clear_of_place(stay.place, elevation_deg)[0].clip(_LEAST, 1.0 - _LEAST)
    # A place's word is right or wrong for all directions together, see place_prior.
    level = ((np.arange(DRAWS) + 0.5) / DRAWS)[:, None]
    return np.asarray(betaincinv(LOOKS_WORTH * chance, LOOKS_WORTH * (1.0 - chance), level))


def chances_now(stay: Stay, azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """Chance that directions (n,) are clear, as `with_chance` and `judged` say it for satellites; NaN unknown."""
    if stay.has_skyline:
        edge = horizon.skyline(stay.readings, stay.obstacles, azimuth_deg)
        value = horizon.p_clear(edge, elevation_deg)[0] if edge is not None else np.full(len(azimuth_deg), np.nan)
    elif stay.place is not None:
        value = p_clear_of_place(stay.place, elevation_deg)[0]
    else:
        value = np.full(len(azimuth_deg), np.nan)
    if stay.seen:
        seen, speaks = stay.seen.said_of(azimuth_deg, elevation_deg, stay.has_skyline)
        value = np.where(speaks, seen.value, value)
    return np.asarray(np.where(elevation_deg > 0.0, value, 0.0))


def matched(drawn: Floats, chance: Floats) -> Floats:
    """Drawn chances (d, n), each column shifted in log odds so that its mean is the chance (n,) that was told."""
    odds = logit(np.clip(drawn, _LEAST, 1.0 - _LEAST))
    low, high = np.full(len(chance), -40.0), np.full(len(chance), 40.0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        above = expit(odds + middle).mean(axis=0) > chance
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.asarray(expit(odds + (low + high) / 2.0))


# --- under one sky -----------------------------------------------------------------------------------------------


def alike(azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """How much a look at one direction tells of another, shape (n, n): 1 at none apart, see canopy."""
    way = unit_vectors(azimuth_deg, elevation_deg)
    return nearness(way, way)


def any_and_all(chance: Floats, alike: Floats) -> tuple[Floats, Floats]:
    """Chance that at least one of n directions is clear, and that all are, by drawn sky (d,).

    `chance` has shape (d, n). Each direction shares the fate of the nearest one before it with the probability
    that they are `alike` (n, n), and else has a fate of its own; directions of one fate are clear together as far as
    their chances go.
    """
    none, whole = np.zeros(len(chance)), np.zeros(len(chance))
    for weight, groups in _fates(alike):
        hidden, clear = np.ones(len(chance)), np.ones(len(chance))
        for group in groups:
            hidden = hidden * (1.0 - chance[:, group].max(axis=1))
            clear = clear * chance[:, group].min(axis=1)
        none, whole = none + weight * hidden, whole + weight * clear
    return 1.0 - none, whole


def _fates(alike: Floats) -> Iterator[tuple[float, list[list[int]]]]:
    """Every way in which directions share their fates, with its probability."""

    def ways(number: int, weight: float, groups: list[list[int]]) -> Iterator[tuple[float, list[list[int]]]]:
        if number == len(alike):
            yield weight, groups
            return
        nearest = int(np.argmax(alike[number, :number])) if number else 0
        share = float(alike[number, nearest]) if number else 0.0
        share = 0.0 if share < _APART else share
        if share < 1.0:
            yield from ways(number + 1, weight * (1.0 - share), [*groups, [number]])
        if share > 0.0:
            joined = [[*group, number] if nearest in group else group for group in groups]
            yield from ways(number + 1, weight * share, joined)

    return ways(0, 1.0, [])
