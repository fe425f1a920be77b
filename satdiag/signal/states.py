"""The states of one path over all visits: as the chain tells them, and as each reading by itself does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from satdiag.signal.chain import History
from satdiag.signal.levels import is_shadowed
from satdiag.signal.markov import States
from satdiag.signal.pieces import Flags, Pieces
from satdiag.signal.segments import BLOCKED, CLEAR, SHADOWED, Segmented, segment

RECEIVED = 3
State = Literal["clear", "shadowed", "received", "blocked"]
NAMES: tuple[State, ...] = ("blocked", "shadowed", "clear", "received")


@dataclass(frozen=True, eq=False)
class Read:
    """One path in one visit with one antenna and lead: what was read, and in which unit.

    `visit`, `era`: numbers of the visit, and of the parts that were fitted. What was read with other parts is held
    against its own clear level.
    """

    pieces: Pieces
    unit: str | None
    visit: int = 0
    era: int = 0

    @property
    def with_level(self) -> Flags:
        """Pieces that were received and have a level."""
        return self.pieces.received & ~np.isnan(self.pieces.level)


@dataclass(frozen=True, eq=False)
class PathStates:
    """The state of each piece, visit by visit, as numbers into `NAMES`.

    `likely` by the chain, `drawn` paths from its posterior, `plain` by each reading alone. `chains` by unit and the
    number of the parts fitted.
    """

    reads: Sequence[Read]
    likely: tuple[States, ...]
    plain: tuple[States, ...]
    drawn: tuple[tuple[States, ...], ...]
    chains: Mapping[tuple[str, int], Segmented]

    def chain_of(self, read: Read) -> Segmented | None:
        """The chain that a read's levels belong to."""
        return self.chains.get((read.unit, read.era)) if read.unit is not None else None

    def last_chain(self, unit: str | None) -> Segmented | None:
        """The chain of a unit with the parts that were fitted last."""
        eras = [era for one, era in self.chains if one == unit]
        return self.chains[unit, max(eras)] if unit is not None and eras else None

    def graded(self, states: Sequence[States]) -> list[History]:
        """Clear or not over the time in which that is known, visit by visit."""
        found = []
        for read, state in zip(self.reads, states, strict=True):
            keep = (state == CLEAR) | (state == SHADOWED)
            part = read.pieces.only(keep)
            found.append(History(part.start_s, part.end_s, state[keep] == CLEAR))
        return found

    def are(self, states: Sequence[States], wanted: int) -> list[History]:
        """In the wanted state or in another, visit by visit."""
        return [
            History(read.pieces.start_s, read.pieces.end_s, state == wanted)
            for read, state in zip(self.reads, states, strict=True)
        ]

    @property
    def all_graded(self) -> bool:
        """True if no time is received without being known as clear or shadowed."""
        return not any(bool((state == RECEIVED).any()) for state in self.likely)

    def received(self) -> list[History]:
        """Received or not, visit by visit."""
        return [History(read.pieces.start_s, read.pieces.end_s, read.pieces.received) for read in self.reads]


def path_states(reads: Sequence[Read]) -> PathStates:
    """States of a path; levels of different units, or read with different parts, are never mixed."""
    rough = [np.where(read.pieces.received, RECEIVED, BLOCKED).astype(np.int8) for read in reads]
    likely, plain = [part.copy() for part in rough], [part.copy() for part in rough]
    drawn: list[list[States]] = []
    chains: dict[tuple[str, int], Segmented] = {}
    for unit, era in sorted({(read.unit, read.era) for read in reads if read.unit is not None}):
        at = [number for number, read in enumerate(reads) if (read.unit, read.era) == (unit, era)]
        kept = [reads[number].with_level | ~reads[number].pieces.received for number in at]
        parts = [reads[number].pieces.only(keep) for number, keep in zip(at, kept, strict=True)]
        found = _segmented(parts, unit)
        if found is None:
            continue
        chains[unit, era] = found
        drawn += [[part.copy() for part in rough] for _ in range(len(found.drawn) - len(drawn))]
        lengths = np.cumsum([len(part.start_s) for part in parts])[:-1]
        _put(likely, at, kept, np.split(found.state, lengths))
        for way, path in zip(drawn, found.drawn, strict=False):
            _put(way, at, kept, np.split(path, lengths))
        for number, keep, part in zip(at, kept, parts, strict=True):
            shadowed = is_shadowed(part.level, found.clear_level, unit)
            plain[number][keep] = np.where(part.received, np.where(shadowed, SHADOWED, CLEAR), BLOCKED)
    return PathStates(reads, tuple(likely), tuple(plain), tuple(tuple(way) for way in drawn), chains)


def _segmented(parts: Sequence[Pieces], unit: str) -> Segmented | None:
    t_s, level, received, weight = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("start_s", "level", "received", "length_s")
    )
    return segment(t_s, level, ~received, unit, weight) if len(t_s) else None


def _put(
    target: list[States], at: Sequence[int], kept: Sequence[NDArray[np.bool_]], states: Sequence[States]
) -> None:
    for number, keep, part in zip(at, kept, states, strict=True):
        target[number][keep] = part
