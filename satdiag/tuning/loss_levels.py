"""Do titles lose more blocks while the level is low? The changes joined to the levels around them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.job import Job
from satdiag.language import tell
from satdiag.signal.levels import shadow_step
from satdiag.tuning.attempts import Attempt
from satdiag.tuning.block_loss import WIDEST_INTERVAL, LossPosterior, TwoLosses

Floats = NDArray[np.float64]

NEAR_S = 60.0
"""A level read this close to the wait for a title still speaks of it (judgement, no source)."""

FEWEST_EACH = 6
"""Changes at low and at high level each (judgement, no source)."""

CLEAR_CUT = 0.95
"""How sure it must be that one loses more than the other, to say so."""


@dataclass(frozen=True, eq=False)
class Parted:
    """Changes below and above a level (in `unit`) that was chosen without the titles, and those without a level."""

    split: float
    unit: str
    low: tuple[Attempt, ...]
    high: tuple[Attempt, ...]
    unknown: tuple[Attempt, ...]


def parted_by_level(job: Job, attempts: Sequence[Attempt]) -> Parted | str:
    """The changes at low and at high level, or a sentence that says why they cannot be parted."""
    unit, level = levels_near(job, attempts)
    if unit is None:
        return tell("no level was logged near the channel changes: block loss not compared with the level")
    split = split_level(level[~np.isnan(level)], shadow_step(unit))
    if isinstance(split, str):
        return split
    low, high, unknown = (
        tuple(attempt for attempt, here in zip(attempts, kept, strict=True) if here)
        for kept in (level < split, level >= split, np.isnan(level))
    )
    return Parted(split, unit, low, high, unknown)


def tells(found: TwoLosses) -> bool:
    """True if the two losses are told apart, or each is known well enough to say that they are not."""
    wide = max(_width(found.first), _width(found.second)) > WIDEST_INTERVAL
    return not wide or max(found.p_first_more, 1.0 - found.p_first_more) >= CLEAR_CUT


def _width(posterior: LossPosterior) -> float:
    low, high = posterior.interval_90
    return high - low


def levels_near(job: Job, attempts: Sequence[Attempt]) -> tuple[str | None, Floats]:
    """The level of the best path around the wait for each title, shape (n,), NaN where none was read; and its unit.

    Of each path the median of what was read from `NEAR_S` before the press to `NEAR_S` after the wait, of a longer
    wait its first `NEAR_S`. Only levels in the unit that most rows have: units are not converted.
    """
    level = np.full(len(attempts), np.nan)
    rows = job.select("signal")
    if rows.empty or not attempts:
        return None, level
    unit = str(rows["unit"].value_counts().index[0])
    rows = rows[(rows["unit"] == unit).to_numpy()]
    begin_s = np.array([attempt.start_s - NEAR_S for attempt in attempts])
    wait_s = [attempt.end_s if attempt.title_s is None else attempt.title_s for attempt in attempts]
    end_s = begin_s + NEAR_S + np.minimum(wait_s, NEAR_S) + NEAR_S
    for _, path in rows.groupby("subject", observed=True):
        level = np.fmax(level, _medians(path, begin_s, end_s))
    return (unit, level) if not np.isnan(level).all() else (None, level)


def _medians(path: pd.DataFrame, begin_s: Floats, end_s: Floats) -> Floats:
    t_s, values = path["t_s"].to_numpy(dtype=float), path["number"].to_numpy(dtype=float)
    first, last = np.searchsorted(t_s, begin_s, side="left"), np.searchsorted(t_s, end_s, side="right")
    spans = zip(first.tolist(), last.tolist(), strict=True)
    return np.array([median(values[one:two].tolist()) if two > one else np.nan for one, two in spans])


def split_level(level: Floats, step: float) -> float | str:
    """The level that parts the changes into the two groups that are each most alike, or why there is none.

    Groups of at least `FEWEST_EACH`, their medians at least `step` apart (what the signal room calls a shadow).
    Otsu, IEEE Trans. Systems, Man, Cybernetics 9 (1979) 62-66.
    """
    if len(level) < 2 * FEWEST_EACH:
        return tell("too few channel changes have a level near them: block loss not compared with the level")
    ranked = np.sort(level)
    at = np.arange(FEWEST_EACH, len(ranked) - FEWEST_EACH + 1)
    at = at[ranked[at - 1] < ranked[at]]
    below, total, n = np.cumsum(ranked)[at - 1], ranked.sum(), len(ranked)
    between = at * (n - at) * (below / at - (total - below) / (n - at)) ** 2
    best = int(at[int(np.argmax(between))]) if len(at) else 0
    if not best or np.median(ranked[best:]) - np.median(ranked[:best]) < step:
        return tell("the level hardly differed between channel changes: block loss not compared with the level")
    return float((ranked[best - 1] + ranked[best]) / 2.0)
