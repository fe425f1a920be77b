"""The recorder: one supervisor over several sources, one writer, and the rows the recorder writes of itself."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from satdiag.entitlement.channels import expected_channels
from satdiag.errors import SatdiagError
from satdiag.recorder.clock import Clock, StepWatch, time_text
from satdiag.recorder.desk import BY_HAND, RECORDER, Desk, next_run
from satdiag.recorder.hand import Entered, HandEntry
from satdiag.recorder.heard import Line, Moment, Reading, Source
from satdiag.recorder.last_seen import ChannelCounts, Level
from satdiag.recorder.runner import HOLE_S, Runner
from satdiag.recorder.thin_log import ThinLog
from satdiag.recorder.writer import PATIENCE_S, ROOM, Batch, Writer, joined
from satdiag.rows import MAX_SECONDS, parse_time_us

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.rows import Row

JOIN_S = 5.0

ROOM_WAIT_S = 1.0
"""How long what was typed waits for room."""


class ByHand(Source):
    """What a person types while recording; the words are the rows, so nothing is kept beside them."""

    name = BY_HAND
    where = "typed in"
    keeps = "nothing"

    def open(self) -> None:
        """Nothing to open."""

    def read(self) -> list[Line]:
        """Nothing comes by itself: `Recorder.enter` hands it in."""
        return []

    def close(self) -> list[Line]:
        """Nothing is left."""
        return []


@dataclass(frozen=True)
class SourceTotal:
    """One source's figures at the end."""

    name: str
    where: str
    lines: int
    rows: int
    not_understood: int
    lost_lines: int
    state: str
    trouble: str
    last_why: str


@dataclass(frozen=True)
class Summary:
    """What a run came to. `unwritten` and `unwritten_parts` (document, bytes) could not be written.

    `left_word`: what is left to do, or blank.
    """

    place: Path
    run: str
    seconds: float
    rows_written: int
    sources: tuple[SourceTotal, ...]
    unwritten: tuple[Row, ...]
    unwritten_parts: tuple[tuple[str, bytes], ...]
    left_word: str
    error: SatdiagError | None


class Recorder:
    """Records from several sources into one job file until it is stopped.

    `say` gets what a person should be told, one line at a time; `acknowledge` the ids of rows once they are
    committed. Both are called from several threads. Call `tick` several times a second.
    """

    def __init__(
        self,
        place: Path,
        sources: Sequence[Source],
        clock: Clock | None = None,
        say: Callable[[str], None] = lambda text: None,
        acknowledge: Callable[[Sequence[str]], None] | None = None,
        room: int = ROOM,
    ) -> None:
        self.place, self.clock = place, clock or Clock()
        self._sources, self._say, self._acknowledge = tuple(sources), say, acknowledge
        self._thin_lock = threading.Lock()
        self._thin_broken = False
        self.writer = Writer(place, self._committed, room)
        self.runners: tuple[Runner, ...] = ()
        self._by_hand = ByHand()
        self.answer = ""

    # --- begin and end ---------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Open and check the job file, then start every source. Raises what is wrong with the file."""
        self.began = self.clock.now()
        self._watch, self._last_tick = StepWatch(self.began), self.began
        job = self.writer.start(self._begin_run)
        self.desk = Desk(job, self.run, self.began)
        self.hand = HandEntry.of_job(job)
        self.job_id, self.expected = job.sheet.id, expected_count(job)
        if self.writer.unclean_run:
            self._write_unclean_gap(job, self.writer.unclean_run)
        self.writer.job = None
        self.runners = tuple(
            Runner(source, self.desk, self.writer, self.clock, self._say, self._acknowledge)
            for source in self._sources
        )
        for runner in self.runners:
            runner.start()

    def _begin_run(self, job: Job) -> tuple[str, str]:
        """Called on the writer's thread before it takes anything."""
        self.run = next_run(job)
        self._thin = ThinLog.of_job(job)
        return self.run, time_text(self.began.wall_ns)

    def _write_unclean_gap(self, job: Job, run: str) -> None:
        """An earlier run ended without closing: from its last row until now its sources were not heard."""
        rows = [row for row in job.rows if row.run == run]
        names = dict.fromkeys(row.source for row in rows if row.source not in (BY_HAND, RECORDER, ""))
        names |= dict.fromkeys(row.subject for row in rows if row.kind == "gap")
        if any(name.startswith(f"gnss-{run}.") for name in job.documents):
            names["gnss"] = None
        if not names:
            return
        # Without a row of it, or with a clock that was set back since, nobody knows how long it was.
        last_us = parse_time_us(rows[-1].time, job.sheet.naive_times) if rows else None
        span_s = 0.0 if last_us is None else (self.began.wall_ns / 1000 - last_us) / 1e6
        span = f"{span_s:.3f}" if 0 < span_s <= MAX_SECONDS else ""
        note = f"the run {run} ended without closing"
        self._write_own(self.began, [Reading("gap", name, "lost", note=note, span_s=span) for name in names])
        self._say(f"The last run ({run}) ended without closing; everything it had acknowledged is there.")

    def stop(self, patience_s: float = PATIENCE_S) -> Summary:
        """End every source, write what is held, close the file, waiting for a full medium as long as it is said.

        May be called again with less patience, if the first call was cut short.
        """
        with suppress(SatdiagError):  # if the writer has ended, it says why itself
            self._look_at_clocks()
        for runner in self.runners:
            runner.stop()
        for runner in self.runners:
            if not runner.join(min(JOIN_S, patience_s)):
                self._say(f"{runner.source.name} does not end; what it had handed over is kept.")
        unwritten = self.writer.close(patience_s)
        return Summary(
            place=self.place,
            run=self.run,
            seconds=self.desk.elapsed_s(self.clock.now()),
            rows_written=self.writer.rows_written,
            sources=tuple(_total(runner) for runner in self.runners),
            unwritten=tuple(row for batch in unwritten for row in batch.rows),
            unwritten_parts=tuple(joined(unwritten)),
            left_word=self.writer.left_word,
            error=self.writer.error,
        )

    @property
    def sources_ended(self) -> bool:
        """True if nothing more can come of any source; also if there are none."""
        return all(runner.ended for runner in self.runners)

    # --- while it runs ---------------------------------------------------------------------------------------------

    def tick(self) -> None:
        """Look at the clocks; raises the error that ended the writer."""
        if self.writer.error is not None:
            raise self.writer.error
        self._look_at_clocks()

    def _look_at_clocks(self) -> None:
        now, before = self.clock.now(), self._last_tick
        self._last_tick = now
        if (now.mono_ns - before.mono_ns) / 1e9 > HOLE_S:
            for runner in self.runners:
                runner.hole(before, now)
        step_s = self._watch.step_s(now)
        if step_s is not None:
            self._say(f"The computer's clock was set by {step_s:+.1f} s.")
            self._write_own(now, [Reading("clock", RECORDER, f"{step_s:.3f}", "s")])

    def _write_own(self, at: Moment, readings: Sequence[Reading]) -> None:
        """Write rows of the recorder's own; there is always room for them."""
        batch = self.desk.own(at, readings)
        if len(batch.rows) < len(readings):
            self._say("A step of the clock, or a gap, could not be logged.")
        self.writer.put(batch, 0.0, always=True)

    def enter(self, text: str, at: Moment | None = None) -> Entered:
        """What a person typed, heard now. Its rows are acknowledged by `answer` once they are committed."""
        entered = self.hand.enter(text)
        self.answer = entered.say
        if not entered.readings:
            return entered
        line = Line(at or self.clock.now(), text.encode(errors="replace"), entered.readings)
        taken = self.desk.take(self._by_hand, [line], urgent=True)
        if taken.why:
            self.answer = taken.why
            self.hand.refused()
            return Entered((), taken.why, False)
        ids = taken.ids

        def committed() -> None:
            self.answer = f"written: {text.strip()} ({ids[0]}{'' if len(ids) == 1 else f' to {ids[-1]}'})"
            if self._acknowledge is not None:
                self._acknowledge(ids)

        batch = taken.batch
        if not self.writer.put(Batch(batch.rows, (), committed, urgent=True, items=1), ROOM_WAIT_S):
            self.answer = "NOT taken: nothing can be written just now and there is no room left. Enter it again."
            self.desk.not_kept(batch.rows)
            self.hand.refused()
            return Entered((), self.answer, False)
        self.hand.committed(ids)  # the writer keeps the order: what takes it back is written after it
        return entered

    def _committed(self, rows: Sequence[Row]) -> None:
        """Called on the writer's thread: what fails here must not end the writing."""
        if self._thin_broken:
            return
        try:
            with self._thin_lock:
                self._thin.add(rows)
        except Exception as error:  # noqa: BLE001 (see above)
            self._thin_broken = True
            self._say(f"The screen's figures stand still ({type(error).__name__}: {error}); the rows are written.")

    def last_seen(self) -> tuple[ChannelCounts, tuple[Level, ...]]:
        """The channels as last seen, and the latest level of each path."""
        with self._thin_lock:
            return self._thin.channels(), self._thin.levels()

    def thin(self) -> ThinLog:
        """What the screen computes from: a copy that no other thread changes."""
        with self._thin_lock:
            return self._thin.copy()


def expected_count(job: Job) -> int | None:
    """How many channels should play, where a line-up tells; None where it is not known before they are seen."""
    return None if job.lineup is None else len(expected_channels(job, {}).channels)


def _total(runner: Runner) -> SourceTotal:
    heard = runner.heard
    return SourceTotal(
        name=runner.source.name,
        where=runner.source.where,
        lines=heard.lines,
        rows=heard.rows,
        not_understood=heard.not_understood,
        lost_lines=heard.lost_lines,
        state=heard.state,
        trouble=heard.trouble,
        last_why=heard.last_why,
    )
