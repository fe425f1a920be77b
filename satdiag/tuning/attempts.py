"""Channel changes from their marks: when each was requested, when audio and title came, and what ended the wait.

An attempt starts at `requested`. Another `requested`, off or standby, a gap of the source it was marked by, or the
last row (of the job, or of a visit: nobody waits for a title overnight) ends one that is still open; what had not
come by then is right-censored there. Every mark is used once: it opens an attempt, fills it or ends it, or it says
again what an attempt within the last moments holds already, or it fits none (a stray).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Literal, NamedTuple

from satdiag.exposure import SKY_SOURCE, era_start_s
from satdiag.job import Job
from satdiag.tuning.delays import mark_resolution_s

EndedBy = Literal["done", "refused", "abandoned", "requested", "off", "gap", "last-row"]

MOMENTS_S = 1.0
"""Two presses of one channel, or two hands' marks of one thing, this close together are one (judgement, no source).
Less than the quickest change takes, so that a second change to the same channel is not taken for the first."""

_MARK_ORDER = ("audio", "title", "refused", "abandoned")
_CUT_ORDER = ("off", "gap", "last-row")


@dataclass(frozen=True)
class Attempt:
    """One channel change. `start_s` is seconds since the job's first row; all else seconds since `requested`.

    `audio_s` and `title_s` are None where the mark did not come; `end_s` is then when the wait for it ended.
    `ended_by` is None only while the attempt is open. `from_memory`: a mark was set later, so it times nothing.
    `source` is what logged the press, blank if unknown.
    """

    channel: int
    start_s: float
    audio_s: float | None = None
    title_s: float | None = None
    end_s: float = 0.0
    ended_by: EndedBy | None = None
    from_memory: bool = False
    source: str = ""

    @property
    def refused(self) -> bool:
        """True if the channel answered with a refusal instead of audio."""
        return self.ended_by == "refused" and self.audio_s is None


@dataclass(frozen=True)
class Attempts:
    """All channel changes of the receiver now fitted, in order of time.

    `refused` are those that a refusal answered, `from_memory` those that were not timed, `timed` all others.
    `stray_marks`: how many marks fit no open attempt; `repeated_marks`: how many said a second time what was marked.
    """

    timed: tuple[Attempt, ...]
    refused: tuple[Attempt, ...]
    from_memory: tuple[Attempt, ...]
    stray_marks: int
    repeated_marks: int
    resolution_s: float


class _Mark(NamedTuple):
    t_s: float
    what: str
    channel: int
    span_s: float
    source: str


class _Cut(NamedTuple):
    t_s: float
    by: EndedBy
    source: str


class _Builder:
    """Attempts as they come out of marks and cuts that are handed over in order of time."""

    def __init__(self) -> None:
        self.found: list[Attempt] = []
        self.open: Attempt | None = None
        self.stray = 0
        self.repeated = 0
        self._last: dict[tuple[int, str], float] = {}

    def request(self, mark: _Mark) -> None:
        """A press: another one of the open attempt's channel within moments is the same press."""
        if self.open is not None and self.open.channel == mark.channel:
            fresh = self.open.audio_s is None and self.open.title_s is None
            if fresh and mark.t_s - self.open.start_s <= MOMENTS_S:
                self.repeated += 1
                return
        self._close(mark.t_s, "requested")
        self.open = Attempt(mark.channel, mark.t_s, from_memory=mark.span_s > MOMENTS_S, source=mark.source)

    def answer(self, mark: _Mark) -> None:
        """Audio, title, refused or abandoned."""
        fits = self.fits(mark)
        last_s = self._last.get((mark.channel, mark.what))
        if fits and self.open is not None:
            self._last[mark.channel, mark.what] = mark.t_s
            self.open = _marked(self.open, mark)
            if self.open.ended_by is not None:
                self.found.append(self.open)
                self.open = None
        elif last_s is not None and (self._is_held(mark) or mark.t_s - last_s <= MOMENTS_S):
            self.repeated += 1
        else:
            self.stray += 1

    def fits(self, mark: _Mark) -> bool:
        """True if the mark tells the open attempt something that it does not hold yet."""
        return self.open is not None and self.open.channel == mark.channel and not self._is_held(mark)

    def _is_held(self, mark: _Mark) -> bool:
        if self.open is None or self.open.channel != mark.channel:
            return False
        came_s = {"audio": self.open.audio_s, "title": self.open.title_s}.get(mark.what)
        return came_s is not None

    def cut(self, cut: _Cut) -> None:
        """Off, a gap or the end; a gap of one source says nothing of what another one marked."""
        if self.open is None:
            return
        other = cut.by == "gap" and self.open.source not in ("", cut.source)
        if not other:
            self._close(cut.t_s, cut.by)

    def _close(self, t_s: float, by: EndedBy) -> None:
        if self.open is not None:
            self.found.append(_ended(self.open, t_s, by))
        self.open = None


def tuning_attempts(job: Job) -> Attempts:
    """The channel changes since the last `swap,receiver`, in order of time."""
    builder = _Builder()
    marks = list(_marks(job))
    events: list[_Mark | _Cut] = [*marks, *_cuts(job)]
    events.sort(key=lambda event: event.t_s)
    for _, group in groupby(events, key=lambda event: event.t_s):
        _take_instant(builder, list(group), marks)
    resolution_s = mark_resolution_s(job)
    refused = tuple(attempt for attempt in builder.found if attempt.refused)
    others = [attempt for attempt in builder.found if not attempt.refused]
    timed = tuple(attempt for attempt in others if not attempt.from_memory)
    memory = tuple(attempt for attempt in others if attempt.from_memory)
    return Attempts(timed, refused, memory, builder.stray, builder.repeated, resolution_s)


def _take_instant(builder: _Builder, events: list[_Mark | _Cut], marks: list[_Mark]) -> None:
    """What stands at one instant, whatever the order of its rows: what answers the open attempt comes before the
    next press, and what was heard was heard before the cut."""
    here = [event for event in events if isinstance(event, _Mark)]
    answers = sorted((mark for mark in here if mark.what != "requested"), key=_answer_order)
    presses = [mark for mark in here if mark.what == "requested"]
    late = []
    for mark in answers:
        if builder.fits(mark):
            builder.answer(mark)
        else:
            late.append(mark)
    for mark in _presses_in_order(presses, marks):
        builder.request(mark)
    for mark in late:
        builder.answer(mark)
    cuts = (event for event in events if isinstance(event, _Cut))
    for cut in sorted(cuts, key=lambda cut: (_CUT_ORDER.index(cut.by), cut.source)):
        builder.cut(cut)


def _answer_order(mark: _Mark) -> tuple[int, int]:
    return _MARK_ORDER.index(mark.what), mark.channel


def _presses_in_order(presses: list[_Mark], marks: list[_Mark]) -> list[_Mark]:
    """Presses of several channels at one instant: last, and so kept open, the one that is answered soonest."""
    if len(presses) < 2:
        return presses

    def answered_s(press: _Mark) -> float:
        after = (m.t_s for m in marks if m.channel == press.channel and m.what != "requested" and m.t_s > press.t_s)
        return min(after, default=float("inf"))

    return sorted(presses, key=lambda press: (-answered_s(press), press.channel))


def _marks(job: Job) -> Iterator[_Mark]:
    rows = job.select("tune")
    rows = rows[(rows["t_s"] >= era_start_s(job)).to_numpy()]
    columns = (rows[name].to_numpy() for name in ("t_s", "value", "subject", "span_s", "source"))
    for t_s, value, channel, span_s, source in zip(*columns, strict=True):
        span = float(span_s)
        yield _Mark(float(t_s), str(value), int(channel), span if span > 0 else 0.0, str(source))


def _cuts(job: Job) -> Iterator[_Cut]:
    power, gaps = job.select("power"), job.select("gap")
    for t_s, value in zip(power["t_s"], power["value"], strict=True):
        if value in ("off", "standby"):
            yield _Cut(float(t_s), "off", "")
    for end_s, span_s, source in zip(gaps["t_s"], gaps["span_s"], gaps["subject"], strict=True):
        if source.partition(":")[0].partition("/")[0] != SKY_SOURCE:
            span = float(span_s)
            yield _Cut(float(end_s) - (span if span > 0 else 0.0), "gap", str(source))
    for visit in job.visits:
        yield _Cut(visit.end_s, "last-row", "")


def _after_s(attempt: Attempt, t_s: float) -> float:
    """Seconds since `requested` to the microsecond of the log, so that equal delays are equal numbers."""
    return round(t_s - attempt.start_s, 6)


def _ended(attempt: Attempt, t_s: float, by: EndedBy) -> Attempt:
    return replace(attempt, end_s=_after_s(attempt, t_s), ended_by=by)


def _marked(attempt: Attempt, mark: _Mark) -> Attempt:
    """The attempt after a mark of its own channel that it does not hold yet."""
    if mark.span_s > MOMENTS_S:
        attempt = replace(attempt, from_memory=True)
    after_s = _after_s(attempt, mark.t_s)
    if mark.what == "refused":
        return _ended(attempt, mark.t_s, "refused")
    if mark.what == "abandoned":
        return _ended(attempt, mark.t_s, "abandoned")
    attempt = replace(attempt, audio_s=after_s) if mark.what == "audio" else replace(attempt, title_s=after_s)
    if attempt.audio_s is not None and attempt.title_s is not None:
        return _ended(attempt, mark.t_s, "done")
    return attempt
