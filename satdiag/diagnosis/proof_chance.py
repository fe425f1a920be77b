"""Whether it can be made sure at all: all tests done in thought, with answers drawn from what is believed.

Each test is done once; those that can be misread, or that look for what comes and goes, once more after that, as they
are done in earnest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from satdiag.diagnosis.again import Shown, adds, can_differ, said_again
from satdiag.diagnosis.model import Test
from satdiag.diagnosis.proof import is_sure
from satdiag.diagnosis.space import Flags, Floats
from satdiag.diagnosis.standing import Ground, Standing, held_within, weight_of_family
from satdiag.diagnosis.waiting import WAIT

PROOF_DRAWS = 300
LEFT_OUT = 3e-3
"""The rarest hypotheses, so much of the belief together, are left out: they stand in nobody's way."""

Places = NDArray[np.int64]


def chance_of_proof(
    standing: Standing, tests: Sequence[Test], draws: int = PROOF_DRAWS, given: str | None = None
) -> float:
    """How often it becomes sure while these tests are done one after the other, answers drawn from the belief.

    `given`: only where this fault (or 'none', 'other') is so. The draws are always the same ones: the same job gives
    the same words.
    """
    ground, rng = Ground(standing, LEFT_OUT), np.random.default_rng(0)
    p = ground.p if given is None else ground.p * ground.space.mask_of(given)
    run = _Run(ground, rng.choice(len(p), draws, p=p / p.sum()), rng)
    for test in tests:
        run.do(test)
    for test in tests:
        run.do_again(test)
    return float(run.sure.mean())


class _Run:
    """Tests done in thought, in many draws at once; `true` (draws,): the places in `ground` of what is so."""

    def __init__(self, ground: Ground, true: Places, rng: np.random.Generator) -> None:
        self.ground, self.true, self.rng = ground, true, rng
        self.joint: Floats = np.tile(ground.joint, (len(true), 1))
        self.raw = {name: raw[None, ground.at] for name, raw in ground.raw.items()}
        self.parts = {name: part[None] for name, part in ground.parts.items()}
        self.items = list(ground.items)
        self.sure: Flags = np.zeros(len(true), dtype=bool)
        self.first: dict[str, Places] = {}
        self.looked_for_last = False

    def do(self, test: Test) -> None:
        """A test as it can be done now; nothing where another one showed the same item before."""
        ground, standing = self.ground, self.ground.standing
        is_again, is_last = standing.bench.is_again(test), standing.bench.for_last(test) is not None
        if self.looked_for_last if is_last else self._is_done(test, is_again):
            return
        self.looked_for_last |= is_last
        at, outcomes = self._drawn(test), standing.outcomes(test, ground.belief)
        columns = np.array([one.column[ground.at] for one in outcomes])
        for item in dict.fromkeys(one.item for one in outcomes):
            shows = np.array([one.item == item for one in outcomes])[:, None]
            if item is None:
                self.joint += np.where(shows, columns, 0.0)[at]
                continue
            self._add(item, np.where(shows, columns - self._in_full(item), 0.0)[at])
            self.first |= {} if is_again or is_last else {item: at}
        for k, one in enumerate(outcomes):
            if one.also is not None and one.also[0] not in self.first:
                item, column = one.also
                self._add(item, np.where((at == k)[:, None], column[ground.at] - self._in_full(item), 0.0))
        self.sure |= is_sure(ground.space, ground.chances(self.joint))

    def _is_done(self, test: Test, is_again: bool) -> bool:
        if test.name == WAIT:
            return self.ground.standing.bench.waiting is None
        return test.item in self.items and not is_again

    def do_again(self, test: Test) -> None:
        """Once more what was done here for the first time, where a second reading may say otherwise."""
        standing, item, places = self.ground.standing, test.item, self.ground.at
        model, received = standing.model, standing.bench.received
        if not standing.bench.twice or item not in self.first or not can_differ(model.items[item]):
            return
        first, added = self.first.pop(item), np.zeros(self.joint.shape)
        for state in np.unique(first).tolist():
            was, here = Shown(state, passing=bool(model.items[item].anew)), first == state
            if was.is_enough:
                continue
            table = said_again(model, standing.space, item, was, received)[places[self.true[here]]]
            now = adds(model, standing.space, item, was, received)[places]
            then = [adds(model, standing.space, item, was.then(k), received)[places] for k in range(table.shape[1])]
            added[here] = (np.array(then) - now)[_states(table, self.rng)]
        self._add(item, added)
        self.sure |= is_sure(self.ground.space, self.ground.chances(self.joint))

    def _in_full(self, item: str) -> Floats:
        return self.ground.standing.in_full(item)[self.ground.at]

    def _add(self, item: str, added: Floats) -> None:
        """More of an item's log-likelihood in full (draws, kept)."""
        family, model = self.ground.standing.model.items[item].family, self.ground.standing.model
        self.raw[family] = self.raw.get(family, 0.0) + added
        self.items += [] if item in self.items else [item]
        weight = weight_of_family(model, family, self.items)
        part = held_within(model, weight * self.raw[family], weight * self.raw[family].max(axis=1, keepdims=True))
        self.joint += part - self.parts.get(family, 0.0)
        self.parts[family] = part

    def _drawn(self, test: Test) -> Places:
        """The number of the answer drawn under each true hypothesis."""
        standing, bench = self.ground.standing, self.ground.standing.bench
        if bench.is_again(test):
            table = said_again(standing.model, standing.space, test.item, bench.shown[test.item], bench.received)
        elif test.name == WAIT or bench.for_last(test) is not None or test.item in standing.terms:
            table = bench.option(test, self.ground.belief).table
        else:
            table = np.exp(standing.model.log_likelihood(test.item, standing.space, received=bench.received))
        return _states(table[self.ground.at[self.true]], self.rng)


def _states(chances: Floats, rng: np.random.Generator) -> Places:
    """One state for each row of chances (rows, states)."""
    at: Places = (rng.random((len(chances), 1)) > np.cumsum(chances, axis=1)).sum(axis=1)
    held: Places = np.minimum(at, chances.shape[1] - 1)
    return held
