"""The view 'Change timing': how long changes took, whether they are slow, and how it was at visits before.

Medians, ranges and judgements are those of the findings; the single times behind them are read off the same attempts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from satdiag.findings import instant_text
from satdiag.language import mark, tell, translated
from satdiag.live.views.timing_words import head_of, row_text, said_of
from satdiag.report.local_time import LocalTime, local_time_of
from satdiag.report.words import sentence
from satdiag.tuning.attempts import Attempt, tuning_attempts
from satdiag.tuning.delays import Delays, delays
from satdiag.tuning.estimate import delay_findings
from satdiag.tuning.stretches import Stretches, stretches_of

if TYPE_CHECKING:
    from satdiag.findings import DelayFindings, Findings, TuningFindings
    from satdiag.job import Job

Mark = Literal["audio", "title"]

EARLIER = 3
"""So many visits before are drawn at most: the telephone is small."""
BEYOND = 1.5
"""The scale reaches at least so many times the line."""
TITLES: dict[Mark, str] = {"audio": mark("to the sound"), "title": mark("to the title")}


@dataclass(frozen=True)
class Group:
    """Timed changes that are drawn together, a row for each mark; each of `rows`: (mark, what was found, times)."""

    title: str
    rows: tuple[tuple[Mark, DelayFindings, Delays], ...]


def view(job: Job, findings: Findings) -> dict[str, Any]:
    """What the page shows. Times are seconds.

    `state`: 'slow', 'normal', 'go-on' or 'none'; `line_s`: from which a median to the sound is slow; `end_s`: where
    the scale ends. Each row's `times`: [seconds, whether the mark came]; `high`: None for an open end.
    """
    found = findings.tuning
    groups = list(_groups(job, found))
    state, head = head_of(found)
    return {
        "state": state,
        "head": head,
        "said": said_of(found),
        "beside": _beside(found),
        "could_not": [sentence(text) for text in found.could_not],
        "line_s": found.slow_above_s,
        "end_s": _end_s(groups, found.slow_above_s or 0.0),
        "groups": [_told(group) for group in groups],
    }


def _beside(found: TuningFindings) -> str:
    """The last visit beside the one before, where the findings' text does not say it already."""
    text = found.earlier_visit.text if found.earlier_visit else ""
    return "" if text in found.text else text


def _groups(job: Job, found: TuningFindings) -> Iterator[Group]:
    """The changes that are judged first, with the figures of the findings; then visits before, the last one first."""
    timed = tuning_attempts(job).timed
    if not timed or found.audio_s is None:
        return
    parts = stretches_of(job, timed)
    judged: list[tuple[Mark, DelayFindings, Delays]] = [("audio", found.audio_s, delays(parts.now, "audio"))]
    if found.title_s is not None:
        judged.append(("title", found.title_s, delays(parts.now, "title")))
    local = local_time_of(job)
    yield Group(_title(job, parts, local), tuple(judged))
    if parts.joined > 1:
        yield Group(tell("The last visit alone"), (_audio(parts.last),))
    elif before := tuple(one for one in parts.visits[-1] if one not in parts.now):
        yield Group(tell("Before that, at the same visit"), (_audio(before),))
    for visit in parts.visits[-2 : -2 - EARLIER : -1]:
        yield Group(tell("Visit of {moment}", moment=_moment(job, visit, local)), (_audio(visit),))


def _audio(attempts: tuple[Attempt, ...]) -> tuple[Mark, DelayFindings, Delays]:
    sample = delays(attempts, "audio")
    return "audio", delay_findings(sample), sample


def _title(job: Job, parts: Stretches, local: LocalTime) -> str:
    """What the changes that are judged are of."""
    if parts.joined > 1 and parts.since_s is None:
        return tell("All visits together")
    moment = _moment(job, parts.now, local)
    if parts.joined == 1 and parts.now == parts.visits[-1]:
        return tell("Visit of {moment}", moment=moment)
    return tell("Since {moment}", moment=moment)


def _moment(job: Job, attempts: tuple[Attempt, ...], local: LocalTime) -> str:
    """When the first of them was begun, on the wall's clock; its zone, since the telephone's may be another."""
    moment = local.text(instant_text(job.instant(attempts[0].start_s)))
    return tell("{moment} ({zone})", moment=moment, zone=local.name)


def _end_s(groups: list[Group], line_s: float) -> float:
    """Where the scale ends: past the line and the longest time that came; a wait that ended may lie beyond."""
    samples = [sample for group in groups for *_, sample in group.rows if sample.came.any()]
    came = [float(sample.duration_s[sample.came].max()) for sample in samples]
    return max([BEYOND * line_s, 1.0, *(1.1 * longest for longest in came)])


def _told(group: Group) -> dict[str, Any]:
    return {"title": group.title, "rows": [_row(group.title, *row) for row in group.rows]}


def _row(group: str, what: Mark, found: DelayFindings, sample: Delays) -> dict[str, Any]:
    low, high = found.median_90 or (None, None)
    times = sorted(zip(sample.duration_s.tolist(), sample.came.tolist(), strict=True))
    title = translated(TITLES[what])
    return {
        "mark": what,
        "title": title,
        "text": row_text(found),
        "alt": tell("{visit}, {mark}: {said}.", visit=group, mark=title, said=row_text(found)),
        "median": found.median,
        "low": low,
        "high": high,
        "ranged": found.median_90 is not None,
        "times": times,
    }
