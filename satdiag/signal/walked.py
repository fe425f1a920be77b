"""A log of two hidden states walked both ways in odds: states, how neighbours stand, and paths drawn from them.

See `odds` for the recursion. What training and intervals need beside the smoothed states comes from the same walk.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from satdiag.signal.markov import SLAB, Floats, States
from satdiag.signal.odds import OddsSteps, Slab, filtered, last_odds, looked_back


class Pairs(NamedTuple):
    """(n,) each: chances of second after first, first after second and second after second hidden state, given all
    readings; what is left is first after first. Where the state before is seen, they are those of the own state,
    first or second; where the own one is, the last two together are the chance that the second was before it."""

    up: Floats
    back: Floats
    stay: Floats


@dataclass(frozen=True, eq=False)
class Walked:
    """A log of at most `SLAB` readings, walked both ways."""

    seen: NDArray[np.bool_]
    slab: Slab
    told: Floats

    @property
    def log_likelihood(self) -> float:
        """Of all readings."""
        last = 0.0 if self.seen[-1] else float(np.log1p(last_odds(self.slab)))
        return self.slab.ratios.log_scale + float(np.log(self.slab.below).sum()) + last

    @property
    def states(self) -> States:
        """The most probable state of each reading (n,), as in `smooth_odds`."""
        second = self.slab.layout.in_order(self.told * self.slab.odds > 1.0)
        return np.where(self.seen, 0, 1 + second).astype(np.int8)

    @property
    def pairs(self) -> Pairs:
        """How each reading and the one before it stand."""
        before, ratios = self.slab.layout.before(self.slab.odds, 1.0), self.slab.ratios
        up = ratios.up * self.told
        back = before * ratios.back
        stay = before * ratios.stay
        stay *= self.told
        total = up + back
        total += stay
        total += 1.0
        return Pairs(*(self.slab.layout.in_order(np.divide(part, total, out=part)) for part in (up, back, stay)))

    def paths(self, count: int, random: np.random.Generator) -> tuple[States, ...]:
        """Paths of states (n,) drawn from their posterior (forward filtering, backward sampling: Carter and Kohn
        1994, Biometrika 81, 541).

        By one random number each reading tells the state before it for either state of its own. Most tell the same
        for both: what stands before such a reading does not hang on what comes after it, and no walk is needed.
        """
        layout, ratios = self.slab.layout, self.slab.ratios
        before = layout.before(self.slab.odds, 1.0)
        stays = before * ratios.stay
        stays += ratios.up
        first_of_first = layout.in_order(1.0 / (1.0 + before * ratios.back))
        first_of_second = layout.in_order(ratios.up / stays)
        return tuple(
            self._path(
                layout.in_order(random.random((layout.rows, layout.chunks))),
                random.random(),
                first_of_first,
                first_of_second,
            )
            for _ in range(count)
        )

    def _path(self, chance: Floats, last_chance: float, first_of_first: Floats, first_of_second: Floats) -> States:
        count = self.slab.layout.count
        if_first, if_second = chance > first_of_first, chance > first_of_second
        # From the end: at 0 the last state itself, at k what the reading k from the end tells of the one before it.
        second = np.empty(count, dtype=bool)
        second[0] = last_chance * (1.0 + last_odds(self.slab)) > 1.0
        second[1:] = if_second[:0:-1]
        same = np.ones(count, dtype=bool)
        np.equal(if_first[:0:-1], if_second[:0:-1], out=same[1:])
        told_at = np.maximum.accumulate(np.where(same, np.arange(count, dtype=np.int32), 0))
        turns = ~(second | same)  # the one before stands as the own one does not
        second = second[told_at]
        if turns.any():
            turned = np.cumsum(turns)
            second ^= (turned - turned[told_at]) % 2 == 1
        return np.where(self.seen, 0, 1 + second[::-1]).astype(np.int8)


def walk(steps: OddsSteps) -> Walked:
    """Walk a log both ways; ValueError for more than `SLAB` readings."""
    if steps.count > SLAB:
        raise ValueError(f"more than {SLAB} readings at once")
    slab = filtered(steps, 0, steps.count, 1.0)
    told, _ = looked_back(slab, 1.0)
    return Walked(steps.seen, slab, told)
