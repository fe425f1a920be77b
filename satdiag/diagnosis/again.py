"""A test done once more: what it may say, given what it said, and what both readings add.

A reading is wrong now and then, each time anew but for the cause that stays (a wrong plug, a habit). Said again, it
weighs more; said otherwise, the later one counts, as everywhere. What comes and goes may not show in one look: where
it showed nothing, another look may show it, and the more looks showed nothing, the less is left of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from satdiag.diagnosis.model import SAME_AGAIN, Item, Model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import Floats, Space

OF_THE_PAST = ("once", "at-times")
"""States that tell of what has passed: one more look leaves them as they are."""

ALIKE_ENOUGH = 2
"""What was read so often alike is not read again."""

LOOKS_ENOUGH = 3
"""What comes and goes, and showed nothing in so many looks, is not looked for again."""

SEEN_IN_PART = ("refused-pattern", "refused-running")
"""Items that more looks tell better, though none is misread for another state."""

DOUBT = 0.03
"""Such an item is looked at again where a second state is so likely by it, beside the likeliest."""


UNDECIDED = 0.2
"""A reading told in part is repeated where a second state is so likely by it, beside the likeliest."""


@dataclass(frozen=True)
class Shown:
    """What a test showed last: the number of the state, and how many of the last readings say so.

    `soft`: where it could be told in part only, the likelihood of what was read under each state. `passing`: it comes
    and goes, so that a look which showed nothing (the first state) may be followed by one that shows it.
    """

    state: int
    alike: int = 1
    soft: tuple[float, ...] | None = None
    passing: bool = False

    def then(self, state: int) -> Shown:
        """After one more reading."""
        alike = self.alike + 1 if state == self.state and self.soft is None else 1
        return Shown(state, alike, passing=self.passing)

    @property
    def is_enough(self) -> bool:
        """Whether it was read so often alike that one more reading is worth nothing."""
        if self.passing:
            return self.state > 0 or self.alike >= LOOKS_ENOUGH
        return self.alike >= ALIKE_ENOUGH


def shown(model: Model, seen: Iterable[Seen]) -> dict[str, Shown]:
    """The items that can be misread or were seen in part, each with what it showed."""
    items = model.items
    return {
        one.item: Shown(
            items[one.item].states.index(one.state),
            one.repeats,
            _softly(items[one.item], one),
            bool(items[one.item].anew),
        )
        for one in seen
        if one.item in items
        and one.state not in OF_THE_PAST
        and (can_differ(items[one.item]) or (one.soft and one.item in SEEN_IN_PART))
    }


def can_differ(item: Item) -> bool:
    """Whether a second reading may say otherwise than the first."""
    return bool(item.misread or item.anew)


def _softly(item: Item, one: Seen) -> tuple[float, ...] | None:
    return None if one.soft is None else tuple(one.soft.get(state, 0.0) for state in item.states)


def worth_again(told: Mapping[str, Shown], item: str) -> bool:
    """Whether one more reading of an item can tell anything."""
    if item not in told:
        return False
    soft = told[item].soft
    if soft is None:
        return not told[item].is_enough
    return sorted(soft)[-2] >= (DOUBT if item in SEEN_IN_PART else UNDECIDED)


@lru_cache(maxsize=256)
def said_again(model: Model, space: Space, item: str, first: Shown, received: bool = False) -> Floats:
    """P(state of one more reading | hypothesis, the reading before), shape (hypotheses, states).

    What is so is first judged by the row without what is misread and by the reading before. Of what comes and goes, a
    part of the looks shows the same again, the others are as the row has it.
    """
    if first.passing and first.soft is None:
        return _looked_again(model, space, item, received)
    misread, count = model.items[item].misread, len(model.items[item].states)
    rows = np.exp(model.log_likelihood(item, space, received=received))
    is_so = model.items[item].without_misread(rows)
    reads = np.full((count, count), misread / count) + (1 - misread) * np.eye(count)
    is_so = is_so * (reads[:, first.state] if first.soft is None else reads @ np.array(first.soft))
    is_so /= is_so.sum(axis=1, keepdims=True)
    again = reads
    if first.soft is None:
        again = (1 - SAME_AGAIN) * reads
        again[:, first.state] += SAME_AGAIN
        again[first.state] = reads[first.state]
    table: Floats = is_so @ again
    table.flags.writeable = False
    return table


def _looked_again(model: Model, space: Space, item: str, received: bool) -> Floats:
    """The same of what comes and goes and showed nothing so far."""
    anew = model.items[item].anew
    table: Floats = anew * np.exp(model.log_likelihood(item, space, received=received))
    table[:, 0] += 1 - anew
    table.flags.writeable = False
    return table


def adds(model: Model, space: Space, item: str, now: Shown, received: bool = False) -> Floats:
    """log P(what was read of an item | hypothesis) after the last reading, shape (hypotheses,)."""
    column: Floats = model.log_likelihood(item, space, now.alike, received)[:, now.state]
    return column
