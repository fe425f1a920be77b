"""Do restarts fall together with dips of the supply more often than chance would have it?

If restarts came at a steady rate whatever the supply does, each of the n restarts would fall into the windows of the
dips with a chance p = length of the windows / time watched, so k of them by a binomial law: the exact conditional
test of two Poisson rates (J. Przyborowski and H. Wilenski, 1940). The chance of k or more is exact, however small n.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.chances import at_least
from satdiag.findings import RestartTie
from satdiag.findings.supply import Standing
from satdiag.spans import Spans, intersect, length_s, spans
from satdiag.wiring.supply_codes import DIP_V
from satdiag.wiring.supply_dips import Event
from satdiag.wiring.supply_log import SupplyLog

Floats = NDArray[np.float64]

AFTER_S = 2.0
"""A restart this soon after a dip may come from it (judgement, no source)."""

CHANCE_AT_MOST = 0.05
FEWEST = 2
"""Below so many that agree nothing is said: one may always be chance, or a slip of the clock (judgement)."""

BRIEF_S = 0.04
"""The deepest part of a start lasts 15 to 40 ms: readings this close miss none (test-source manual)."""


@dataclass(frozen=True, eq=False)
class Tied:
    """The test, which restarts (n,) are tied, and to each dip how many."""

    tie: RestartTie | None
    tied: NDArray[np.bool_]
    counts: tuple[int, ...]


def tie_restarts(log: SupplyLog, dips: Sequence[Event], restarts_s: Floats) -> Tied:
    """Each restart against the windows of the dips: from the first low reading to `AFTER_S` after the last one.

    The window of a lowest value is the time it covers; one of unknown start has none.
    """
    windows = [_window(event) for event in dips]
    owner = [_owner(windows, float(t_s)) for t_s in restarts_s]
    counts = tuple(sum(one == number for one in owner) for number in range(len(dips)))
    tied = np.array([one is not None for one in owner], dtype=bool)
    if not len(restarts_s) or log.watched_s <= 0.0 or not (len(log.t_s) or len(log.low_t_s)):
        return Tied(None, tied, counts)
    share = _share(log, [window for window in windows if window is not None])
    number, hits = len(restarts_s), int(tied.sum())
    p_chance = chance_of(hits, number, share)
    clear = sum(_is_clear(log, float(t_s)) for t_s in restarts_s[~tied])
    standing = _standing(hits, number, share, p_chance, clear)
    return Tied(RestartTie(hits, number, clear, share, number * share, p_chance, standing), tied, counts)


def chance_of(tied: int, restarts: int, share: float) -> float:
    """The chance of `tied` or more of so many restarts in windows that are this share of the time; exact."""
    return at_least(tied, restarts, share)


def _window(event: Event) -> tuple[float, float] | None:
    if event.start_s is None:
        return None
    return event.start_s, event.end_s + (0.0 if event.seen_in == "minimum" else AFTER_S)


def _owner(windows: Sequence[tuple[float, float] | None], t_s: float) -> int | None:
    """The dip whose window holds an instant; of several the one that began last."""
    holding = [number for number, one in enumerate(windows) if one is not None and one[0] <= t_s <= one[1]]
    return max(holding, key=lambda number: (windows[number] or (0.0,))[0]) if holding else None


def _share(log: SupplyLog, windows: Sequence[tuple[float, float]]) -> float:
    visits: Spans = spans([(visit.start_s, visit.end_s) for visit in log.job.visits])
    return min(1.0, length_s(intersect(visits, spans(list(windows)))) / log.watched_s)


def _is_clear(log: SupplyLog, t_s: float) -> bool:
    """True if the supply was seen sound just before: by a lowest value, or by readings too close to miss a dip."""
    covers = (log.low_start_s <= t_s - AFTER_S) & (t_s <= log.low_t_s) & (log.low_v >= DIP_V)
    if covers.any():
        return True
    first, last = np.searchsorted(log.t_s, [t_s - AFTER_S - BRIEF_S, t_s], side="right")
    near = np.concatenate([[t_s - AFTER_S], log.t_s[first:last], [t_s]])
    sound = last > first and bool((log.volts[first:last] >= DIP_V).all())
    return sound and float(np.diff(near).max()) <= BRIEF_S


def _standing(hits: int, number: int, share: float, p_chance: float, clear: int) -> Standing:
    if hits >= FEWEST and p_chance <= CHANCE_AT_MOST:
        return "tied"
    if clear >= FEWEST and clear > hits and clear > number / 2.0:
        return "not-tied"
    return "cannot-tell"
