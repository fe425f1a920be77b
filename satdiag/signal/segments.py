"""Clear, shadowed or blocked, reading by reading: `segment`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.signal.levels import clear_level, shadow_step
from satdiag.signal.markov import SLAB, Floats, States
from satdiag.signal.readings import UNKNOWN, BandNoise, ChainReadings, ChainSteps, LevelNoise
from satdiag.signal.training import BLOCKED, CLEAR, SHADOWED, Chain, first_bands, train
from satdiag.signal.two_way import LevelSteps, smoothed
from satdiag.signal.walked import walk

__all__ = ["BLOCKED", "CLEAR", "SHADOWED", "Segmented", "bands_of", "segment"]

TRAINED_ON = 20_000
"""Readings that a chain is trained on at most: runs of them, spread evenly over the log."""
_RUNS = 10
_DEEPEST, _HIGHEST = 6.0, 2.0  # in shadow steps from the clear level
PATHS = 8
"""Paths drawn from the posterior, so that an interval knows how unsure the states are."""
_RANDOM_SEED = 20260103


@dataclass(frozen=True, eq=False)
class Segmented:
    """The state of each reading (n,): 0 blocked, 1 shadowed, 2 clear, and the chain that tells so.

    `drawn` are paths (n,) from the posterior, for logs up to `SLAB` readings; for longer ones `state` alone, where
    single doubtful readings no longer matter. `clear_level` is the level that is taken for clear, in the log's unit.
    """

    state: States
    drawn: tuple[States, ...]
    chain: Chain
    clear_level: float


def segment(t_s: Floats, level: Floats, blocked: NDArray[np.bool_], unit: str, weight: Floats) -> Segmented | None:
    """Segments readings (n,) in time order; `level` is NaN where blocked; None without any level.

    `weight` is the time that each reading stands for: the clear level is that of the time, not of the readings. A
    shadow lies so deep that half-way to it is one `shadow_step` below clear: what a reading by itself counts as
    shadowed, the chain does, unless its neighbours and the noise say otherwise.
    """
    reference = clear_level(np.where(blocked, np.nan, level), weight, unit)
    if reference is None:
        return None
    wait_s = np.concatenate([[np.inf], np.diff(t_s)])
    known = np.where(blocked, BLOCKED, UNKNOWN).astype(np.int8)
    step = shadow_step(unit)
    noise: LevelNoise | BandNoise
    if unit in ("dB", "dB-Hz"):
        # Beyond these ends a level tells no more, and a misread one shall not pass for noise.
        ends = (reference - _DEEPEST * step, reference + _HIGHEST * step)
        value = np.where(blocked, np.nan, np.clip(level, *ends))
        noise = LevelNoise(np.array([np.nan, reference - 2.0 * step, reference]), np.full(3, 1.0))
    else:
        value, noise = np.where(blocked, np.nan, bands_of(level, reference, step)), first_bands()
    readings = ChainReadings(wait_s, value, known)
    chain = train(_part(readings), noise, 2.0 * step)
    steps = ChainSteps(readings, chain.rates_per_s, chain.noise)
    if readings.count > SLAB:
        state = smoothed(steps).state
        return Segmented(state, (state,), chain, reference)
    walked = walk(LevelSteps(steps))
    return Segmented(walked.states, walked.paths(PATHS, np.random.default_rng(_RANDOM_SEED)), chain, reference)


def bands_of(level: Floats, reference: float, step: float) -> Floats:
    """Four bands of a scale that is an order: far below the cut, below it, above it, at the clear level or over it.

    The cut lies a step below the clear level. Nothing else of the numbers is used: no distance in dB is read from
    them.
    """
    cuts = np.array([reference - 2.0 * step, reference - step, reference])
    return np.searchsorted(cuts, level, side="right").astype(float)


def _part(readings: ChainReadings) -> ChainReadings:
    """All readings, or runs of them; a run knows nothing of what went before it."""
    if readings.count <= TRAINED_ON:
        return readings
    length = TRAINED_ON // _RUNS
    firsts = np.linspace(0, readings.count - length, _RUNS).astype(np.intp)
    index = (firsts[:, None] + np.arange(length)[None, :]).ravel()
    wait_s = readings.wait_s[index].copy()
    wait_s[::length] = np.inf
    return ChainReadings(wait_s, readings.value[index], readings.known[index])
