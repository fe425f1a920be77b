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


def chain_draws(history: History, stream: int = 0) -> ChainDraws:
    """Posterior draws for a history; `stream` makes the draws of different histories independent.

    The grid is even in the angle whose squared sine is the share and in the logarithm of the rate, where the prior
    is flat; it is drawn closer round the posterior until that fills it.
    """
    soonest_s, latest_s = FORGETS_WITHIN_S
    if history.changes:
        latest_s = max(latest_s, _LENGTHS * history.watched_s)
    angles, logs = (0.0, np.pi / 2.0), (-np.log(latest_s), -np.log(soonest_s))
    for _ in range(_ZOOMS):
        weight = _weights(history, angles, logs)
        angles, logs = _filled(weight.sum(axis=1), angles), _filled(weight.sum(axis=0), logs)
    weight = _weights(history, angles, logs)
    random = np.random.default_rng([_RANDOM_SEED, stream])
    row, column = np.divmod(random.choice(weight.size, DRAWS, p=weight.ravel()), _RATE_CELLS)
    angle = angles[0] + (row + random.uniform(size=DRAWS)) * (angles[1] - angles[0]) / _SHARE_CELLS
    log_rate = logs[0] + (column + random.uniform(size=DRAWS)) * (logs[1] - logs[0]) / _RATE_CELLS
    return ChainDraws(np.sin(angle) ** 2, np.exp(log_rate))


def _weights(history: History, angles: tuple[float, float], logs: tuple[float, float]) -> Floats:
    """Posterior weight of each cell of the grid (_SHARE_CELLS, _RATE_CELLS), summing to 1."""
    shares = np.sin(_middles(angles, _SHARE_CELLS)) ** 2
    rates = np.exp(_middles(logs, _RATE_CELLS))
    log_likelihood = _log_likelihood(history, shares[:, None], rates[None, :])
    weight = np.exp(log_likelihood - log_likelihood.max())
    return np.asarray(weight / weight.sum())


def _middles(ends: tuple[float, float], cells: int) -> Floats:
    return ends[0] + (np.arange(cells) + 0.5) / cells * (ends[1] - ends[0])


def _filled(weight: Floats, ends: tuple[float, float]) -> tuple[float, float]:
    """The ends of the part of an axis that holds any weight to speak of, and a cell more on either side."""
    some = np.flatnonzero(weight > 1e-7 * weight.max())
    step = (ends[1] - ends[0]) / len(weight)
    low, high = max(int(some[0]) - 1, 0), min(int(some[-1]) + 2, len(weight))
    return ends[0] + low * step, ends[0] + high * step


def _log_likelihood(history: History, share: Floats, rate: Floats) -> Floats:
    """On the grid (shares, rates): first state, then every step from reading to reading or every watched stretch."""
    state = history.state
    first = share if state[0] else 1.0 - share
    total = np.log(first) + 0.0 * rate
    if history.writes_changes_only:
        total = total + _watched(history, share, rate)
        lost_sight = ~history.touching
        waits_s = (history.start_s[1:] - history.end_s[:-1])[lost_sight]
        return np.asarray(total + _steps(state[:-1][lost_sight], state[1:][lost_sight], waits_s, share, rate))
    return np.asarray(total + _steps(state[:-1], state[1:], np.diff(history.start_s), share, rate))


def _watched(history: History, share: Floats, rate: Floats) -> Floats:
    no_s = history.watched_s - history.yes_s
    loss, gain = rate * (1.0 - share), rate * share
    return xlogy(history.losses, loss) + xlogy(history.gains, gain) - loss * history.yes_s - gain * no_s


def _steps(before: Flags, after: Flags, waits_s: Floats, share: Floats, rate: Floats) -> Floats:
    """Log transition probabilities, summed. Waits within 5 % of each other are taken together at their mean."""
    total = np.zeros(np.broadcast_shapes(share.shape, rate.shape))
    size = np.round(20.0 * np.log(waits_s.clip(1e-6))).astype(int)
    for same_size in np.unique(size):
        chosen = size == same_size
        memory = np.exp(-rate * waits_s[chosen].mean())
        was, now = before[chosen], after[chosen]
        kept_yes = share + (1.0 - share) * memory
        kept_no = (1.0 - share) + share * memory
        total += xlogy(np.sum(was & now), kept_yes) + xlogy(np.sum(~was & ~now), kept_no)
        total += xlogy(np.sum(was & ~now), (1.0 - kept_yes).clip(1e-300))
        total += xlogy(np.sum(~was & now), (1.0 - kept_no).clip(1e-300))
    return total


def interval_of(draws: Floats, value: float) -> tuple[float, float]:
    """The 90 % interval of draws, stretched to hold the value seen (at 0 or 1 it could lie just outside)."""
    low, high = np.quantile(draws, [0.05, 0.95])
    return min(float(low), value), max(float(high), value)
