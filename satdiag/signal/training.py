"""What the readings of a path say of its chain: rates of change, levels, spread and memory of the noise.

Expectation maximisation (Baum et al. 1970, Annals of Mathematical Statistics 41, 164), with priors, so that ten
readings already give a usable answer. The rates come from the time expected in each state and the changes expected
between readings, however far apart those are (integral of exp(Q s) W exp(Q (t - s)) by a block matrix: Van Loan 1978,
IEEE Transactions on Automatic Control 23, 395; for chains Hobolth and Jensen 2005, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from satdiag.signal.markov import Floats, pairs
from satdiag.signal.readings import BandNoise, ChainReadings, ChainSteps, LevelNoise, Noise, exponentials, waited

BLOCKED, SHADOWED, CLEAR = 0, 1, 2

_ROUNDS = 12
_STANDS = 1e-3  # of the log-likelihood, for each round

# Priors (judgement, no source). Rates: one change in a minute, worth a single change. Spread of a clear level: as if
# four readings had shown 1 dB. Depth of a shadow: as if one reading had shown its middle.
_PRIOR_CHANGES, _PRIOR_S = 1.0, 60.0
_SPREAD_DB, _SPREAD_COUNT, _LEAST_SPREAD_DB = 1.0, 4.0, 0.3
# How long noise may remember: what stays for longer than half a minute is no noise but the path itself.
_MEMORIES_S = np.concatenate([[0.0], np.geomspace(0.3, 30.0, 21)])
# Bands of an order, from far below the cut to far above it: what each state shows as a rule, in so many readings.
_BAND_COUNT = 40.0
_BANDS = np.array([[0.0, 0.0, 0.0, 0.0], [0.55, 0.38, 0.06, 0.01], [0.004, 0.016, 0.28, 0.70]])
_TOLD_AT_LEAST = 1.5  # a band on one side of the cut never speaks for the state on its other side


@dataclass(frozen=True, eq=False)
class Chain:
    """A trained chain: generator (3, 3) per second, noise, and the log-likelihood of what it was trained on."""

    rates_per_s: Floats
    noise: Noise
    log_likelihood: float


def first_rates() -> Floats:
    """The generator before anything was read."""
    rates = np.full((3, 3), _PRIOR_CHANGES / _PRIOR_S)
    return _closed(rates)


def first_bands() -> BandNoise:
    """What each state shows on a scale that is an order only, before anything was read."""
    return BandNoise(_BANDS, 0.0)


def train(readings: ChainReadings, noise: Noise, depth_db: float) -> Chain:
    """The chain that explains the readings best; a shadow lies at least `depth_db` below the clear level."""
    chain = Chain(first_rates(), noise, -np.inf)
    for _ in range(_ROUNDS):
        both, log_likelihood = pairs(ChainSteps(readings, chain.rates_per_s, chain.noise))
        rates = better_rates(readings, both, chain.rates_per_s)
        better: Noise
        if isinstance(chain.noise, LevelNoise):
            better = better_levels(readings, both, chain.noise, depth_db)
        else:
            better = better_bands(readings, both, chain.noise)  # type: ignore[arg-type]
        gained = log_likelihood - chain.log_likelihood
        chain = Chain(rates, better, log_likelihood)
        if gained < max(0.01, _STANDS * readings.count**0.5):
            break
    return chain


# --- rates -------------------------------------------------------------------------------------------------------


def expected_changes(readings: ChainReadings, both: Floats, rates_per_s: Floats) -> Floats:
    """(K, K) changes expected off the diagonal, and on it the time expected in each state [s]."""
    wait_s, group = readings.waits
    states = len(rates_per_s)
    kept = np.isfinite(wait_s)
    flat = both.reshape(states * states, -1)
    sums = np.array([np.bincount(group, row, len(wait_s)) for row in flat]).reshape(states, states, -1)
    weight = np.moveaxis(sums, -1, 0)[kept] / waited(rates_per_s, wait_s[kept]).clip(1e-300)
    block = np.zeros((int(kept.sum()), 2 * states, 2 * states))
    block[:, :states, :states] = block[:, states:, states:] = rates_per_s.T
    block[:, :states, states:] = weight
    longest = wait_s[kept][:, None, None]
    integral = exponentials(block * longest)[:, :states, states:].sum(axis=0)
    found = integral * rates_per_s
    np.fill_diagonal(found, np.diag(integral))
    return np.asarray(found.clip(0.0))


def better_rates(readings: ChainReadings, both: Floats, rates_per_s: Floats) -> Floats:
    """The generator after one round."""
    expected = expected_changes(readings, both, rates_per_s)
    rates = (expected + _PRIOR_CHANGES) / (np.diag(expected)[:, None] + _PRIOR_S)
    return _closed(rates)


def _closed(rates: Floats) -> Floats:
    """Off-diagonal rates with the diagonal that lets each row sum to 0."""
    closed = rates.copy()
    np.fill_diagonal(closed, 0.0)
    np.fill_diagonal(closed, -closed.sum(axis=1))
    return closed


# --- levels in dB ------------------------------------------------------------------------------------------------


def better_levels(readings: ChainReadings, both: Floats, noise: LevelNoise, depth_db: float) -> LevelNoise:
    """Levels, common spread and memory after one round: least squares for each memory, the likeliest memory taken."""
    sums = _sums(readings, both)
    best: tuple[float, LevelNoise] | None = None
    for tau_s in _MEMORIES_S:
        cost, mean, sd = _fit(sums, readings.alike(float(tau_s)), depth_db)
        if best is None or cost < best[0]:
            best = (cost, replace(noise, mean=mean, sd=np.full(3, sd), tau_s=float(tau_s)))
    assert best is not None
    return best[1]


@dataclass(frozen=True, eq=False)
class _Sums:
    """Weighted sums by group of waits, (2, 2, G): state before and own, shadowed then clear; x own, p before.

    `fresh` (2, 3): weight, sum of x, sum of squares of the readings that follow no other.
    """

    one: Floats
    x: Floats
    p: Floats
    xx: Floats
    xp: Floats
    pp: Floats
    fresh: Floats


def _sums(readings: ChainReadings, both: Floats) -> _Sums:
    group, groups = readings.waits[1], len(readings.waits[0])
    value = readings.value
    at = np.flatnonzero(readings.follows)
    x, p, weights = value[at], value[at - 1], both[1:, 1:][:, :, at]

    def by_group(part: Floats) -> Floats:
        rows = (weights * part).reshape(4, -1)
        return np.array([np.bincount(group[at], row, groups) for row in rows]).reshape(2, 2, groups)

    one = np.ones(len(at))
    alone = ~np.isnan(value) & ~readings.follows
    weight = both[:, 1:][:, :, alone].sum(axis=0)
    fresh = np.stack([(weight * value[alone] ** power).sum(axis=1) for power in range(3)], axis=1)
    return _Sums(by_group(one), by_group(x), by_group(p), by_group(x * x), by_group(x * p), by_group(p * p), fresh)


def _fit(sums: _Sums, alike: Floats, depth_db: float) -> tuple[float, Floats, float]:
    """For one memory: (-2 log posterior, mean, spread)."""
    left = 1.0 - alike**2
    weight = sums.one / left
    ahead = (sums.x - alike * sums.p) / left  # sum of (x - alike p), over its variance
    normal, right = np.diag(sums.fresh[:, 0]), sums.fresh[:, 1].copy()
    for before in range(2):
        for own in range(2):
            # the design of a pair is (own) - alike (before)
            normal[own, own] += weight[before, own].sum()
            normal[before, before] += (alike**2 * weight[before, own]).sum()
            cross = (alike * weight[before, own]).sum()
            normal[own, before] -= cross
            normal[before, own] -= cross
            right[own] += ahead[before, own].sum()
            right[before] -= (alike * ahead[before, own]).sum()
    squares = ((sums.xx - 2.0 * alike * sums.xp + alike**2 * sums.pp) / left).sum() + sums.fresh[:, 2].sum()
    apart = np.array([-1.0, 1.0])
    levels = np.linalg.solve(normal + np.outer(apart, apart) + 1e-9 * np.eye(2), right + apart * 1.5 * depth_db)
    if levels[1] - levels[0] < depth_db:
        together = normal.sum() + 1e-9
        clear = (right.sum() + depth_db * normal[0].sum()) / together
        levels = np.array([clear - depth_db, clear])
    left_over = float(squares - 2.0 * levels @ right + levels @ normal @ levels)
    count = float(sums.one.sum() + sums.fresh[:, 0].sum())
    worth = left_over + _SPREAD_COUNT * _SPREAD_DB**2
    spread = max(np.sqrt(worth / (count + _SPREAD_COUNT)), _LEAST_SPREAD_DB)
    cost = 2.0 * (count + _SPREAD_COUNT) * np.log(spread) + worth / spread**2 + (sums.one * np.log(left)).sum()
    return float(cost), np.array([np.nan, *levels]), float(spread)


# --- an order only -----------------------------------------------------------------------------------------------


def better_bands(readings: ChainReadings, both: Floats, noise: BandNoise) -> BandNoise:
    """Chances of the bands and memory after one round; the share of repeats is known by expectation, too."""
    value = readings.value
    group, groups = readings.waits[1], len(readings.waits[0])
    has = np.flatnonzero(~np.isnan(value))
    band = value[has].astype(np.intp)
    alike = readings.alike(noise.tau_s)[group[has]] * readings.follows[has]
    same = readings.follows[has] & (value[has - 1] == value[has])
    counts = np.zeros_like(noise.chance)
    repeated, drawn = np.zeros(groups), np.zeros(groups)
    for state in (SHADOWED, CLEAR):
        stayed = both[state, state][has]
        chance = noise.chance[state, band]
        anew = np.where(same, (1.0 - alike) * chance / (alike + (1.0 - alike) * chance), 1.0)
        came = both[:, state][:, has].sum(axis=0) - stayed
        counts[state] = np.bincount(band, came + stayed * anew, noise.chance.shape[1])
        follows = stayed * readings.follows[has]
        repeated += np.bincount(group[has], follows * (1.0 - anew), groups)
        drawn += np.bincount(group[has], follows * anew, groups)
    return BandNoise(_ordered(counts + _BAND_COUNT * _BANDS), _memory(readings, repeated, drawn))


def _ordered(counts: Floats) -> Floats:
    """Chances from counts; each band keeps speaking for the state on its own side of the cut."""
    chance = counts / counts.sum(axis=1, keepdims=True).clip(1e-300)
    below, above = slice(0, 2), slice(2, 4)
    chance[CLEAR, below] = np.minimum(chance[CLEAR, below], chance[SHADOWED, below] / _TOLD_AT_LEAST)
    chance[SHADOWED, above] = np.minimum(chance[SHADOWED, above], chance[CLEAR, above] / _TOLD_AT_LEAST)
    return np.asarray(chance / chance.sum(axis=1, keepdims=True).clip(1e-300))


def _memory(readings: ChainReadings, repeated: Floats, drawn: Floats) -> float:
    """The memory that explains the repeats best."""
    best = (-np.inf, 0.0)
    for tau_s in _MEMORIES_S[1:]:
        alike = readings.alike(float(tau_s)).clip(1e-12)
        told = float((repeated * np.log(alike) + drawn * np.log1p(-alike)).sum())
        best = max(best, (told, float(tau_s)))
    return best[1]
