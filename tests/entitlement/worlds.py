"""Made worlds in which channels come otherwise than by any of the fitted laws.

Everything here is simulated: it shows how far the estimates hold when the world is not one of the laws that are
averaged, and proves nothing of real providers. Times are seconds on the exposure clock unless they say `wall`. The
numbers of each world (periods, shares, delays) are judgements, drawn anew for every job.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import numpy as np

from satdiag.entitlement.families import Array
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.outlook import starts_of
from satdiag.entitlement.posterior import Start

MINUTE_S = 60.0
Rng = np.random.Generator


@dataclass(frozen=True)
class Made:
    """One job: when each channel comes (inf: never), and who looked when.

    `look_s` (rounds,) are exposures; `looked` (rounds, channels) tells which channels a round checked; the last
    round is at `now_s`. `wake_ups_s`: exposures at which listening was taken up again; `pauses_s` the wall-clock
    length of the sleep before each. `packaged`: a line-up says that all these channels are in the package.
    `category` (channels,): the number of each channel's category, empty where there are none.
    """

    wait_s: Array
    look_s: Array
    looked: np.ndarray
    wake_ups_s: Array
    pauses_s: Array
    packaged: bool = True
    category: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))

    @property
    def now_s(self) -> float:
        """The exposure at the last round."""
        return float(self.look_s[-1])

    @property
    def seen(self) -> np.ndarray:
        """True for a channel that some round saw play."""
        return np.any(self.looked & (self.look_s[:, None] >= self.wait_s), axis=0)

    def fill(self) -> FillIn:
        """What was seen; `unseen_s` keeps the order of the channels for which `seen` is False."""
        came = self.look_s[:, None] >= self.wait_s
        at = np.broadcast_to(self.look_s[:, None], came.shape)
        lower = np.where(self.looked & ~came, at, 0.0).max(axis=0)
        upper = np.where(self.looked & came, at, np.inf).min(axis=0)
        seen = np.isfinite(upper)
        unseen = np.where(self.looked.any(axis=0), lower, -np.inf)[~seen]
        plain = FillIn(lower[seen], upper[seen], unseen, self.now_s)
        if not len(self.category) or not seen.any():
            return plain
        return replace(plain, unseen_group=self._silent_categories(seen))

    def _silent_categories(self, seen: np.ndarray) -> np.ndarray:
        """The place of each unseen channel's category among those of which nothing came, else -1."""
        silent = [k for k in np.unique(self.category) if not seen[self.category == k].any()]
        place = np.full(int(self.category.max()) + 1, -1)
        place[silent] = np.arange(len(silent))
        return place[self.category[~seen]]

    def starts(self) -> tuple[Start, ...]:
        """When sending may have begun, as for a log that holds the confirmation."""
        marks_s = [x for k, p in zip(self.wake_ups_s, self.pauses_s, strict=True) for x in ((k, 0.0), (k, p))]
        exposure_s = np.array([0.0, *(k for k, _ in marks_s), self.now_s])
        wall_s = exposure_s + np.cumsum([0.0, *(p for _, p in marks_s), 0.0])
        clock = SimpleNamespace(
            origin="confirmed",
            origin_s=0.0,
            end_s=float(wall_s[-1]),
            lower_s=lambda t_s: np.interp(t_s, wall_s, exposure_s),
        )
        return starts_of(clock)


# --- who looks when ----------------------------------------------------------------------------------------------


def irregular_looks(number: int, now_s: float, rng: Rng) -> tuple[Array, np.ndarray]:
    """Rounds 1 to 10 min apart, each over 5 to 60 % of the list."""
    pause_s = rng.uniform(1.0, 10.0, 200) * MINUTE_S
    look_s = np.append(np.cumsum(pause_s)[np.cumsum(pause_s) < now_s], now_s)
    shares = rng.uniform(0.05, 0.60, len(look_s))
    return look_s, rng.random((len(look_s), number)) < shares[:, None]


def _steady(wait_s: Array, look_s: Array, looked: np.ndarray) -> Made:
    """A job without sleep."""
    return Made(wait_s, look_s, looked, np.zeros(0), np.zeros(0))


def _with_never(wait_s: Array, share: float, rng: Rng) -> Array:
    return np.where(rng.random(len(wait_s)) < share, wait_s, np.inf)


def _irregular(wait_s: Array, now_s: float, rng: Rng) -> Made:
    return _steady(wait_s, *irregular_looks(len(wait_s), now_s, rng))


# --- the worlds --------------------------------------------------------------------------------------------------


def two_speed_carousel(rng: Rng) -> Made:
    """Messages of 1 to 20 channels, repeated fast after the activation and slowly later; sleep in between."""
    number, share = int(rng.integers(40, 160)), rng.uniform(0.6, 1.0)
    coming = np.flatnonzero(rng.random(number) < share)
    rng.shuffle(coming)
    now_s = rng.uniform(5.0, 60.0) * MINUTE_S
    awake_s = rng.uniform(5.0, 40.0, 40) * MINUTE_S
    pauses_s = rng.uniform(3.0, 60.0, 40) * MINUTE_S
    ends_s = np.cumsum(awake_s)
    wake_ups_s = ends_s[ends_s < now_s]  # after the last round it stays awake
    pauses_s = pauses_s[: len(wake_ups_s)]
    fast_s, slow_s = rng.uniform(60.0, 300.0), rng.uniform(20.0, 60.0) * MINUTE_S
    fast_until_s, heard = rng.uniform(5.0, 20.0) * MINUTE_S, rng.uniform(0.6, 0.95)
    wait_s = np.full(number, np.inf)
    while len(coming):
        size = int(rng.integers(1, 21))
        group, coming = coming[:size], coming[size:]
        wall_s = rng.uniform(0.0, fast_s)
        while np.isinf(wait_s[group[0]]):
            exposure_s = _exposure(wall_s, wake_ups_s, pauses_s)
            if exposure_s is not None and rng.random() < heard:
                wait_s[group] = exposure_s
            wall_s += fast_s if wall_s < fast_until_s else slow_s
    return Made(wait_s, *irregular_looks(number, now_s, rng), wake_ups_s, pauses_s)


def _exposure(wall_s: float, wake_ups_s: Array, pauses_s: Array) -> float | None:
    """The exposure at a time by the wall clock; None if asleep then."""
    slept_s = 0.0
    for wake_up_s, pause_s in zip(wake_ups_s, pauses_s, strict=True):
        if wall_s - slept_s < wake_up_s:
            break
        if wall_s - slept_s < wake_up_s + pause_s:
            return None
        slept_s += pause_s
    return wall_s - slept_s


def provider_delay(rng: Rng) -> Made:
    """Nothing at all for 2 to 30 min, then all channels with one rate."""
    number = int(rng.integers(20, 150))
    start_s = rng.uniform(2.0, 30.0) * MINUTE_S
    wait_s = start_s + rng.exponential(rng.uniform(1.0, 8.0) * MINUTE_S, number)
    return _irregular(_with_never(wait_s, rng.uniform(0.6, 1.0), rng), rng.uniform(5.0, 60.0) * MINUTE_S, rng)


def heavy_tail(rng: Rng) -> Made:
    """Pareto (Lomax) waits with a tail like t^-1.5 to t^-2.5: no variance below t^-2; the last is very late."""
    number, middle_s, power = int(rng.integers(20, 150)), rng.uniform(1.0, 10.0) * MINUTE_S, rng.uniform(1.5, 2.5)
    tail = 1.0 - rng.random(number)
    wait_s = middle_s * (tail ** (-1.0 / power) - 1.0) / (2.0 ** (1.0 / power) - 1.0)
    now_s = middle_s * rng.uniform(1.0, 8.0)
    return _irregular(_with_never(wait_s, rng.uniform(0.6, 1.0), rng), now_s, rng)


def _burst(now_s: float, burst_s: float, rng: Rng) -> Made:
    """Half or more come quickly, the rest in one burst of half a minute; a tenth never."""
    number = int(rng.integers(30, 150))
    early_s = rng.exponential(rng.uniform(1.0, 4.0) * MINUTE_S, number)
    late_s = burst_s + rng.uniform(0.0, 30.0, number)
    wait_s = np.where(rng.random(number) < rng.uniform(0.5, 0.8), early_s, late_s)
    return _irregular(_with_never(wait_s, 0.9, rng), now_s, rng)


def late_burst(rng: Rng) -> Made:
    """The burst came 1 to 30 min before the last round."""
    burst_s = rng.uniform(10.0, 60.0) * MINUTE_S
    return _burst(burst_s + rng.uniform(1.0, 30.0) * MINUTE_S, burst_s, rng)


def burst_to_come(rng: Rng) -> Made:
    """The burst comes 1 to 30 min after the last round: nothing that was seen hints at it."""
    now_s = rng.uniform(10.0, 60.0) * MINUTE_S
    return _burst(now_s, now_s + rng.uniform(1.0, 30.0) * MINUTE_S, rng)


def categories_outside(rng: Rng) -> Made:
    """Of 6 to 12 categories of channels the account holds some wholly and others not at all; gamma(2) waits."""
    sizes = rng.integers(4, 25, int(rng.integers(6, 13)))
    held = rng.random(len(sizes)) < rng.uniform(0.3, 0.9)
    held[0] = True
    scale_s = rng.uniform(0.5, 5.0) * MINUTE_S
    wait_s = np.where(np.repeat(held, sizes), rng.gamma(2.0, scale_s, int(sizes.sum())), np.inf)
    made = _irregular(wait_s, scale_s * rng.uniform(2.0, 10.0), rng)
    return replace(made, packaged=False, category=np.repeat(np.arange(len(sizes)), sizes))


def a_hundred_checks(rng: Rng) -> Made:
    """Every channel is checked a hundred times; two rates, one five times the other."""
    number, scale_s = int(rng.integers(20, 100)), rng.uniform(2.0, 10.0) * MINUTE_S
    rate = np.where(rng.random(number) < 0.5, 1.0, 0.2)
    wait_s = _with_never(rng.exponential(scale_s, number) / rate, rng.uniform(0.6, 1.0), rng)
    look_s = np.linspace(0.0, scale_s * rng.uniform(1.0, 10.0), 101)[1:]
    return _steady(wait_s, look_s, np.ones((100, number), dtype=bool))


def one_check(rng: Rng) -> Made:
    """Every channel is checked once, at its own time; gamma(2) waits."""
    number, scale_s = int(rng.integers(20, 150)), rng.uniform(1.0, 8.0) * MINUTE_S
    wait_s = _with_never(rng.gamma(2.0, scale_s, number), rng.uniform(0.6, 1.0), rng)
    look_s = np.sort(rng.uniform(0.0, scale_s * rng.uniform(3.0, 10.0), number))
    return _steady(wait_s, look_s, np.eye(number, dtype=bool)[:, rng.permutation(number)])


WORLDS: dict[str, Callable[[Rng], Made]] = {
    "two-speed carousel": two_speed_carousel,
    "provider delay": provider_delay,
    "heavy tail": heavy_tail,
    "late burst": late_burst,
    "categories outside": categories_outside,
    "a hundred checks": a_hundred_checks,
    "one check": one_check,
}
UNFORESEEABLE = {"burst to come": burst_to_come}
"""A world in which no interval can hold, because the log holds no trace of what is to come."""


# --- as a log ----------------------------------------------------------------------------------------------------

SLIP = 0.01  # share of the checks that are noted wrongly


def as_rows(made: Made, rng: Rng) -> str:
    """The job as compact rows (see tests/helpers.py), with sleep, lock rows that prove listening, and slips."""
    timed = [(0.0, "account service confirmed"), (0.0, "power receiver awake"), (0.0, "lock any yes")]
    slept_s = np.concatenate([[0.0], np.cumsum(made.pauses_s)])

    def wall(exposure_s: float) -> float:
        return exposure_s + float(slept_s[np.searchsorted(made.wake_ups_s, exposure_s, side="right")])

    for wake_up_s, pause_s in zip(made.wake_ups_s, made.pauses_s, strict=True):
        again_s = wall(wake_up_s)
        timed.append((again_s - pause_s, "lock any yes"))
        timed.append((again_s - pause_s, "power receiver standby"))
        timed += [(again_s, "power receiver awake"), (again_s, "lock any yes")]
    timed += [(wall(at_s), "lock any yes") for at_s in np.arange(120.0, made.now_s, 120.0)]
    for look_s, looked in zip(made.look_s, made.looked, strict=True):
        timed.append((wall(look_s), "lock any yes"))
        for channel in np.flatnonzero(looked):
            played = (look_s >= made.wait_s[channel]) != (rng.random() < SLIP)
            timed.append((wall(look_s), f"channel {channel + 1} {'authorised' if played else 'refused'}"))
    timed.sort(key=lambda row: row[0])
    return "\n".join(f"{int(at_s // 60)}:{at_s % 60:06.3f} {what}" for at_s, what in timed)


def lineup_of(made: Made) -> str:
    """A line-up that puts every channel in the package, which the account then need not hold in full."""
    return "\n".join(f"{k + 1},name {k + 1},music,music" for k in range(len(made.wait_s)))
