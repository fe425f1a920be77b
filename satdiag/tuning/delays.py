"""Right-censored delays of channel changes, and how finely their marks are timed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from satdiag.job import Job

if TYPE_CHECKING:
    from satdiag.tuning.attempts import Attempt

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Delays:
    """A right-censored sample: seconds, and whether the mark came (True) or the wait ended (False), shape (n,)."""

    duration_s: Floats
    came: NDArray[np.bool_]
    given_up: int

    def __len__(self) -> int:
        return len(self.duration_s)


def delays(attempts: Sequence[Attempt], mark: Literal["audio", "title"]) -> Delays:
    """The delays from `requested` to a mark, censored where it did not come."""
    came_s = [attempt.audio_s if mark == "audio" else attempt.title_s for attempt in attempts]
    waited = [
        attempt.end_s if delay_s is None else delay_s for attempt, delay_s in zip(attempts, came_s, strict=True)
    ]
    given_up = sum(
        delay_s is None and attempt.ended_by == "abandoned" for attempt, delay_s in zip(attempts, came_s, strict=True)
    )
    came = np.array([delay_s is not None for delay_s in came_s], dtype=bool)
    return Delays(np.array(waited, dtype=float), came, given_up)


STEPS_S = (60.0, 10.0, 1.0)
FINEST_S = 0.1
"""No hand marks a moment more finely than this (judgement, no source)."""
FEWEST_MARKS = 6


def mark_resolution_s(job: Job, start_s: float = -np.inf, end_s: float = np.inf) -> float:
    """The step in which the marks are timed, read off the marks: the largest step that all of them are multiples of.

    Of the marks from `start_s` to `end_s`, in seconds since the job's first row. Fewer than `FEWEST_MARKS` could be
    round by chance; steps above a second are then not considered.
    """
    rows = job.select("tune")
    rows = rows[rows["t_s"].between(start_s, end_s).to_numpy()]
    microseconds = rows["at"].to_numpy().astype("datetime64[us]").astype("int64")
    steps = STEPS_S if len(microseconds) >= FEWEST_MARKS else STEPS_S[-1:]
    for step_s in steps:
        if not (microseconds % round(step_s * 1e6)).any():
            return step_s
    return FINEST_S
