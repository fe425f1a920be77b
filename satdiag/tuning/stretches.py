"""Which changes speak of the vehicle as it is now, and which of earlier visits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.exposure import era_start_s
from satdiag.job import Job
from satdiag.tuning.attempts import Attempt

FEWEST_NOW = 5
"""With fewer changes at the last visit those of the visit before it are taken too (judgement, no source)."""


@dataclass(frozen=True)
class Stretches:
    """The changes to judge, and the timed changes of each visit that has some, in order of time.

    `since_s`: where the changes to judge begin, None if they are all. `earlier`: those of visits before them.
    `last`: those to judge of the last visit; `joined`: of how many visits the changes to judge are.
    """

    now: tuple[Attempt, ...]
    since_s: float | None
    earlier: tuple[Attempt, ...]
    visits: tuple[tuple[Attempt, ...], ...]
    last: tuple[Attempt, ...]
    joined: int


def stretches_of(job: Job, timed: Sequence[Attempt]) -> Stretches:
    """Parts the timed changes: those to judge are of the last visit, and since a part or place was changed for a
    better one; earlier visits are added while there are fewer than `FEWEST_NOW`, but none before such a change."""
    visits = tuple(
        part
        for visit in job.visits
        if (part := tuple(one for one in timed if visit.start_s <= one.start_s <= visit.end_s))
    )
    first_s = _last_better_s(job, timed)
    now: tuple[Attempt, ...] = ()
    last: tuple[Attempt, ...] = ()
    left = list(visits)
    while left and len(now) < FEWEST_NOW and (kept := tuple(one for one in left[-1] if one.start_s >= first_s)):
        now, last = kept + now, last or kept
        left.pop()
    since_s = now[0].start_s if len(now) < len(timed) else None
    return Stretches(
        now, since_s, tuple(one for visit in left for one in visit), visits, last, len(visits) - len(left)
    )


def _last_better_s(job: Job, timed: Sequence[Attempt]) -> float:
    """When a part or the place was last changed for a better one with a change timed since, else the start."""
    swaps = job.select("swap")
    better = swaps[(swaps["value"] == "better").to_numpy()]["t_s"].to_numpy(dtype=float)
    last_s = timed[-1].start_s if timed else 0.0
    return max((float(t) for t in better if t <= last_s), default=era_start_s(job))
