"""How sure a share of time is: a two-state Markov chain in continuous time, known from readings.

Readings a second apart repeat each other, so counting them as so many tries would promise far too much. What counts
is how soon the chain forgets: with loss rate a and gain rate b, two readings t apart share exp(-(a + b) t) of their
news. The likelihood of the readings is the product of the chain's transition probabilities over the times between
them, whatever those times are (Kalbfleisch and Lawless 1985, JASA 80, 863), so gaps and irregular readings need no
rule of their own. A log that writes a row only when the state changes is known throughout instead, and its
likelihood is that of a Markov jump process (e.g. Albert 1962, Annals of Mathematical Statistics 33, 727).

The posterior is taken on a grid of share b / (a + b) and forgetting rate a + b.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlogy

from satdiag.signal.surface import Ends, near_top, surface

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

DRAWS = 4000
_RANDOM_SEED = 20260102  # fixed, so that the same job always gives the same interval

# Prior: Jeffreys' arcsine law for the share, and (judgement, no source) an even chance on the log scale for a chain
# that forgets within half a second (a lamp post passed at speed) up to ten minutes, or up to twice the time watched
# in a log that shows a change: states that last about as long as the log are seen once or twice in it, and the
# interval has to be wide. A log without any change says nothing of how long states last; ten minutes are then
# all there is, and whoever shows the interval has to say so (`History.changes`).
FORGETS_WITHIN_S = (0.5, 600.0)
_LENGTHS = 2.0

_SHARE_CELLS, _RATE_CELLS = 180, 48
_ZOOMS = 2
_AT_A_TIME = 1 << 15  # logarithms: what is worked on at a time stays in the processor's own memory

# A log writes changes only, if nearly every reading differs from the one before it.
_CHANGES_ONLY = 0.9
_CHANGES_AT_LEAST = 4


@dataclass(frozen=True, eq=False)
class History:
    """A yes-or-no state over disjoint stretches in time order, arrays (n,); each starts with a reading.

    Where one stretch ends as the next begins, nothing was missed between them.
    """

    start_s: Floats
    end_s: Floats
    state: Flags

    @property
    def watched_s(self) -> float:
        """Time that readings stand for, in all."""
        return float((self.end_s - self.start_s).sum())

    @property
    def yes_s(self) -> float:
        """Time that readings with the state stand for."""
        return float((self.end_s - self.start_s)[self.state].sum())

    @property
    def touching(self) -> Flags:
        """(n - 1,) true where a stretch begins as the one before it ends."""
        return np.asarray(self.start_s[1:] <= self.end_s[:-1])

    @property
    def losses(self) -> int:
        """Changes from yes to no that were watched."""
        return int(np.sum(self.touching & self.state[:-1] & ~self.state[1:]))

    @property
    def gains(self) -> int:
        """Changes from no to yes that were watched."""
        return int(np.sum(self.touching & ~self.state[:-1] & self.state[1:]))

    @property
    def changes(self) -> int:
        """How many readings differ from the one before, gaps or not."""
        return int(np.sum(self.state[1:] != self.state[:-1]))

    @property
    def writes_changes_only(self) -> bool:
        """True for a log in which nearly every reading differs from the one before it."""
        changes = self.state[1:] != self.state[:-1]
        return bool(changes.sum() >= _CHANGES_AT_LEAST and changes.mean() >= _CHANGES_ONLY)


@dataclass(frozen=True, eq=False)
class ChainDraws:
    """Draws (DRAWS,) from the posterior: long-run share of time in the state, and forgetting rate per second."""

    share: Floats
    rate_per_s: Floats

    @property
    def losses_per_h(self) -> Floats:
        """Long-run number of losses an hour, those between readings included."""
        return 3600.0 * self.share * (1.0 - self.share) * self.rate_per_s


@dataclass(frozen=True, eq=False)
class Posterior:
    """Weight of each cell of a grid (_SHARE_CELLS, _RATE_CELLS), summing to 1, between the ends of its axes."""

    weight: Floats
    angles: Ends
    logs: Ends

    def draws(self, stream: int = 0, part: slice = slice(None)) -> ChainDraws:
        """Draws from it, all or a part of them; `stream` makes those of different histories independent."""
        random = np.random.default_rng([_RANDOM_SEED, stream])
        chance, across, along = (random.random(DRAWS)[part] for _ in range(3))
        reached = self.weight.ravel().cumsum()
        row, column = np.divmod(np.searchsorted(reached, chance * reached[-1], side="right"), _RATE_CELLS)
        angle = self.angles[0] + (row + across) * (self.angles[1] - self.angles[0]) / _SHARE_CELLS
        log_rate = self.logs[0] + (column + along) * (self.logs[1] - self.logs[0]) / _RATE_CELLS
        return ChainDraws(np.sin(angle) ** 2, np.exp(log_rate))


def chain_draws(history: History, stream: int = 0) -> ChainDraws:
    """Posterior draws for a history; `stream` makes the draws of different histories independent."""
    return posterior(history).draws(stream)


def posterior(history: History) -> Posterior:
    """What a history says of its chain.

    The grid is even in the angle whose squared sine is the share and in the logarithm of the rate, where the prior
    is flat; it is drawn closer round the posterior until that fills it.
    """
    soonest_s, latest_s = FORGETS_WITHIN_S
    if history.changes:
        latest_s = max(latest_s, _LENGTHS * history.watched_s)
    told, angles, logs = _told(history), (0.0, np.pi / 2.0), (-np.log(latest_s), -np.log(soonest_s))
    x, y = _cells(angles, logs)
    angles, logs = _closer(_summing_to_1(near_top(told.log_likelihood, x, y)), angles, logs)
    staying = surface(told.staying, angles, logs, told.changing)
    for zoom in reversed(range(_ZOOMS)):
        x, y = _cells(angles, logs)
        weight = _summing_to_1(staying(x, y) + told.changing(x, y))
        if zoom:
            angles, logs = _closer(weight, angles, logs)
    return Posterior(weight, angles, logs)


def _cells(angles: Ends, logs: Ends) -> tuple[Floats, Floats]:
    return _middles(angles, _SHARE_CELLS), _middles(logs, _RATE_CELLS)


def _middles(ends: Ends, cells: int) -> Floats:
    return ends[0] + (np.arange(cells) + 0.5) / cells * (ends[1] - ends[0])


def _summing_to_1(log_weight: Floats) -> Floats:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _closer(weight: Floats, angles: Ends, logs: Ends) -> tuple[Ends, Ends]:
    return _filled(weight.sum(axis=1), angles), _filled(weight.sum(axis=0), logs)


def _filled(weight: Floats, ends: Ends) -> Ends:
    """The ends of the part of an axis that holds any weight to speak of, and a cell more on either side."""
    some = np.flatnonzero(weight > 1e-7 * weight.max())
    step = (ends[1] - ends[0]) / len(weight)
    low, high = max(int(some[0]) - 1, 0), min(int(some[-1]) + 2, len(weight))
    return ends[0] + low * step, ends[0] + high * step


@dataclass(frozen=True, eq=False)
class _Steps:
    """Steps from reading to reading, those with waits within 5 % of each other together.

    `wait_s` (n,) is their mean; `stayed_yes`, `stayed_no`, `lost`, `gained` (n,) count them.
    """

    wait_s: Floats
    stayed_yes: Floats
    stayed_no: Floats
    lost: Floats
    gained: Floats


@dataclass(frozen=True, eq=False)
class _Told:
    """What the likelihood of a history needs of it, at angles (n,) and logarithms of rates (m,) as (n, m): the first
    state, and every step from reading to reading or every watched stretch.

    The chance of a change is a product of a part of the share and one of the rate, its logarithm is a sum; that of
    staying is not. `watched`: a history that is known throughout its stretches.
    """

    first: bool
    steps: _Steps
    watched: History | None = None

    def log_likelihood(self, angle: Floats, log_rate: Floats) -> Floats:
        """In all."""
        return self.staying(angle, log_rate) + self.changing(angle, log_rate)

    def staying(self, angle: Floats, log_rate: Floats) -> Floats:
        """Steps from a state to the same one."""
        share, rate = np.sin(angle) ** 2, np.exp(log_rate)
        yes = _stayed(self.steps.stayed_yes, self.steps.wait_s, share, rate)
        return yes + _stayed(self.steps.stayed_no, self.steps.wait_s, 1.0 - share, rate)

    def changing(self, angle: Floats, log_rate: Floats) -> Floats:
        """All else."""
        share, rate = np.sin(angle)[:, None] ** 2, np.exp(log_rate)[None, :]
        steps, lacking = self.steps, 1.0 - share
        total = np.log(share if self.first else lacking) + 0.0 * rate
        if self.watched is not None:
            total += _watched(self.watched, share, rate)
        total += steps.lost.sum() * np.log(lacking) + steps.gained.sum() * np.log(share)
        changed = steps.lost + steps.gained
        some = np.flatnonzero(changed)
        forgotten = -np.expm1(-steps.wait_s[some, None] * rate)
        total += changed[some] @ np.log(forgotten.clip(1e-300))
        return np.asarray(total)


def _watched(history: History, share: Floats, rate: Floats) -> Floats:
    no_s = history.watched_s - history.yes_s
    loss, gain = rate * (1.0 - share), rate * share
    return xlogy(history.losses, loss) + xlogy(history.gains, gain) - loss * history.yes_s - gain * no_s


def _told(history: History) -> _Told:
    state = history.state
    if history.writes_changes_only:
        unseen = ~history.touching
        waits_s = (history.start_s[1:] - history.end_s[:-1])[unseen]
        return _Told(bool(state[0]), _counted(state[:-1][unseen], state[1:][unseen], waits_s), history)
    return _Told(bool(state[0]), _counted(state[:-1], state[1:], np.diff(history.start_s)))


def _counted(before: Flags, after: Flags, waits_s: Floats) -> _Steps:
    size = np.round(20.0 * np.log(waits_s.clip(1e-6))).astype(np.intp)
    size -= size.min(initial=0)
    sizes = int(size.max(initial=-1)) + 1
    counts = np.bincount(4 * size + 2 * before + after, minlength=4 * sizes).reshape(sizes, 4).astype(float)
    some = counts.any(axis=1)
    counts, total_s = counts[some], np.bincount(size, waits_s, sizes)[some]
    return _Steps(total_s / counts.sum(axis=1), counts[:, 3], counts[:, 0], counts[:, 2], counts[:, 1])


def _stayed(counts: Floats, wait_s: Floats, share: Floats, rate: Floats) -> Floats:
    """Logarithms of the chances (1 - share) exp(-rate wait) + share, each so many times, as (n, m)."""
    total = np.zeros(len(share) * len(rate))
    some = np.flatnonzero(counts)
    memory, lacking = np.exp(-wait_s[some, None] * rate), 1.0 - share
    at_a_time = max(1, _AT_A_TIME // len(total))
    for first in range(0, len(some), at_a_time):
        here = slice(first, first + at_a_time)
        chance = lacking[:, None] * memory[here, None, :]
        chance += share[:, None]
        total += counts[some[here]] @ np.log(chance, out=chance).reshape(-1, len(total))
    return total.reshape(len(share), len(rate))


def interval_of(draws: Floats, value: float) -> tuple[float, float]:
    """The 90 % interval of draws, stretched to hold the value seen (at 0 or 1 it could lie just outside)."""
    low, high = np.quantile(draws, [0.05, 0.95])
    return min(float(low), value), max(float(high), value)
