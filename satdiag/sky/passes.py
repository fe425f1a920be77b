"""When a satellite rises, stands highest and sets: instants at which an elevation crosses a threshold.

Nothing here knows of orbits: an elevation is any smooth function of time, given as a function of many instants at
once. It is sampled evenly, its highest and lowest points between samples are sought out, and each crossing is then
halved in until it is known to `REFINED_S`. What happens twice within one step of the samples may be missed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import Instant, instant_text

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Instants = NDArray[np.datetime64]
ElevationOf = Callable[[Instants], Floats]

REFINED_S = 0.01
_MICROS = 1_000_000
# Of three parts of a bracket the part that cannot hold the extremum is left out, until it is as short as wanted.
_THIRD = 3


@dataclass(frozen=True)
class Pass:
    """One time above the threshold. `rise` or `set_` is None where it lies outside the span that was looked at.

    `culmination` is the highest instant within the span: the span's end where the satellite still climbs there.
    """

    rise: np.datetime64 | None
    culmination: np.datetime64
    culmination_elevation_deg: float
    set_: np.datetime64 | None


def sample_instants(start: np.datetime64, end: np.datetime64, step_s: float) -> Instants:
    """Even instants from start to end, both included, at most `step_s` apart."""
    first, last = _micros(start), _micros(end)
    count = max(1, -(-(last - first) // max(1, round(step_s * _MICROS))))
    return _instants(np.linspace(first, last, count + 1).round().astype(np.int64))


def passes(
    elevation_of: ElevationOf, start: np.datetime64, end: np.datetime64, threshold_deg: float, step_s: float
) -> tuple[Pass, ...]:
    """Every time between two instants in which the elevation is above the threshold, in their order."""
    times, heights = _with_extrema(elevation_of, sample_instants(start, end, step_s))
    above = heights >= threshold_deg
    edges = np.flatnonzero(above[1:] != above[:-1])
    crossed = _halved(elevation_of, threshold_deg, times[edges], times[edges + 1], above[edges + 1])
    begins = [*([None] if above[0] else []), *(crossed[above[edges + 1]].tolist())]
    finishes = [*(crossed[~above[edges + 1]].tolist()), *([None] if above[-1] else [])]
    return tuple(_pass(times, heights, begin, finish) for begin, finish in zip(begins, finishes, strict=True))


def _pass(times: Whole, heights: Floats, begin: int | None, finish: int | None) -> Pass:
    inside = np.ones(len(times), dtype=bool)
    if begin is not None:
        inside &= times >= begin
    if finish is not None:
        inside &= times <= finish
    top = int(np.argmax(np.where(inside, heights, -np.inf)))
    return Pass(_instant(begin), _at(int(times[top])), float(heights[top]), _instant(finish))


def highest(
    elevation_of: ElevationOf, start: np.datetime64, end: np.datetime64, step_s: float
) -> tuple[np.datetime64, float]:
    """The instant between two instants at which the elevation is highest, and that elevation in degrees."""
    times, heights = _with_extrema(elevation_of, sample_instants(start, end, step_s))
    top = int(np.argmax(heights))
    return _at(int(times[top])), float(heights[top])


def _with_extrema(elevation_of: ElevationOf, samples: Instants) -> tuple[Whole, Floats]:
    """The samples with the highest and lowest points between them, in their order: microseconds and degrees."""
    times, heights = samples.astype("datetime64[us]").astype(np.int64), elevation_of(samples)
    added = [_extrema(elevation_of, times, sign * heights, sign) for sign in (1.0, -1.0)]
    whole = np.unique(np.concatenate([times, *added]))
    return whole, elevation_of(_instants(whole))


def _extrema(elevation_of: ElevationOf, times: Whole, heights: Floats, sign: float) -> Whole:
    """Where sign * elevation has a local maximum inside the samples, by parting each bracket in three."""
    inner = np.flatnonzero((heights[1:-1] >= heights[:-2]) & (heights[1:-1] > heights[2:])) + 1
    low, high = times[inner - 1].copy(), times[inner + 1].copy()
    while len(low) and (high - low).max() > REFINED_S * _MICROS:
        third = (high - low) // _THIRD
        left, right = low + third, high - third
        rises = sign * elevation_of(_instants(left)) < sign * elevation_of(_instants(right))
        low, high = np.where(rises, left, low), np.where(rises, high, right)
    return np.asarray((low + high) // 2)


def _halved(
    elevation_of: ElevationOf, threshold_deg: float, low: Whole, high: Whole, rising: NDArray[np.bool_]
) -> Whole:
    """Where the elevation crosses the threshold between low and high, all brackets at once."""
    low, high = low.copy(), high.copy()
    while len(low) and (high - low).max() > REFINED_S * _MICROS:
        middle = (low + high) // 2
        later = (elevation_of(_instants(middle)) >= threshold_deg) != rising
        low, high = np.where(later, middle, low), np.where(later, high, middle)
    return np.asarray((low + high) // 2)


def instant_words(instant: np.datetime64) -> Instant:
    """An instant to the whole second, which is what the search for it is worth."""
    whole = (instant.astype("datetime64[us]") + np.timedelta64(500_000, "us")).astype("datetime64[s]")
    return instant_text(whole) or ""


def _micros(instant: np.datetime64) -> int:
    return int(instant.astype("datetime64[us]").astype(np.int64))


def _instant(micros: int | None) -> np.datetime64 | None:
    return None if micros is None else _at(micros)


def _at(micros: int) -> np.datetime64:
    return np.datetime64(micros, "us")


def _instants(micros: Whole) -> Instants:
    return micros.astype("datetime64[us]")
