"""How a recording stands at one moment: what the screen shows, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING

from satdiag.rows import parse_number, parse_time_us

if TYPE_CHECKING:
    from satdiag.recorder.last_seen import Level
    from satdiag.recorder.loop import Recorder
    from satdiag.recorder.runner import Runner

EXPOSURE_EVERY_S = 5.0
"""The exposure clock is computed anew this often, and less often where that would take more than a fiftieth of it."""


@dataclass(frozen=True)
class SourceStatus:
    """One source. `state`: opening, open (nothing heard yet), listening, silent, lost, ended.

    `age_s`: since its last line; None before one.
    """

    name: str
    where: str
    state: str
    trouble: str
    age_s: float | None
    lines: int
    rows: int
    not_understood: int
    lost_lines: int
    summary: str


@dataclass(frozen=True)
class LevelNow:
    """The latest level of a path, as it was written, and its age; the age is None where no clock tells it."""

    path: str
    value: str
    unit: str
    age_s: float | None


@dataclass(frozen=True)
class Status:
    """A recording at one moment.

    `held`: rows and lines taken and not yet written, of at most `room`. `store_trouble`: why nothing can be written
    now, blank if all is well. `authorised` .. `other`: channels as last seen. `expected`: how many should play, None
    if no line-up tells. `exposure_s`, `exposure_max_s`: the bounds of the exposure clock; None before a look.
    """

    job: str
    run: str
    seconds: float
    sources: tuple[SourceStatus, ...]
    rows_written: int
    held: int
    room: int
    commit_age_s: float | None
    store_trouble: str
    levels: tuple[LevelNow, ...]
    authorised: int
    refused: int
    other: int
    expected: int | None
    exposure_s: float | None
    exposure_max_s: float | None
    answer: str

    @property
    def heard(self) -> int:
        """How many sources are heard now."""
        return sum(source.state == "listening" for source in self.sources)


class StatusTaker:
    """Takes the status of a recorder; keeps what is costly to compute for a while."""

    def __init__(self, recorder: Recorder) -> None:
        self._recorder = recorder
        self._next_look_s = 0.0
        self._exposure: tuple[float | None, float | None] = (None, None)
        self._rows_looked_at = -1

    def take(self) -> Status:
        """The status now."""
        recorder = self._recorder
        self._look()
        writer, (counts, levels) = recorder.writer, recorder.last_seen()
        last = writer.last_commit_s
        return Status(
            job=recorder.job_id,
            run=recorder.run,
            seconds=recorder.desk.elapsed_s(recorder.clock.now()),
            sources=tuple(self._source(runner) for runner in recorder.runners),
            rows_written=writer.rows_written,
            held=writer.held,
            room=writer.room,
            commit_age_s=None if last is None else monotonic() - last,
            store_trouble=writer.trouble,
            levels=self._levels(levels),
            authorised=counts.authorised,
            refused=counts.refused,
            other=counts.other,
            expected=recorder.expected,
            exposure_s=self._exposure[0],
            exposure_max_s=self._exposure[1],
            answer=recorder.answer,
        )

    def _look(self) -> None:
        """Compute the exposure clock, if it is time to."""
        begun = monotonic()
        written = self._recorder.writer.rows_written
        if begun < self._next_look_s or written == self._rows_looked_at:
            return
        lower_s, upper_s = self._recorder.thin().exposure()
        self._exposure, self._rows_looked_at = (lower_s, upper_s), written
        self._next_look_s = monotonic() + max(EXPOSURE_EVERY_S, 50 * (monotonic() - begun))

    def _source(self, runner: Runner) -> SourceStatus:
        heard, now_ns = runner.heard, self._recorder.clock.now().mono_ns
        last_ns = heard.last_line_ns
        return SourceStatus(
            name=runner.source.name,
            where=runner.source.where,
            state=heard.state,
            trouble=heard.trouble,
            age_s=None if last_ns is None else max(0.0, (now_ns - last_ns) / 1e9),
            lines=heard.lines,
            rows=heard.rows,
            not_understood=heard.not_understood,
            lost_lines=heard.lost_lines,
            summary=runner.source.summary(),
        )

    def _levels(self, levels: Sequence[Level]) -> tuple[LevelNow, ...]:
        """The levels with their ages: by the monotonic clock for this run's own rows, else by the wall clock."""
        now, recorder = self._recorder.clock.now(), self._recorder
        elapsed_s = recorder.desk.elapsed_s(now)
        found = []
        for level in levels:
            counted_s = parse_number(level.elapsed_s) if level.run == recorder.run else None
            time_us = parse_time_us(level.time, None)
            age_s: float | None = None
            if counted_s is not None:
                age_s = elapsed_s - counted_s
            elif time_us is not None:
                age_s = (now.wall_ns // 1000 - time_us) / 1e6
            found.append(LevelNow(level.path, level.value, level.unit, age_s))
        return tuple(found)
