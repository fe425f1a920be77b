"""The weight of looks at expected channels for an activated account, with error rates that hold whenever one stops.

The question is Wald's: does a look pass with chance `p0` (nothing is activated; slips, mix-ups and a wrong line-up
only) or `p1` (activated)? Channels of a living account come in over time, so the chance there is

    q = p0 + (p1 - p0) F(x),   F(x) = 1 - exp(-(x - delay) / pace) after the delay, 0 before,

x being the time listened. Delay, pace and p1 are unknown; the likelihood is averaged over what they may be
(`CHANCES`; delays and paces are those of the entitlement room: judgements). While F is small a look says little
either way: a channel refused early is no failure as long as it may well still come. Where the fill-in is over F is 1,
and this is Wald's test.

Why the rate of false confirmations holds: as long as each fresh look passes with chance p0 or less given all before
it (`SLIP` or less for a channel refused before), the averaged likelihood ratio is a supermartingale, whatever F was
assumed. So it ever reaches 1 / alpha with chance alpha at most (J. Ville, 1939), however often one looks and whenever
one stops. Looks in one group share their mistakes. What speaks against in sum counts in full (down to `FLOOR`); what
speaks for in sum counts as one check, since the geometric mean of ratios keeps the rule under any dependence among
them (Hoelder's inequality). The rest is held back, and comes in as later looks at single channels of the group bear
it out: if the group was a common mistake they would not pass, if not, its looks were separate ones. A channel that
has passed never brings more than that one pass, and one that is refused after it passed loses what it had brought:
both can only make the sum smaller.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from satdiag.acceptance.looks import Freshness, Group, Look
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.outlook import PROVIDER_DELAYS_S

Floats = NDArray[np.float64]
Source = Literal["package", "lineup", "seen"]

PACES = 10
"""How many paces stand for the log-uniform prior of the entitlement room: steps of a factor of two."""

OVER_ALREADY = {"confirmed": 0.0, "first-row": 0.5}
"""Chance that the fill-in is over before the first look, where nobody knows when it began (judgement)."""

SLIP = 0.03
"""Chance that a channel once seen refused passes at a later look though nothing is activated: it is no open channel
and no mix-up, so only a wrong note can do it: about 1 %, range 0.5 to 3 % (judgement), the upper end taken."""

FLOOR = math.log(20.0)
"""No group of several looks weighs less than minus this: one fade, or one list noted wrongly, must not rule out an
account for good (judgement)."""

COST_OF_FLOOR = math.log1p(math.exp(-FLOOR))
"""What a group pays for its floor: E[max(ratio, f)] is at most 1 + f where E[ratio] is 1."""

NOTHING = 1e-9  # of weight


@dataclass(frozen=True)
class Chances:
    """Chances that a look passes (judgements, each with the range it stands for).

    `dead`: nothing is activated, the upper end of the range `dead_range`, so that the rate holds all over it.
    `live`: activated, and all has come that will: low, middle and high, one third each.
    """

    dead: float
    dead_range: tuple[float, float]
    live: tuple[float, float, float]


CHANCES: dict[Source, Chances] = {
    # Slips are about 1 %; the rest is for mix-ups, open channels that the line-up does not mark, a line-up of old.
    "package": Chances(0.10, (0.01, 0.10), (0.80, 0.90, 0.98)),
    # The package is not known, and may leave out whole categories (common practice, no source).
    "lineup": Chances(0.10, (0.01, 0.10), (0.45, 0.70, 0.95)),
    # No line-up: those that play may be open ones, and one looks at those that play.
    "seen": Chances(0.50, (0.05, 0.50), (0.75, 0.85, 0.95)),
}


@dataclass(frozen=True)
class Model:
    """What may be: arrays over the possibilities of delay, pace and p1 (n,), and their log prior weights."""

    dead: float
    live: Floats
    delay_s: Floats
    pace_s: Floats
    log_prior: Floats

    def pass_chance(self, exposure_s: float) -> Floats:
        """q of every possibility at an exposure, shape (n,); from `dead` to `live`."""
        listened_s = np.maximum(exposure_s - self.delay_s, 0.0)
        come = -np.expm1(-listened_s / np.maximum(self.pace_s, 1e-9))
        return np.asarray(self.dead + (self.live - self.dead) * np.where(self.pace_s > 0.0, come, 1.0))

    def average(self, weights: Floats) -> Floats:
        """Log of the averaged likelihood ratio; `weights` has shape (..., n)."""
        return np.asarray(logsumexp(weights + self.log_prior, axis=-1))


def model_of(source: Source, origin: Literal["confirmed", "first-row"]) -> Model:
    """The possibilities for a job whose expected channels and clock are known this way.

    Delays and paces are those that the entitlement room assumes, so that both speak of one world; here a delay is
    one of listening.
    """
    chances, over = CHANCES[source], OVER_ALREADY[origin]
    cells = [(p1, 0.0, 0.0, over / 3) for p1 in chances.live] if over else []
    for p1, (delay_s, share), pace_s in product(chances.live, PROVIDER_DELAYS_S, _paces_s()):
        cells.append((p1, delay_s, float(pace_s), (1.0 - over) * share / PACES / 3))
    live, delay_s, pace_s, prior = np.array(cells).T
    return Model(chances.dead, live, delay_s, pace_s, np.log(prior / prior.sum()))


def _paces_s() -> Floats:
    """Paces of equal weight, shape (PACES,), spread evenly over the logarithm."""
    priors = Priors()
    edges = np.geomspace(priors.shortest_s, priors.longest_s, PACES + 1)
    return np.asarray(np.sqrt(edges[1:] * edges[:-1]))


@dataclass(frozen=True)
class Weighed:
    """What the groups weigh. All weights are natural logarithms of likelihood ratios for 'activated'.

    `course`: the averaged weight after each group, shape (groups,); `by_case`: the last one for each possibility;
    `groups`: groups that judged something afresh, `good` those of which at least half the looks
    passed (`good_course`: after each group); `playing`, `refused`:
    channels by their last look; `held_back`: those among `playing` whose group still holds weight back, so that a
    look at one of them alone counts; `reserve`: how much that is for each possibility.
    """

    course: Floats
    by_case: Floats
    groups: int
    good: int
    good_course: NDArray[np.int64]
    playing: frozenset[int]
    refused: frozenset[int]
    held_back: frozenset[int] = frozenset()
    reserve: Floats | None = None

    @property
    def weight(self) -> float:
        """The averaged weight after the last group; 0 without any."""
        return float(self.course[-1]) if len(self.course) else 0.0


class _Held:
    """Weight of one group that waits until single looks bear its passes out, shape (n,)."""

    def __init__(self, weight: Floats) -> None:
        self.weight = weight

    def take(self, most: Floats) -> Floats:
        """Up to `most` of it."""
        taken: Floats = np.minimum(self.weight, np.maximum(most, 0.0))
        self.weight = self.weight - taken
        return taken

    def is_empty(self) -> bool:
        """True if nothing is left for any possibility."""
        return bool(self.weight.max() <= NOTHING)


class _Tally:
    """Weighs group after group, and keeps for every channel what it has brought and how it was last seen."""

    def __init__(self, model: Model, interruptions: Sequence[float]) -> None:
        self.model = model
        self.fresh = Freshness(interruptions)
        self.brought: dict[int, Floats] = {}  # what is lost again if the channel is refused after it passed
        self.passed: dict[int, Floats] = {}  # of channels that pass: q when they did first
        self.held: dict[int, _Held] = {}  # of channels that passed beside others: what their group holds back
        self.lost: dict[int, Floats] = {}  # passed, and refused since: chance that they pass again
        self.refused: dict[int, Floats] = {}  # q at the last refusal
        self.total = np.zeros(len(model.live))
        self.groups = self.good = 0

    def add(self, group: Group, number: int) -> None:
        """Weigh one group as one check, by the first fresh look at each channel."""
        q = self.model.pass_chance(group[0].exposure_s)
        first: dict[int, Look] = {}
        for look in group:
            if self.fresh.is_fresh(look, number):
                first.setdefault(look.channel, look)
        telling = [look for look in first.values() if not self._has_told(look.channel)]
        for look in group:
            if not look.passed:
                self._withdraw(look.channel)
        if telling:
            self._weigh(telling, q)
            self.groups += 1
            self.good += sum(look.passed for look in telling) * 2 >= len(telling)
        for look in group:
            if not look.passed:
                self._withdraw(look.channel)
            self.fresh.seen(look, number)

    def _has_told(self, channel: int) -> bool:
        """True for a channel that passes and has brought all that its pass can bring.

        An open channel that the line-up does not mark passes again and again: later passes bring nothing new.
        """
        return channel in self.passed and (channel not in self.held or self.held[channel].is_empty())

    def _weigh(self, looks: Sequence[Look], q: Floats) -> None:
        """Weigh looks that share their mistakes, and note how each channel stands."""
        weights = [self._weight(look, q) for look in looks]
        together: Floats = np.sum(weights, axis=0)
        share = 1.0 / len(looks)
        least = len(looks) * (np.log1p(-q) - math.log1p(-self.model.dead))
        if len(looks) > 1:
            self.total = self.total + np.where(together > 0.0, share * together, np.maximum(together, -FLOOR))
            self.total = self.total - np.where(least < -FLOOR, COST_OF_FLOOR, 0.0)
        else:
            self.total = self.total + together
        held = _Held((1.0 - share) * np.maximum(together, 0.0))
        for look, weight in zip(looks, weights, strict=True):
            self._note(look, q, np.where(together > 0.0, share * np.maximum(weight, 0.0), 0.0), held)

    def _weight(self, look: Look, q: Floats) -> Floats:
        """What a look would weigh alone."""
        channel, dead = look.channel, self.model.dead
        if channel in self.passed:  # and so is this look, or the pass had been withdrawn
            return self.held[channel].take(np.log(self.passed[channel] / dead))
        chance = q
        if channel in self.lost:
            chance = self.lost[channel]
        elif channel in self.refused:
            at_last, dead = self.refused[channel], SLIP
            chance = np.maximum((q - at_last) / (1.0 - at_last), dead)  # refused twice at once says nothing
        return np.asarray(np.log(chance / dead) if look.passed else np.log1p(-chance) - math.log1p(-dead))

    def _note(self, look: Look, q: Floats, brought: Floats, held: _Held) -> None:
        channel = look.channel
        if look.passed:
            self.brought[channel] = self.brought.get(channel, 0.0) + brought
            if channel not in self.passed:
                self.passed[channel] = q
                self.held[channel] = held
            self.lost.pop(channel, None)
            self.refused.pop(channel, None)
        elif channel not in self.lost or channel in self.refused:
            self.lost.pop(channel, None)
            self.refused[channel] = q
        else:  # refused for the first time since it passed; once more, and it is as good as never seen passing
            self.refused[channel] = q

    def _withdraw(self, channel: int) -> None:
        """A channel that passed is refused: what it had brought is gone.

        It may have passed by a slip, the likelier the less was to be expected of it then.
        """
        if channel not in self.passed:
            return
        self.total = self.total - self.brought.pop(channel)
        self.held.pop(channel).take(np.log(self.passed[channel] / self.model.dead))
        really = 1.0 - self.model.dead / self.passed.pop(channel)
        self.lost[channel] = self.model.dead + (self.model.live - self.model.dead) * really


def weigh(groups: Sequence[Group], model: Model, interruptions: Sequence[float] = ()) -> Weighed:
    """The evidence in groups of looks (see `groups_of`), in order of time."""
    tally = _Tally(model, interruptions)
    course, good = [], []
    for number, group in enumerate(groups):
        tally.add(group, number)
        course.append(tally.total)
        good.append(tally.good)
    totals = np.array(course).reshape(len(course), len(model.live))
    return Weighed(
        course=model.average(totals),
        by_case=tally.total,
        groups=tally.groups,
        good=tally.good,
        good_course=np.array(good, dtype=np.int64),
        playing=frozenset(tally.passed),
        refused=frozenset(tally.refused) | frozenset(tally.lost),
        held_back=frozenset(channel for channel, held in tally.held.items() if not held.is_empty()),
        reserve=np.sum([held.weight for held in {id(one): one for one in tally.held.values()}.values()], axis=0)
        if tally.held
        else np.zeros(len(model.live)),
    )
