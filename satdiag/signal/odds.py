"""Two hidden states: the recursion of `markov` in odds, one number a reading instead of a table of nine.

Levels tell clear from shadowed; blocked is seen itself (a level was read, or it was not). What is left to infer is
r, the odds of the second hidden state against the first, and each reading maps them by

    r(t) = (up + stay r(t - 1)) / (1 + back r(t - 1)),

the four products of chance and density divided by that of staying in the first state. What later readings say is
walked the same way from the end, q(t - 1) = (back + stay q(t)) / (1 + up q(t)), and r q are the odds given all of
them (Rabiner 1989 in ratios). As in `markov`, chunks of the log are walked side by side, each again from where the
one before it ended until both walks agree: the result is the exact recursion.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from satdiag.signal.markov import AGREED, SLAB, Floats, Smoothed

Kind = TypeVar("Kind", bound=np.generic)

_SHORTEST_CHUNK = 48
_MOST_CHUNKS = 4096
_LEAD = 2048
_LOOK_EVERY = 8
_NOTHING = -1.0  # no odds: any walk differs from it


@dataclass(frozen=True)
class Layout:
    """Readings `first` .. `first + count` in chunks side by side: `rows` of `chunks`; reading first + b rows + l
    stands in row l, column b, and what lies beyond the last reading is filling."""

    first: int
    count: int
    rows: int
    chunks: int

    @property
    def used(self) -> int:
        """How many chunks hold any reading; what comes after them is filling alone and need not be walked."""
        return -(-self.count // self.rows)

    def turned(self, part: NDArray[Kind], filling: float) -> NDArray[Kind]:
        """(count,) in the order of the log as (rows, chunks)."""
        if len(part) < self.rows * self.chunks:
            part = np.concatenate([part, np.full(self.rows * self.chunks - len(part), filling, part.dtype)])
        return np.array(part.reshape(self.chunks, self.rows).T, order="C")  # a copy even of a single chunk

    def in_order(self, part: NDArray[Kind]) -> NDArray[Kind]:
        """(rows, chunks) as (count,) in the order of the log; a view where it can be one."""
        return np.asarray(part.T.reshape(-1)[: self.count])

    def before(self, part: NDArray[Kind], first: float) -> NDArray[Kind]:
        """For each reading (rows, chunks) what the reading before it holds."""
        found = np.empty_like(part)
        found[1:] = part[:-1]
        found[0, 1:] = part[-1, :-1]
        found[0, 0] = first
        return found


class Ratios(NamedTuple):
    """(rows, chunks) each: chance times density of first to second, second to first and second to second state, over
    that of first to first; and the sum of the logarithms divided out. Filling changes nothing: 0, 0, 1."""

    up: Floats
    back: Floats
    stay: Floats
    log_scale: float


class OddsSteps(Protocol):
    """A log of `count` readings. Where the third state is seen, the ratios make the odds 1 before and after it."""

    @property
    def count(self) -> int: ...

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(n,) where the third state is seen."""
        ...

    def ratios(self, layout: Layout) -> Ratios: ...


@dataclass(eq=False)
class Slab:
    """A stretch of readings in chunks: ratios, filtered odds (rows, chunks), and what each step was divided by."""

    layout: Layout
    ratios: Ratios
    odds: Floats
    below: Floats  # 1 + back r, what each step divides by


def smooth_odds(steps: OddsSteps) -> Smoothed:
    """As `markov.smooth`, with the state that is seen as number 0 and the hidden ones as 1 and 2."""
    seen = steps.seen
    out = Smoothed(np.empty((steps.count, 3), dtype=np.float32), np.empty(steps.count, dtype=np.int8), 0.0)
    firsts = range(0, steps.count, SLAB)
    after: list[float] = [1.0]
    ends: list[_End] = []
    for first in reversed(firsts):
        ends.insert(0, _smooth_slab(steps, seen, out, first, _led_in(steps, first), after[0]))
        after.insert(0, ends[0].before)
    for number, first in enumerate(firsts):
        if number and not _agree(ends[number - 1].odds, ends[number].start):
            ends[number] = _smooth_slab(steps, seen, out, first, ends[number - 1].odds, after[number + 1])
    total = float(sum(end.log_likelihood for end in ends))
    total += 0.0 if seen[-1] else float(np.log1p(ends[-1].odds))
    return Smoothed(out.probability, out.state, total)


class _End(NamedTuple):
    """What a slab started from, how it ended, what it says of the slab before, and its share of the likelihood."""

    start: float
    odds: float
    before: float
    log_likelihood: float


def _agree(one: float, other: float) -> bool:
    return abs(one - other) <= AGREED * one


def _smooth_slab(
    steps: OddsSteps, seen: NDArray[np.bool_], out: Smoothed, first: int, start: float, after: float
) -> _End:
    slab = filtered(steps, first, min(SLAB, steps.count - first), start)
    told, before = looked_back(slab, after)
    here = slice(first, first + slab.layout.count)
    told *= slab.odds
    out.state[here] = slab.layout.in_order((told > 1.0).view(np.int8))
    out.state[here] += 1
    told += 1.0
    shadowed = np.divide(1.0, told, out=told).astype(np.float32)
    probability = out.probability[here]
    probability[:, 0] = 0.0
    probability[:, 1] = slab.layout.in_order(shadowed)
    np.subtract(1.0, probability[:, 1], out=probability[:, 2])
    where = np.flatnonzero(seen[here])
    if len(where):
        out.state[here][where] = 0
        probability[where] = (1.0, 0.0, 0.0)
    spent = slab.ratios.log_scale + float(np.log(slab.below).sum())
    return _End(start, last_odds(slab), before, spent)


def _led_in(steps: OddsSteps, first: int) -> float:
    """How the readings before a slab end, walked from an even guess."""
    count = min(_LEAD, first)
    return last_odds(filtered(steps, first - count, count, 1.0)) if count else 1.0


def last_odds(slab: Slab) -> float:
    """The filtered odds of the last reading."""
    last = slab.layout.count - 1
    return float(slab.odds[last % slab.layout.rows, last // slab.layout.rows])


# --- forward -----------------------------------------------------------------------------------------------------


def filtered(steps: OddsSteps, first: int, count: int, start: float) -> Slab:
    """Readings `first` .. `first + count` walked forward from the odds `start`."""
    chunks = min(max(count // _SHORTEST_CHUNK, 1), _MOST_CHUNKS)
    layout = Layout(first, count, -(-count // chunks), chunks)
    shape = (layout.rows, chunks)
    slab = Slab(layout, steps.ratios(layout), np.full(shape, _NOTHING), np.ones(shape))
    given = np.ones(chunks)
    given[0] = start
    low, high = 0, layout.used
    while low < high:
        last = slab.odds[-1, low:high].copy()
        _walk(slab, slice(low, high), given[low:high])
        found = slab.odds[-1, low:high]
        changed = low + np.flatnonzero(np.abs(found - last) > AGREED * found)
        given[1:] = slab.odds[-1, :-1]
        low, high = (int(changed[0]) + 1, min(int(changed[-1]) + 2, layout.used)) if len(changed) else (0, 0)
    slab.odds[:, layout.used :] = 1.0
    return slab


def _walk(slab: Slab, chunks: slice, given: Floats) -> None:
    """Walk chunks from the odds `given` until they agree with what stands there."""
    parts = (part[:, chunks] for part in (*slab.ratios[:3], slab.below, slab.odds))
    now, new = given, np.empty_like(given)
    for row, (up, back, stay, below, odds) in enumerate(zip(*parts, strict=True)):
        np.multiply(back, now, out=below)
        below += 1.0
        np.multiply(stay, now, out=new)
        new += up
        if row % _LOOK_EVERY:
            now = np.divide(new, below, out=odds)
            continue
        new /= below
        agreed = bool((np.abs(new - odds) <= AGREED * new).all())
        odds[:] = new
        if agreed:
            return
        now = odds


# --- backward ----------------------------------------------------------------------------------------------------


def looked_back(slab: Slab, after: float) -> tuple[Floats, float]:
    """(L, B) what the readings after each one say of it, as odds, and the same for the slab before."""
    told = np.full((slab.layout.rows, slab.layout.chunks), _NOTHING)
    out = np.full(slab.layout.chunks, _NOTHING)
    given = np.ones(slab.layout.chunks)
    given[slab.layout.used - 1] = after
    low, high = 0, slab.layout.used
    while low < high:
        last = out[low:high].copy()
        _walk_back(slab, told, out, slice(low, high), given[low:high])
        changed = low + np.flatnonzero(np.abs(out[low:high] - last) > AGREED * out[low:high])
        given[:-1] = out[1:]
        low, high = (max(int(changed[0]) - 1, 0), int(changed[-1])) if len(changed) else (0, 0)
    told[:, slab.layout.used :] = 1.0
    return told, float(out[0])


def _walk_back(slab: Slab, told: Floats, out: Floats, chunks: slice, given: Floats) -> None:
    parts = (part[::-1, chunks] for part in (*slab.ratios[:3], told))
    now, below = given, np.empty_like(given)
    for row, (up, back, stay, there) in enumerate(zip(*parts, strict=True)):
        agreed = row % _LOOK_EVERY == 0 and bool((np.abs(now - there) <= AGREED * now).all())
        there[:] = now
        if agreed:
            return
        np.multiply(up, there, out=below)
        below += 1.0
        now = stay * there
        now += back
        now /= below
    out[chunks] = now
