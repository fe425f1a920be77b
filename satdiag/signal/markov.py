"""Hidden Markov chain: filtered and smoothed state probabilities of any number of readings, without a compiler.

A log is cut into chunks that are walked side by side, one reading of each at a time (numpy works across the chunks).
A chunk starts from an even guess; then it is walked again from where the chunk before it ended, until both walks
agree to `AGREED`: a chain forgets its start. What is handed on that way is the exact recursion (Rabiner 1989,
Proceedings of the IEEE 77, 257), not an approximation of it: a chunk that does not forget is walked to its end, and
the next one with it.

Nothing here knows of levels or of time: `Steps` tells, for reading t, the K x K table of
P(state j at t | state i at t - 1) times the density of reading t given both states and what was read before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]
States = NDArray[np.int8]

AGREED = 1e-12
SLAB = 1 << 18
"""Readings that are held at a time: bounds the memory beside the result to about 70 MB for three states."""
_SHORTEST_CHUNK = 48
_MOST_CHUNKS = 1024
_LEAD = 4096
_LOOK_EVERY = 8


class Steps(Protocol):
    """The tables of a log: `count` readings, `states` states."""

    @property
    def count(self) -> int: ...

    @property
    def states(self) -> int: ...

    def tables(self, index: Numbers) -> tuple[Floats, Floats]:
        """For readings `index` (m,): tables (K, K, m), and (m,) the logarithm of what was divided out of each.

        Of reading 0 every row holds P(state j) times its density. Each table has an entry above zero in every row
        that can be reached.
        """
        ...


@dataclass(frozen=True, eq=False)
class Smoothed:
    """State probabilities (n, K) given all readings, the most probable state of each (n,), and the log-likelihood."""

    probability: NDArray[np.float32]
    state: States
    log_likelihood: float


@dataclass(eq=False)
class _Slab:
    """A stretch of readings in chunks: tables (K, K, L * B) with row l of all chunks side by side."""

    count: int
    rows: int
    chunks: int
    tables: Floats
    log_scale: float
    filtered: Floats
    scale: Floats

    def table(self, row: int) -> Floats:
        """The tables (K, K, B) of one row."""
        return self.tables[:, :, row * self.chunks : (row + 1) * self.chunks]

    def in_order(self, part: NDArray[np.generic]) -> NDArray[np.generic]:
        """(L, ..., B) as (..., n): the order of the log, the filling at the end left out."""
        moved = np.moveaxis(part, 0, -1)
        return moved.reshape(*moved.shape[:-2], self.rows * self.chunks)[..., : self.count]


def smooth(steps: Steps) -> Smoothed:
    """Smoothed probabilities and log-likelihood of a whole log (at least one reading).

    Slabs are taken from the last to the first, each started by the readings just before it; where that start turns
    out to differ from how the slab before really ends, the slab is filtered again.
    """
    probability = np.empty((steps.count, steps.states), dtype=np.float32)
    state = np.empty(steps.count, dtype=np.int8)
    firsts = range(0, steps.count, SLAB)
    after: list[Floats] = [np.ones(steps.states)]
    ends: list[_End] = []
    for first in reversed(firsts):
        ends.insert(0, _smooth_slab(steps, probability, first, _led_in(steps, first), after[0]))
        after.insert(0, ends[0].before)
    for number, first in enumerate(firsts):
        if number and np.abs(ends[number - 1].filtered - ends[number].start).max() > AGREED:
            ends[number] = _smooth_slab(steps, probability, first, ends[number - 1].filtered, after[number + 1])
    for first in firsts:
        state[first : first + SLAB] = probability[first : first + SLAB].argmax(axis=1)
    return Smoothed(probability, state, sum(end.log_likelihood for end in ends))


@dataclass(frozen=True, eq=False)
class _End:
    """What a slab started from, how it ended, what it says of the slab before it, and its log-likelihood."""

    start: Floats
    filtered: Floats
    before: Floats
    log_likelihood: float


def _smooth_slab(steps: Steps, out: NDArray[np.float32], first: int, start: Floats, after: Floats) -> _End:
    slab = _filter(steps, first, min(SLAB, steps.count - first), start)
    told, before = _look_back(slab, after)
    told *= slab.filtered
    told /= told.sum(axis=1, keepdims=True)
    out[first : first + slab.count] = slab.in_order(told).T
    return _End(start, _last_filtered(slab), before, slab.log_scale + float(np.log(slab.scale).sum()))


def _led_in(steps: Steps, first: int) -> Floats:
    """How the readings before a slab end, walked from an even guess."""
    even = np.full(steps.states, 1.0 / steps.states)
    count = min(_LEAD, first)
    return _last_filtered(_filter(steps, first - count, count, even)) if count else even


def filtered(steps: Steps) -> Floats:
    """State probabilities (n, K) given the readings up to each one."""
    found, start = [], np.full(steps.states, 1.0 / steps.states)
    for first in range(0, steps.count, SLAB):
        slab = _filter(steps, first, min(SLAB, steps.count - first), start)
        start = _last_filtered(slab)
        found.append(np.asarray(slab.in_order(slab.filtered).T, dtype=np.float64))
    return np.concatenate(found)


# --- forward -----------------------------------------------------------------------------------------------------


def _filter(steps: Steps, first: int, count: int, start: Floats) -> _Slab:
    slab = _cut(steps, first, count)
    given = np.full((steps.states, slab.chunks), 1.0 / steps.states)
    given[:, 0] = start
    low, high = 0, slab.chunks
    while low < high:
        last = slab.filtered[-1][:, low:high].copy()
        _walk(slab, slice(low, high), given[:, low:high])
        changed = low + np.flatnonzero(np.abs(slab.filtered[-1][:, low:high] - last).max(axis=0) > AGREED)
        given[:, 1:] = slab.filtered[-1][:, :-1]
        low, high = (int(changed[0]) + 1, min(int(changed[-1]) + 2, slab.chunks)) if len(changed) else (0, 0)
    return slab


def _cut(steps: Steps, first: int, count: int) -> _Slab:
    chunks = min(max(count // _SHORTEST_CHUNK, 1), _MOST_CHUNKS)
    rows = -(-count // chunks)
    order = (np.arange(rows)[:, None] + rows * np.arange(chunks)[None, :]).ravel()
    beyond = order >= count
    tables, log_scale = steps.tables(first + np.minimum(order, count - 1))
    if beyond.any():
        tables[:, :, beyond] = np.eye(steps.states)[:, :, None]
        log_scale[beyond] = 0.0
    empty = np.full((rows, steps.states, chunks), 2.0)  # no probability: any walk differs from it
    return _Slab(count, rows, chunks, tables, float(log_scale.sum()), empty, np.ones((rows, chunks)))


def _walk(slab: _Slab, chunks: slice, given: Floats) -> None:
    """Filter chunks from `given` (K, chunks) until they agree with what stands there."""
    now = given
    for row in range(slab.rows):
        new = np.einsum("ib,ijb->jb", now, slab.table(row)[:, :, chunks])
        scale = new.sum(axis=0)
        new /= scale
        agreed = row % _LOOK_EVERY == 0 and np.abs(new - slab.filtered[row][:, chunks]).max() <= AGREED
        slab.filtered[row][:, chunks], slab.scale[row, chunks] = new, scale
        if agreed:
            return
        now = new


def _last_filtered(slab: _Slab) -> Floats:
    row, chunk = (slab.count - 1) % slab.rows, (slab.count - 1) // slab.rows
    return slab.filtered[row, :, chunk].copy()


# --- backward ----------------------------------------------------------------------------------------------------


def _look_back(slab: _Slab, after: Floats) -> tuple[Floats, Floats]:
    """(L, K, B) what the readings after each one say of its state, up to scale, and the same for the slab before."""
    told = np.full((slab.rows, len(after), slab.chunks), -1.0)
    out = np.full((len(after), slab.chunks), -1.0)
    given = np.full((len(after), slab.chunks), 1.0 / len(after))
    given[:, -1] = after / after.sum()
    low, high = 0, slab.chunks
    while low < high:
        last = out[:, low:high].copy()
        _walk_back(slab, told, out, slice(low, high), given[:, low:high])
        changed = low + np.flatnonzero(np.abs(out[:, low:high] - last).max(axis=0) > AGREED)
        given[:, :-1] = out[:, 1:]
        low, high = (max(int(changed[0]) - 1, 0), int(changed[-1])) if len(changed) else (0, 0)
    return told, out[:, 0].copy()


def _walk_back(slab: _Slab, told: Floats, out: Floats, chunks: slice, given: Floats) -> None:
    now = given
    for row in reversed(range(slab.rows)):
        agreed = row % _LOOK_EVERY == 0 and np.abs(now - told[row][:, chunks]).max() <= AGREED
        told[row][:, chunks] = now
        if agreed:
            return
        now = np.einsum("ijb,jb->ib", slab.table(row)[:, :, chunks], now)
        now /= now.sum(axis=0)
    out[:, chunks] = now
