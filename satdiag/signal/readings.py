"""The readings of one path as a hidden Markov chain sees them, and what each state makes of a reading.

Noise repeats itself: two levels a second apart deviate alike. Taking them for independent flips states far too often,
and tempering them to undo that erases short shadows. So the deviation of a level in dB is a stationary first-order
process in continuous time (Uhlenbeck and Ornstein 1930, from memory), z(t) = e^(-dt / tau) z(t - dt) + fresh noise;
a reading on a scale that is an order only repeats the one before it with chance e^(-dt / tau), else it is a fresh one
(the discrete process of Jacobs and Lewis 1978, Journal of the Royal Statistical Society B 40, 94, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from satdiag.signal.markov import Floats, Numbers, States

UNKNOWN = -1
FAR_S = np.inf
"""A wait after which nothing is remembered."""

_ALIKE = 0.02  # waits this close together, as a share, are taken together at their mean
_SHARPEST = 60.0  # natural logarithm of the most that one reading may say for a state against another
_FEW = 0.1
_AT_A_TIME = 1 << 18
_MOST_ALIKE = 0.98  # two readings never repeat each other wholly: a readout has its own rounding


@dataclass(frozen=True, eq=False)
class ChainReadings:
    """Readings in time order, arrays (n,): seconds waited since the one before (the first: infinity), the value.

    `value` is a level in dB or the number of a band; NaN where none was read. `known` is the state where it was seen
    itself, else `UNKNOWN`.
    """

    wait_s: Floats
    value: Floats
    known: States

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.wait_s)

    @cached_property
    def waits(self) -> tuple[Floats, NDArray[np.int32]]:
        """The distinct waits (G,), those alike taken together at their mean, and the group of each reading (n,)."""
        even = self._even_wait_s()
        if even is not None:
            alone = np.zeros(self.count, dtype=np.int32)
            alone[0] = 1
            return np.array([even, np.inf]), alone
        parts = [slice(first, first + _AT_A_TIME) for first in range(0, self.count, _AT_A_TIME)]
        sizes = np.unique(np.concatenate([np.unique(_size(self.wait_s[part])) for part in parts]))
        group = np.empty(self.count, dtype=np.int32)
        total, count = np.zeros(len(sizes)), np.zeros(len(sizes))
        for part in parts:
            group[part] = np.searchsorted(sizes, _size(self.wait_s[part]))
            total += np.bincount(group[part], self.wait_s[part], len(sizes))
            count += np.bincount(group[part], minlength=len(sizes))
        return total / count, group

    def _even_wait_s(self) -> float | None:
        """The wait that all readings have but the first, which has none before it; None where there is no such."""
        rest = self.wait_s[1:]
        if not len(rest) or np.isfinite(self.wait_s[0]) or not np.isfinite(rest[-1]):
            return None
        low, high = _size(np.array([rest.min(), rest.max()]))
        return float(rest.mean()) if low == high else None

    @cached_property
    def follows(self) -> NDArray[np.bool_]:
        """(n,) true where a value stands and the reading before has one, too."""
        has = ~np.isnan(self.value)
        both = has.copy()
        both[0] = False
        both[1:] &= has[:-1]
        both &= np.isfinite(self.wait_s)
        return both

    def alike(self, tau_s: float) -> Floats:
        """(G,) correlation of two readings that far apart."""
        if tau_s <= 0.0:
            return np.zeros(len(self.waits[0]))
        return np.minimum(np.exp(-self.waits[0] / tau_s), _MOST_ALIKE)


class Noise(Protocol):
    """What readings a state gives, with a memory of `tau_s`."""

    @property
    def tau_s(self) -> float: ...

    def tables(self, readings: ChainReadings, index: Numbers) -> tuple[Floats, Floats]:
        """Densities (K, K, m) by the state before and the own one, and the logarithms divided out (m,)."""
        ...

    def gives(self, state: int) -> bool:
        """True if a state gives readings at all."""
        ...

    def ratios(self, value: Floats, earlier: Floats, alike: Floats, kind: Numbers) -> Ratios:
        """Densities of the hidden states 1 and 2 as `odds` wants them, for readings (m,) without one that is silent:
        1 to 2, 2 to 1 and 2 to 2 over 1 to 1, and the logarithms divided out. `alike` (C,) is how alike a reading of
        each kind is to the earlier one, 0 where that does not count, `kind` (m,) what kind each is."""
        ...


Ratios = tuple[Floats, Floats, Floats, Floats]


@dataclass(frozen=True, eq=False)
class LevelNoise:
    """Levels in dB: mean and spread of each state (K,), NaN for a state that gives no level; memory `tau_s`."""

    mean: Floats
    sd: Floats
    tau_s: float = 0.0

    def tables(self, readings: ChainReadings, index: Numbers) -> tuple[Floats, Floats]:
        """Densities of the deviation, scaled to 1 for the state pair that explains a reading best."""
        gives = [state for state in range(len(self.mean)) if not np.isnan(self.mean[state])]
        value = readings.value[index]
        rows = gives if self.tau_s > 0.0 else gives[:1]
        logs = self._logs(readings, index, value, gives, rows)
        best = logs.max(axis=(0, 1))
        logs -= best
        np.maximum(logs, -_SHARPEST, out=logs)
        density = np.exp(logs, out=logs)
        states = len(self.mean)
        found = np.zeros((states, states, len(index)))
        for column, state in enumerate(gives):
            # After a state without a level nothing is remembered; nor is it in the pair then, whose row is as good.
            found[:, state] = density[0, column]
            for row, before in enumerate(rows):
                found[before, state] = density[row, column]
        silent = np.isnan(value)
        if silent.any():
            found[:, :, silent], best[silent] = 1.0, 0.0
        return found, best

    def gives(self, state: int) -> bool:
        """See `Noise`."""
        return not np.isnan(self.mean[state])

    def ratios(self, value: Floats, earlier: Floats, alike: Floats, kind: Numbers) -> Ratios:
        """See `Noise`; a reading says no more than in `tables`."""
        fresh = 1.0 - np.square(alike)
        half, repeats = (-0.5 / fresh)[kind], alike[kind]
        logs = []
        for before in (1, 2):
            carried = earlier - self.mean[before]
            carried *= repeats
            carried *= 1.0 / self.sd[before]
            for state in (1, 2):
                part = value - self.mean[state]
                part *= 1.0 / self.sd[state]
                part -= carried
                part *= part
                part *= half
                part -= np.log(self.sd[state])
                logs.append(part)
        least = np.maximum(np.maximum(logs[0], logs[1]), np.maximum(logs[2], logs[3]))
        least -= _SHARPEST
        for part in logs:
            np.maximum(part, least, out=part)
        stayed, *others = logs
        for part in others:
            part -= stayed
            np.exp(part, out=part)
        stayed -= (0.5 * np.log(2.0 * np.pi * fresh))[kind]
        return others[0], others[1], others[2], stayed

    def _logs(
        self, readings: ChainReadings, index: Numbers, value: Floats, gives: list[int], rows: list[int]
    ) -> Floats:
        """(rows, gives, m) logarithms of the density."""
        logs = np.empty((len(rows), len(gives), len(index)))
        scaled = [(value - self.mean[state]) / self.sd[state] for state in gives]
        if self.tau_s <= 0.0:
            for column, state in enumerate(gives):
                logs[0, column] = -0.5 * scaled[column] ** 2 - np.log(self.sd[state] * np.sqrt(2.0 * np.pi))
            return logs
        alike_of = np.append(readings.alike(self.tau_s), 0.0)  # the last one: nothing to repeat
        fresh_of = 1.0 - alike_of**2
        kind = np.where(readings.follows[index], readings.waits[1][index], len(alike_of) - 1)
        alike, half, spread = alike_of[kind], (-0.5 / fresh_of)[kind], (-0.5 * np.log(2.0 * np.pi * fresh_of))[kind]
        earlier = readings.value[index - 1]
        earlier[np.isnan(earlier)] = 0.0
        for row, before in enumerate(rows):
            carried = (earlier - self.mean[before]) * alike
            carried /= self.sd[before]
            for column, state in enumerate(gives):
                part = np.subtract(scaled[column], carried, out=logs[row, column])
                np.square(part, out=part)
                part *= half
                part += spread
                part -= np.log(self.sd[state])
        return logs


@dataclass(frozen=True, eq=False)
class BandNoise:
    """Readings that are an order only, sorted into bands: chance (K, C) of each by state, memory `tau_s`."""

    chance: Floats
    tau_s: float = 0.0

    def tables(self, readings: ChainReadings, index: Numbers) -> tuple[Floats, Floats]:
        """Chances of the bands; in a state that stays, an equal band may be the last one repeated."""
        value = readings.value[index]
        silent = np.isnan(value)
        band = np.where(silent, 0, value).astype(np.intp)
        states = len(self.chance)
        fresh = self.chance[:, band]
        found = np.repeat(fresh[None], states, axis=0)
        if self.tau_s > 0.0:
            alike = readings.alike(self.tau_s)[readings.waits[1][index]] * readings.follows[index]
            same = alike * (readings.value[index - 1] == value)
            for state in range(states):
                found[state, state] = same + (1.0 - alike) * fresh[state]
        if silent.any():
            found[:, :, silent] = 1.0
        return found, np.zeros(len(index))

    def gives(self, state: int) -> bool:
        """See `Noise`."""
        return bool(self.chance[state].any())

    def ratios(self, value: Floats, earlier: Floats, alike: Floats, kind: Numbers) -> Ratios:
        """See `Noise`."""
        band, repeats = value.astype(np.intp), alike[kind]
        one, two = self.chance[1, band], self.chance[2, band]
        fresh = 1.0 - repeats
        repeated = repeats * (earlier == value)
        stayed = repeated + fresh * one
        return two / stayed, one / stayed, (repeated + fresh * two) / stayed, np.log(stayed)


@dataclass(frozen=True, eq=False)
class ChainSteps:
    """The tables of `markov.Steps` for readings: a chain in continuous time, exp(Q dt), with its noise.

    `rates_per_s` (K, K) is the generator Q: rates of change off the diagonal, each row summing to 0.
    """

    readings: ChainReadings
    rates_per_s: Floats
    noise: Noise

    @property
    def count(self) -> int:
        """How many readings."""
        return self.readings.count

    @property
    def states(self) -> int:
        """How many states."""
        return len(self.rates_per_s)

    @cached_property
    def changes(self) -> Floats:
        """(K, K, G) chances of each state after each wait."""
        return np.moveaxis(waited(self.rates_per_s, self.readings.waits[0]), 0, -1)

    def tables(self, index: Numbers) -> tuple[Floats, Floats]:
        """See `markov.Steps`."""
        density, log_scale = self.noise.tables(self.readings, index)
        known = self.readings.known[index]
        seen = known != UNKNOWN
        if seen.any():
            one = known[None, :] == np.arange(self.states)[:, None]
            np.multiply(density, one | ~seen, out=density)
        group = self.readings.waits[1][index]
        usual = int(np.bincount(group).argmax())
        odd = np.flatnonzero(group != usual)
        if len(odd) > _FEW * len(index):
            density *= self.changes[:, :, group]
        else:  # readings at even times: one table for nearly all of them
            kept = density[:, :, odd] * self.changes[:, :, group[odd]]
            density *= self.changes[:, :, usual][:, :, None]
            density[:, :, odd] = kept
        return density, log_scale


def _size(wait_s: Floats) -> NDArray[np.int32]:
    """Waits of one size get one number; an endless wait the largest."""
    with np.errstate(invalid="ignore"):
        size = np.log(wait_s.clip(1e-6)) / _ALIKE
    return np.asarray(np.round(np.minimum(size, 1e6)), dtype=np.int32)


def waited(rates_per_s: Floats, wait_s: Floats) -> Floats:
    """(G, K, K) exp(Q dt); an endless wait gives the shares of time in the long run."""
    found = np.empty((len(wait_s), *rates_per_s.shape))
    far = ~np.isfinite(wait_s)
    found[far] = long_run(rates_per_s)
    if not far.all():
        found[~far] = exponentials(rates_per_s[None] * wait_s[~far, None, None])
    return np.maximum(found, 0.0)


def exponentials(matrices: Floats) -> Floats:
    """exp of each matrix of (G, K, K), by scaling, a power series and squaring (Moler and Van Loan 2003, SIAM Review
    45, 3). scipy's own wakes a pool of threads for each of these tiny matrices, which costs milliseconds."""
    largest = float(np.abs(matrices).sum(axis=-1).max(initial=0.0))
    squarings = max(0, int(np.ceil(np.log2(max(largest, 1e-300)))) + 1)
    scaled = matrices / 2.0**squarings
    term = scaled
    found = np.eye(matrices.shape[-1]) + scaled
    for power in range(2, 15):
        term = term @ scaled / power
        found = found + term
    for _ in range(squarings):
        found = found @ found
    return np.asarray(found)


def long_run(rates_per_s: Floats) -> Floats:
    """(K,) shares of time in the long run: what the generator leaves as it is."""
    states = len(rates_per_s)
    full = np.vstack([rates_per_s.T, np.ones(states)])
    shares = np.linalg.lstsq(full, np.append(np.zeros(states), 1.0), rcond=None)[0].clip(0.0)
    return np.asarray(shares / shares.sum())
