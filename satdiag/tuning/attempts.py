"""Channel changes from their marks: when each was requested, when audio and title came, and what ended the wait.

An attempt starts at `requested`. Another `requested`, off or standby, a gap or the last row (of the job, or of a
visit: nobody waits for a title overnight) ends one that is still open; what had not come by then is right-censored
there. Marks that fit no open attempt are counted and left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from satdiag.exposure import SKY_SOURCE, era_start_s
from satdiag.job import Job

EndedBy = Literal["done", "refused", "abandoned", "requested", "off", "gap", "last-row"]

_MARKS, _CUTS = 0, 1  # at one instant the marks come first: what was heard was heard before the cut


@dataclass(frozen=True)
class Attempt:
    """One channel change. `start_s` is seconds since the job's first row; all else seconds since `requested`.

    `audio_s` and `title_s` are None where the mark did not come; `end_s` is then when the wait for it ended.
    `ended_by` is None only while the attempt is open.
    """

    channel: int
    start_s: float
    audio_s: float | None = None
    title_s: float | None = None
    end_s: float = 0.0
    ended_by: EndedBy | None = None

    @property
    def refused(self) -> bool:
        """True if the channel answered with a refusal instead of audio."""
        return self.ended_by == "refused" and self.audio_s is None


@dataclass(frozen=True)
class Attempts:
    """All channel changes of the receiver now fitted. `stray_marks`: how many marks fit no open attempt."""

    timed: tuple[Attempt, ...]
    refused: tuple[Attempt, ...]
    stray_marks: int
    resolution_s: float


@dataclass(frozen=True, eq=False)
class Delays:
    """A right-censored sample: seconds, and whether the mark came (True) or the wait ended (False), shape (n,)."""

    duration_s: NDArray[np.float64]
    came: NDArray[np.bool_]
    given_up: int


class _Event(NamedTuple):
    t_s: float
    order: int
    number: int
    what: str
    channel: int


def tuning_attempts(job: Job) -> Attempts:
    """The channel changes since the last `swap,receiver`, in order of time."""
    found: list[Attempt] = []
    current: Attempt | None = None
    stray = 0
    for event in sorted([*_marks(job), *_cuts(job)]):
        if event.what == "requested":
            if current is not None:
                found.append(_ended(current, event.t_s, "requested"))
            current = Attempt(event.channel, event.t_s)
        elif event.order == _CUTS:
            if current is not None:
                found.append(_ended(current, event.t_s, _CUT_NAMES[event.what]))
            current = None
        elif current is None or event.channel != current.channel:
            stray += 1
        else:
            current = _marked(current, event.t_s, event.what)
            if current.ended_by is not None:
                found.append(current)
                current = None
    timed = tuple(attempt for attempt in found if not attempt.refused)
    refused = tuple(attempt for attempt in found if attempt.refused)
    return Attempts(timed, refused, stray, mark_resolution_s(job))


_CUT_NAMES: dict[str, EndedBy] = {"off": "off", "standby": "off", "gap": "gap", "last-row": "last-row"}


def _marks(job: Job) -> Iterator[_Event]:
    rows = job.select("tune")
    rows = rows[(rows["t_s"] >= era_start_s(job)).to_numpy()]
    for number, (t_s, value, channel) in enumerate(zip(rows["t_s"], rows["value"], rows["subject"], strict=True)):
        yield _Event(float(t_s), _MARKS, number, str(value), int(channel))


def _cuts(job: Job) -> Iterator[_Event]:
    power, gaps = job.select("power"), job.select("gap")
    for t_s, value in zip(power["t_s"], power["value"], strict=True):
        if value in ("off", "standby"):
            yield _Event(float(t_s), _CUTS, 0, str(value), -1)
    for end_s, span_s, source in zip(gaps["t_s"], gaps["span_s"], gaps["subject"], strict=True):
        if source.partition(":")[0] != SKY_SOURCE:
            yield _Event(float(end_s - span_s), _CUTS, 0, "gap", -1)
    for visit in job.visits:
        yield _Event(visit.end_s, _CUTS, 1, "last-row", -1)


def _after_s(attempt: Attempt, t_s: float) -> float:
    """Seconds since `requested` to the microsecond of the log, so that equal delays are equal numbers."""
    return round(t_s - attempt.start_s, 6)


def _ended(attempt: Attempt, t_s: float, by: EndedBy) -> Attempt:
    return replace(attempt, end_s=_after_s(attempt, t_s), ended_by=by)


def _marked(attempt: Attempt, t_s: float, mark: str) -> Attempt:
    """The attempt after a mark of its own channel; a repeated mark changes nothing."""
    after_s = _after_s(attempt, t_s)
    if mark == "audio" and attempt.audio_s is None:
        attempt = replace(attempt, audio_s=after_s)
    elif mark == "title" and attempt.title_s is None:
        attempt = replace(attempt, title_s=after_s)
    elif mark in ("refused", "abandoned"):
        return _ended(attempt, t_s, "refused" if mark == "refused" else "abandoned")
    if attempt.audio_s is not None and attempt.title_s is not None:
        return _ended(attempt, t_s, "done")
    return attempt


def delays(attempts: tuple[Attempt, ...], mark: Literal["audio", "title"]) -> Delays:
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


def mark_resolution_s(job: Job) -> float:
    """The step in which the marks are timed, read off the marks: the largest step that all of them are multiples of.

    Fewer than `FEWEST_MARKS` marks could be round by chance; steps above a second are then not considered.
    """
    microseconds = job.select("tune")["at"].to_numpy().astype("datetime64[us]").astype("int64")
    steps = STEPS_S if len(microseconds) >= FEWEST_MARKS else STEPS_S[-1:]
    for step_s in steps:
        if not (microseconds % round(step_s * 1e6)).any():
            return step_s
    return FINEST_S
