"""A made-up drive through the two-state model of ITU-R P.681-11, to check its closed forms and show what they mean.

Made of our own model, it proves the code against that model only. The slow change of the direct part is written as
level + spread x with x a correlated normal series of variance 1, so that the mean stays the table's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from satdiag.language import mark
from satdiag.sky.propagation.p681_table import Column, State
from satdiag.sky.propagation.standing import Floats, within
from satdiag.sky.propagation.two_state import BAD_LEVEL_SHARES, MODEL, event_shape_db, good_share

_EVENTS_AT_ONCE = 64
_RAREST_SHARE = 1e-12


@dataclass(frozen=True, eq=False)
class Drive:
    """A drive sampled every `step_m`: arrays of shape (n,), levels in dB against the open sky.

    `good` is the state; `direct_db` the level of the direct part; `level_db` the level with the scattered part.
    `event_m` and `event_good`, shape (events,), are the lengths and states that were drawn, the last one cut off.
    """

    step_m: float
    good: NDArray[np.bool_]
    direct_db: Floats
    level_db: Floats
    event_m: Floats
    event_good: NDArray[np.bool_]


def synthesise(column: Column, distance_m: float, step_m: float, wavelength_m: float, seed: int) -> Drive:
    """A drive of this length; the same seed gives the same drive. Raises OutsideDomain for a step that is too long.

    Ramps between events lie half in the event before and half in the one after, and never reach past their middles.
    """
    within(step_m, 1e-6, distance_m / 2.0, mark("a step of"), MODEL, "m")
    random = np.random.default_rng(seed)
    event_m, event_good = _events(column, distance_m, random)
    level = _event_levels(column, event_good, random)
    edge_m: Floats = np.concatenate([[0.0], np.cumsum(event_m)])
    place_m: Floats = np.asarray((np.arange(int(distance_m / step_m)) + 0.5) * step_m, dtype=np.float64)
    at = np.searchsorted(edge_m, place_m, side="right") - 1
    spread, scatter = np.empty_like(level), np.empty_like(level)
    for good, state in ((True, column.good), (False, column.bad)):
        inside = event_good == good
        spread[inside], scatter[inside] = event_shape_db(state, level[inside])
    along = _ramped_places(place_m, edge_m, level, column)
    slow = _correlated(len(place_m), step_m / column.correlation_m, random)
    direct = np.interp(along, np.arange(len(level)), level) + spread[at] * slow
    scattered = _scattered(len(place_m), step_m / wavelength_m, random) * 10 ** (scatter[at] / 20.0)
    amplitude = np.abs(10 ** (direct / 20.0) + scattered)
    return Drive(step_m, event_good[at], direct, 20.0 * np.log10(amplitude), event_m, event_good)


def _events(column: Column, distance_m: float, random: np.random.Generator) -> tuple[Floats, NDArray[np.bool_]]:
    """Lengths and states of events that fill the distance, beginning with either state by its share."""
    first_good = bool(random.random() < good_share(column))
    lengths: list[Floats] = []
    total = 0.0
    while total < distance_m:
        pair = np.column_stack([_lengths(state, random) for state in (column.good, column.bad)])
        lengths.append((pair if first_good else pair[:, ::-1]).ravel())
        total += float(pair.sum())
    event_m = np.concatenate(lengths)
    event_m = event_m[: int(np.searchsorted(np.cumsum(event_m), distance_m)) + 1]
    event_good = (np.arange(len(event_m)) % 2 == 0) == first_good
    return event_m, event_good


def _lengths(state: State, random: np.random.Generator) -> Floats:
    """Log-normal lengths, none below the shortest: by inversion, which is what redrawing gives."""
    least = float(ndtr((np.log(state.shortest_m) - state.length_mu) / state.length_sigma))
    share = np.clip(random.uniform(least, 1.0, _EVENTS_AT_ONCE), _RAREST_SHARE, 1.0 - _RAREST_SHARE)
    return np.asarray(np.exp(state.length_mu + state.length_sigma * ndtri(share)))


def _event_levels(column: Column, event_good: NDArray[np.bool_], random: np.random.Generator) -> Floats:
    free = random.standard_normal(len(event_good))
    cut = ndtri(random.uniform(*BAD_LEVEL_SHARES, len(event_good)))
    good, bad = column.good, column.bad
    return np.asarray(
        np.where(event_good, good.level_mean_db + good.level_sd_db * free, bad.level_mean_db + bad.level_sd_db * cut)
    )


def _ramped_places(place_m: Floats, edge_m: Floats, level: Floats, column: Column) -> Floats:
    """For each place the event number whose level holds there, fractional on a ramp."""
    if len(level) == 1:
        return np.zeros(len(place_m))
    ramp = np.maximum(column.ramp_slope * np.abs(np.diff(level)) + column.ramp_m, 0.0)
    shorter = np.minimum(np.diff(edge_m)[:-1], np.diff(edge_m)[1:])
    half = np.minimum(ramp, shorter) / 2.0
    number = np.arange(len(half), dtype=float)
    knots = np.column_stack([edge_m[1:-1] - half, edge_m[1:-1] + half]).ravel()
    values = np.column_stack([number, number + 1.0]).ravel()
    return np.asarray(np.interp(place_m, knots, values))


def _correlated(count: int, steps_per_length: float, random: np.random.Generator) -> Floats:
    """A normal series of variance 1 whose correlation falls as exp(-distance / length)."""
    from scipy.signal import lfilter  # dear to import, and seldom needed

    keep = float(np.exp(-steps_per_length))
    drawn = random.standard_normal(count) * np.sqrt(1.0 - keep**2)
    drawn[0] /= np.sqrt(1.0 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], drawn))


def _scattered(count: int, step_in_wavelengths: float, random: np.random.Generator) -> NDArray[np.complex128]:
    """Complex normal scatter of power 1 from all sides (R. H. Clarke, Bell System Technical Journal 47, 1968).

    Its correlation over a distance d is J0(2 pi d / wavelength). Steps of half a wavelength and more are drawn
    independently, since little correlation is left there.
    """
    drawn = random.standard_normal(count) + 1j * random.standard_normal(count)
    if step_in_wavelengths >= 0.5:
        return np.asarray(drawn / np.sqrt(2.0))
    turn = np.fft.fftfreq(count, step_in_wavelengths)
    width = 1.0 / (count * step_in_wavelengths)
    # Power between two edges of each bin: the integral of 1 / (pi sqrt(1 - f^2)).
    upper, lower = (np.arcsin(np.clip(turn + side * width / 2.0, -1.0, 1.0)) for side in (1.0, -1.0))
    power = (upper - lower) / np.pi
    return np.asarray(np.fft.ifft(drawn * np.sqrt(power / 2.0)) * count)
