"""Best and worst hour of a day by the chance that at least one satellite is clear: `clear_hours`.

For each hour the mean of that chance counts: the share of the hour in which at least one path is expected to be
clear. It comes from drawn skies (see `together`), each of which stands over the whole day; its interval is the spread
of the hour's share among them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import Instant, Interval
from satdiag.sky.mask.looks import Floats
from satdiag.sky.orbits import Orbit
from satdiag.sky.passes import instant_words, sample_instants
from satdiag.sky.stay import Stay
from satdiag.sky.together import alike, any_and_all, chances_now, drawn_chances, interval_of, matched

Instants = NDArray[np.datetime64]

STEP_S = 600.0
# A quick satellite is looked at more often, but no more than this.
LEAST_STEP_S = 60.0
HOUR = np.timedelta64(3600, "s")
# Chances are worth no more; less than this is no difference between hours.
SAME = 0.005


@dataclass(frozen=True)
class ClearHour:
    """An hour and the share of it in which at least one satellite is expected to be clear, with its 90 % interval."""

    from_: Instant
    to: Instant
    p_any_clear: float
    p_any_clear_90: Interval


@dataclass(frozen=True)
class ClearHours:
    """Best and worst hour, equal where nothing changes; `known_from`: what the chances rest on."""

    best: ClearHour
    worst: ClearHour
    same_all_day: bool
    known_from: Literal["gnss", "horizon", "obstacles", "place"]


def clear_hours(
    stay: Stay, orbits: Sequence[Orbit], span: tuple[np.datetime64, np.datetime64], minimum_deg: float
) -> ClearHours | None:
    """Best and worst hour between two instants, or None where the sky is unknown in the way of a satellite.

    Satellites below `minimum_deg` (and below the horizon) do not count.
    """
    source = _known_from(stay)
    if source is None or not orbits:
        return None
    step_s = max(LEAST_STEP_S, min(STEP_S, *(orbit.step_s for orbit in orbits)))
    instants = sample_instants(*span, step_s)
    if not any(orbit.moves for orbit in orbits):
        instants = instants[:1]
    azimuth, elevation = _directions(stay, orbits, instants)
    up = (elevation > 0.0) & (elevation >= minimum_deg)
    any_ = _drawn_any(stay, azimuth, elevation, up)
    if any_ is None:
        return None
    hours = []
    for begin in np.arange(span[0], span[1], HOUR):
        finish = min(begin + HOUR, span[1])
        inside = (instants >= begin) & (instants < finish) if len(instants) > 1 else np.ones(1, dtype=bool)
        share = any_[:, inside].mean(axis=1)
        hours.append(ClearHour(instant_words(begin), instant_words(finish), float(share.mean()), interval_of(share)))
    best = max(hours, key=lambda hour: hour.p_any_clear)
    worst = min(hours, key=lambda hour: hour.p_any_clear)
    return ClearHours(best, worst, best.p_any_clear - worst.p_any_clear < SAME, source)


def _known_from(stay: Stay) -> Literal["gnss", "horizon", "obstacles", "place"] | None:
    if stay.seen:
        return "gnss"
    if stay.has_skyline:
        return "horizon" if stay.readings else "obstacles"
    return "place" if stay.place is not None else None


def _directions(stay: Stay, orbits: Sequence[Orbit], instants: Instants) -> tuple[Floats, Floats]:
    """Azimuths and elevations, shape (orbits, instants)."""
    seen = [orbit.seen_from(stay.site, instants) for orbit in orbits]
    shape = (len(orbits), len(instants))
    return (
        np.stack([np.broadcast_to(one.azimuth_deg, shape[1]) for one in seen]),
        np.stack([np.broadcast_to(one.elevation_deg, shape[1]) for one in seen]),
    )


def _drawn_any(stay: Stay, azimuth: Floats, elevation: Floats, up: NDArray[np.bool_]) -> Floats | None:
    """Chance that at least one is clear by drawn sky and instant, or None where one that counts is unknown.

    `azimuth`, `elevation` and `up` (which of them count) have shape (orbits, instants).
    """
    along, high = azimuth[up], elevation[up]
    if not len(along):
        return np.zeros((1, azimuth.shape[1]))
    now = chances_now(stay, along, high)
    if np.isnan(now).any():
        return None
    drawn = matched(drawn_chances(stay, along, high), now)
    place = np.cumsum(up.ravel()).reshape(up.shape) - 1
    found = np.zeros((len(drawn), azimuth.shape[1]))
    for at in range(azimuth.shape[1]):
        who = np.flatnonzero(up[:, at])
        if len(who):
            near = alike(azimuth[who, at], elevation[who, at])
            found[:, at] = any_and_all(drawn[:, place[who, at]], near)[0]
    return found
