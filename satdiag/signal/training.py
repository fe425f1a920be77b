"""What the readings of a path say of its chain: rates of change, levels, spread and memory of the noise.

Expectation maximisation (Baum et al. 1970, Annals of Mathematical Statistics 41, 164), with priors, so that ten
readings already give a usable answer. The rates come from the time expected in each state and the changes expected
between readings, however far apart those are (integral of exp(Q s) W exp(Q (t - s)) by a block matrix: Van Loan 1978,
IEEE Transactions on Automatic Control 23, 395; for chains Hobolth and Jensen 2005, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from satdiag.signal.markov import Floats, Numbers
from satdiag.signal.readings import BandNoise, ChainReadings, ChainSteps, LevelNoise, Noise, exponentials, waited
from satdiag.signal.two_way import KINDS, LevelSteps, kinds_of, told_apart
from satdiag.signal.walked import Pairs, walk

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
    """The chain that explains the readings best; a shadow lies at least `depth_db` below the clear level.

    ValueError for readings that are neither blocked nor have a value.
    """
    if not told_apart(readings):
        raise ValueError("readings that are neither blocked nor have a value")
    chain, log = Chain(first_rates(), noise, -np.inf), _Log(readings)
    steps = LevelSteps(ChainSteps(readings, chain.rates_per_s, noise))
    for _ in range(_ROUNDS):
        walked = walk(steps.by(chain.rates_per_s, chain.noise))
        pairs, log_likelihood = walked.pairs, walked.log_likelihood
        counts = log.counted(pairs)
        rates = better_rates(readings.waits[0], counts, chain.rates_per_s)
        better: Noise
        if isinstance(chain.noise, LevelNoise):
            better = better_levels(log, pairs, counts, chain.noise, depth_db)
        else:
            better = better_bands(log, pairs, chain.noise)  # type: ignore[arg-type]
        gained = log_likelihood - chain.log_likelihood
        chain = Chain(rates, better, log_likelihood)
        if gained < max(0.01, _STANDS * readings.count**0.5):
            break
    return chain


@dataclass(frozen=True, eq=False)
class _Log:
    """What the rounds need of the readings again and again; G groups of waits."""

    readings: ChainReadings

    @property
    def groups(self) -> int:
        """How many waits there are."""
        return len(self.readings.waits[0])

    @cached_property
    def kind(self) -> Numbers:
        """See `two_way.kinds_of`."""
        return kinds_of(self.readings)

    @cached_property
    def kinds(self) -> Floats:
        """(KINDS, G) how many readings there are of each kind and wait."""
        return np.bincount(self.kind, minlength=KINDS * self.groups).reshape(-1, KINDS).T.astype(float)

    def counted(self, pairs: Pairs) -> Floats:
        """(3, 3, G) how often a state is expected after another, by wait."""
        up, back, stay = (np.bincount(self.kind, part, KINDS * self.groups).reshape(-1, KINDS).T for part in pairs)
        found = np.empty((3, 3, self.groups))
        found[SHADOWED, SHADOWED] = self.kinds[0] - up[0] - back[0] - stay[0]
        found[SHADOWED, CLEAR], found[CLEAR, SHADOWED], found[CLEAR, CLEAR] = up[0], back[0], stay[0]
        found[BLOCKED, SHADOWED], found[BLOCKED, CLEAR] = self.kinds[1] - up[1], up[1]
        found[CLEAR, BLOCKED] = back[2] + stay[2]
        found[SHADOWED, BLOCKED] = self.kinds[2] - found[CLEAR, BLOCKED]
        found[BLOCKED, BLOCKED] = self.kinds[3]
        return found

    @cached_property
    def alike(self) -> Floats:
        """(M, G) correlation of two readings for each memory of `_MEMORIES_S`."""
        return np.array([self.readings.alike(float(tau_s)) for tau_s in _MEMORIES_S])

    @cached_property
    def following(self) -> Following:
        """The readings that follow another one with a value."""
        value, at = self.readings.value, np.flatnonzero(self.readings.follows)
        group, x, p = self.readings.waits[1][at].astype(np.intp), value[at], value[at - 1]
        squares = np.array([np.bincount(group, part, self.groups) for part in (x * x, x * p, p * p, x, p)])
        return Following(at, group, x, p, squares)

    @cached_property
    def alone(self) -> Numbers:
        """Those that follow none."""
        return np.flatnonzero(~np.isnan(self.readings.value) & ~self.readings.follows)


@dataclass(frozen=True, eq=False)
class Following:
    """Readings with a value after one with a value: which, their group of waits, the value x and the one before p;
    by group (5, G) the sums of x x, x p, p p, x and p."""

    at: Numbers
    group: Numbers
    x: Floats
    p: Floats
    sums: Floats


# --- rates -------------------------------------------------------------------------------------------------------


def expected_changes(wait_s: Floats, counts: Floats, rates_per_s: Floats) -> Floats:
    """(K, K) changes expected off the diagonal, and on it the time expected in each state [s], of pairs of readings
    `wait_s` (G,) apart that are expected so often, `counts` (K, K, G), in either state each."""
    states = len(rates_per_s)
    kept = np.isfinite(wait_s)
    weight = np.moveaxis(counts, -1, 0)[kept] / waited(rates_per_s, wait_s[kept]).clip(1e-300)
    block = np.zeros((int(kept.sum()), 2 * states, 2 * states))
    block[:, :states, :states] = block[:, states:, states:] = rates_per_s.T
    block[:, :states, states:] = weight
    longest = wait_s[kept][:, None, None]
    integral = exponentials(block * longest)[:, :states, states:].sum(axis=0)
    found = integral * rates_per_s
    np.fill_diagonal(found, np.diag(integral))
    return np.asarray(found.clip(0.0))


def better_rates(wait_s: Floats, counts: Floats, rates_per_s: Floats) -> Floats:
    """The generator after one round; see `expected_changes`."""
    expected = expected_changes(wait_s, counts, rates_per_s)
    rates = (expected + _PRIOR_CHANGES) / (np.diag(expected)[:, None] + _PRIOR_S)
    return _closed(rates)


def _closed(rates: Floats) -> Floats:
    """Off-diagonal rates with the diagonal that lets each row sum to 0."""
    closed = rates.copy()
    np.fill_diagonal(closed, 0.0)
    np.fill_diagonal(closed, -closed.sum(axis=1))
    return closed


# --- levels in dB ------------------------------------------------------------------------------------------------


def better_levels(log: _Log, pairs: Pairs, counts: Floats, noise: LevelNoise, depth_db: float) -> LevelNoise:
    """Levels, common spread and memory after one round: least squares for each memory, the likeliest memory taken."""
    cost, levels, spread = _fits(_sums(log, pairs, counts), log.alike, depth_db)
    best = int(np.argmin(cost))
    mean, sd = np.array([np.nan, *levels[best]]), np.full(3, spread[best])
    return replace(noise, mean=mean, sd=sd, tau_s=float(_MEMORIES_S[best]))


@dataclass(frozen=True, eq=False)
class _Sums:
    """Sums by group of waits; x own, p before. `one` (2, 2, G): pairs by state before and own, shadowed then clear.
    `own` (2, 2, G): of x and p by the own state; `before` (2, 2, G): by the one before. `all` (3, G): of xx, xp, pp.

    `fresh` (2, 3): weight, sum of x, sum of squares of the readings that follow no other.
    """

    one: Floats
    own: Floats
    before: Floats
    all: Floats
    fresh: Floats


def _sums(log: _Log, pairs: Pairs, counts: Floats) -> _Sums:
    follow, kept = log.following, np.isfinite(log.readings.waits[0])
    up, back, stay = (part[follow.at] for part in pairs)

    def parted(clear: Floats) -> Floats:
        sums = [np.bincount(follow.group, clear * part, log.groups) for part in (follow.x, follow.p)]
        return np.array([[total - sum_, sum_] for total, sum_ in zip(follow.sums[3:], sums, strict=True)])

    value, clear = log.readings.value[log.alone], pairs.up[log.alone] + pairs.stay[log.alone]
    weight = np.array([1.0 - clear, clear])
    fresh = np.stack([weight.sum(axis=1), weight @ value, weight @ value**2], axis=1)
    one = np.where(kept, counts[SHADOWED:, SHADOWED:], 0.0)
    return _Sums(one, parted(up + stay), parted(back + stay), follow.sums[:3], fresh)


def _fits(sums: _Sums, alike: Floats, depth_db: float) -> tuple[Floats, Floats, Floats]:
    """For each memory, `alike` (M, G): -2 log posterior (M,), shadowed and clear level (M, 2), and spread (M,)."""
    left = 1.0 - alike**2
    over, once, twice = (np.moveaxis(alike**power / left, -1, 0) for power in range(3))
    # The design of a pair is (own) - alike (before), its variance what is left; sums of (x - alike p) by either.
    normal = np.zeros((len(alike), 2, 2))
    normal[:, 0, 0] = sums.one[:, 0].sum(axis=0) @ over + sums.one[0].sum(axis=0) @ twice + sums.fresh[0, 0]
    normal[:, 1, 1] = sums.one[:, 1].sum(axis=0) @ over + sums.one[1].sum(axis=0) @ twice + sums.fresh[1, 0]
    normal[:, 0, 0] -= 2.0 * (sums.one[0, 0] @ once)
    normal[:, 1, 1] -= 2.0 * (sums.one[1, 1] @ once)
    normal[:, 0, 1] = normal[:, 1, 0] = -(sums.one[0, 1] + sums.one[1, 0]) @ once
    own, before = sums.own[0] @ over - sums.own[1] @ once, sums.before[0] @ once - sums.before[1] @ twice
    right = (own - before).T + sums.fresh[:, 1]
    squares = sums.all[0] @ over - 2.0 * (sums.all[1] @ once) + sums.all[2] @ twice + sums.fresh[:, 2].sum()
    apart = np.array([-1.0, 1.0])
    drawn = normal + np.outer(apart, apart) + 1e-9 * np.eye(2)
    levels = np.linalg.solve(drawn, (right + apart * 1.5 * depth_db)[..., None])[..., 0]
    close = levels[:, 1] - levels[:, 0] < depth_db
    clear = (right.sum(axis=1) + depth_db * normal[:, 0].sum(axis=1)) / (normal.sum(axis=(1, 2)) + 1e-9)
    levels[close] = np.stack([clear - depth_db, clear], axis=1)[close]
    left_over = squares - 2.0 * (levels * right).sum(axis=1) + np.einsum("mi,mij,mj->m", levels, normal, levels)
    count = float(sums.one.sum() + sums.fresh[:, 0].sum())
    worth = left_over + _SPREAD_COUNT * _SPREAD_DB**2
    spread = np.maximum(np.sqrt(worth / (count + _SPREAD_COUNT)), _LEAST_SPREAD_DB)
    known = np.log(left) @ sums.one.sum(axis=(0, 1))
    cost = 2.0 * (count + _SPREAD_COUNT) * np.log(spread) + worth / spread**2 + known
    return cost, levels, spread


# --- an order only -----------------------------------------------------------------------------------------------


def better_bands(log: _Log, pairs: Pairs, noise: BandNoise) -> BandNoise:
    """Chances of the bands and memory after one round; the share of repeats is known by expectation, too."""
    readings = log.readings
    value, group = readings.value, readings.waits[1]
    has = np.flatnonzero(~np.isnan(value))
    band = value[has].astype(np.intp)
    alike = readings.alike(noise.tau_s)[group[has]] * readings.follows[has]
    same = readings.follows[has] & (value[has - 1] == value[has])
    up, back, stay = (part[has] for part in pairs)
    after = log.kind[has] % KINDS == 1  # of a blocked one: nothing stayed
    stayed_in = {SHADOWED: np.where(after, 0.0, 1.0 - up - back - stay), CLEAR: np.where(after, 0.0, stay)}
    came_to = {SHADOWED: np.where(after, 1.0 - up, back), CLEAR: up}
    counts = np.zeros_like(noise.chance)
    repeated, drawn = np.zeros(log.groups), np.zeros(log.groups)
    for state in (SHADOWED, CLEAR):
        stayed, chance = stayed_in[state], noise.chance[state, band]
        anew = np.where(same, (1.0 - alike) * chance / (alike + (1.0 - alike) * chance), 1.0)
        counts[state] = np.bincount(band, came_to[state] + stayed * anew, noise.chance.shape[1])
        follows = stayed * readings.follows[has]
        repeated += np.bincount(group[has], follows * (1.0 - anew), log.groups)
        drawn += np.bincount(group[has], follows * anew, log.groups)
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
