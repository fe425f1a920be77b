"""Runs one source in a thread of its own: opens it, hands on what it hears, writes down when it cannot be heard.

A source that fails is said once, tried again with growing pauses, and the others go on.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from time import monotonic

from satdiag.errors import SatdiagError
from satdiag.recorder.absence import Absences
from satdiag.recorder.clock import Clock
from satdiag.recorder.desk import Desk
from satdiag.recorder.heard import WAIT_S, Line, Moment, Source, SourceEnded, SourceTrouble
from satdiag.recorder.writer import Batch, Writer

PATIENCE_S = 2.0
"""How long a source that cannot wait holds its lines when there is no room, before they count as lost."""

HOLE_S = 10.0
"""If the program could not run for so long, nothing was heard in that time: the computer slept."""

STEADY_S = 2.0
"""A link that was lost and holds for so long is there again, also if nothing was said yet."""

SETTLE_S = 1.0
"""After a jump of the time nothing is called silent for so long: the supervisor may find that it was a sleep."""

FIRST_PAUSE_S = 0.2
LONGEST_PAUSE_S = 5.0


@dataclass
class Heard:
    """What is known of a source while it runs; written by its thread, read by the screen."""

    state: str = "opening"
    trouble: str = ""
    last_line_ns: int | None = None
    lines: int = 0
    rows: int = 0
    not_understood: int = 0
    lost_lines: int = 0
    last_why: str = ""


class Runner:
    """One source and its thread. `say` is told, once each time, what a person should know.

    `acknowledge` gets the ids of rows when they are committed.
    """

    def __init__(
        self,
        source: Source,
        desk: Desk,
        writer: Writer,
        clock: Clock,
        say: Callable[[str], None],
        acknowledge: Callable[[Sequence[str]], None] | None = None,
    ) -> None:
        self.source, self.heard = source, Heard()
        self._desk, self._writer, self._clock, self._say, self._acknowledge = desk, writer, clock, say, acknowledge
        self._stop = threading.Event()
        self._absences = Absences(source.name)
        self._holes: deque[tuple[Moment, Moment]] = deque()
        self._quiet_since = self._looked_at = clock.now()
        self._open_since = self._looked_at
        self._jump = (self._looked_at, self._looked_at)
        self._settled_s = 0.0
        self._understood = 0
        self._never_opened: Moment | None = None
        self._thread = threading.Thread(target=self._run, name=f"source {source.name}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """Ask it to end; `join` waits for it."""
        self._stop.set()

    def join(self, timeout_s: float) -> bool:
        """True if it has ended."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def hole(self, since: Moment, at: Moment) -> None:
        """The computer slept, or could not run, between the two moments: nothing was heard then."""
        self._holes.append((since, at))

    @property
    def ended(self) -> bool:
        """True if nothing more can come of it."""
        return self.heard.state == "ended"

    # --- the thread ------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        pause_s = FIRST_PAUSE_S
        try:
            self._never_opened = self._clock.now()
            while not self._stop.is_set() and not self.ended:
                if self._listen():
                    pause_s = FIRST_PAUSE_S
                if self.heard.state == "lost":  # a silent one is opened anew at once: what it says meanwhile is lost
                    self._stop.wait(pause_s)
                    pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
                self._mind()
        except SatdiagError as error:  # the writer has ended: nothing can be kept any more
            self._now("ended", str(error))
        finally:
            self._finish()

    def _listen(self) -> bool:
        """Open, and read until the source is lost, silent, ended or not wanted; True if a line was understood."""
        before = self._understood
        try:
            self.source.open()
            self._opened()
            while not self._stop.is_set() and not self._silent():
                self._take(self.source.read())
        except SourceEnded:
            self._take(self.source.close())
            self._absences.end(self._clock.now())
            self._now("ended", "")
        except SourceTrouble as trouble:
            self._lost(str(trouble))
        except SatdiagError:
            raise
        except Exception as error:  # noqa: BLE001 (an error of one source must not end the others)
            self._lost(f"{type(error).__name__}: {error}")
        finally:
            self._take(self.source.close(), left=True)
        return self._understood > before

    def _opened(self) -> None:
        self._open_since = self._quiet_since = self._looked_at = self._clock.now()
        self._never_opened = None
        if not self._absences.value:
            self._now("open", "")

    def _silent(self) -> bool:
        """True if nothing was heard for too long: then the source is opened anew, as its link may be dead."""
        limit_s = self.source.silent_after_s
        now, before = self._clock.now(), self._looked_at
        self._looked_at = now
        if seconds(before, now) > HOLE_S:
            self._jump = (before, now)
            self._settled_s = monotonic() + SETTLE_S
        if self._absences.value == "lost" and seconds(self._open_since, now) >= STEADY_S:
            self._absences.end(now)  # a link that holds is there, though nothing was said yet
            self._now("open", "")
        if limit_s is None or seconds(self._quiet_since, now) < limit_s or monotonic() < self._settled_s:
            return False
        if self._absences.value != "silent":
            self._now("silent", f"no line for {limit_s:g} s")
            self._absences.begin("silent", self._quiet_since, "")
        return True

    def _lost(self, text: str) -> None:
        self._absences.begin("lost", self._never_opened or self._clock.now(), text)
        self._now("lost", text)

    def _now(self, state: str, trouble: str) -> None:
        """Note a new state, and say it once."""
        before, self.heard.state, self.heard.trouble = self.heard.state, state, trouble
        if state == before or (state, before) == ("listening", "open"):
            return
        words = {"lost": "not heard", "silent": "silent", "listening": "heard again", "open": "open again"}
        if before == "opening" and state in ("open", "listening"):
            word = "listening"
        elif state == "ended":
            word = "ended" if trouble else ""
        else:
            word = words[state]
        if word:
            self._say(f"{self.source.name} ({self.source.where}): {word}{': ' + trouble if trouble else ''}")

    # --- lines on their way ----------------------------------------------------------------------------------------

    def _take(self, lines: Sequence[Line], left: bool = False) -> None:
        """Hand lines on; those that were `left` when the source was closed do not tell that it is heard."""
        good = [line for line in lines if not line.why and (line.readings or line.data.strip())]
        self._understood += len(good)
        if good and not left:
            self._quiet_since = good[-1].at
            self._absences.end(good[0].at)
            self._now("listening", "")
        self._mind()
        if not lines:
            return
        self.heard.last_line_ns = lines[-1].at.mono_ns
        taken = self._desk.take(self.source, lines)
        self.heard.lines += len(lines)
        self.heard.not_understood += taken.not_understood
        self.heard.last_why = taken.why or self.heard.last_why
        batch = taken.batch
        if self._acknowledge is not None and taken.ids:
            ids, acknowledge = taken.ids, self._acknowledge
            batch = replace(batch, committed=lambda: acknowledge(ids))
        if self._hand_on(batch):
            self.heard.rows += len(batch.rows)
        else:
            self._desk.ids.void(taken.ids)
            self.heard.lost_lines += len(lines)
            self._absences.spill(len(lines), lines[0].at)

    def _hand_on(self, batch: Batch) -> bool:
        """Give a batch to the writer; a source that may be slowed waits as long as it takes."""
        if not self.source.can_wait:
            return self._writer.put(batch, 0.0 if self._absences.spilling else PATIENCE_S)
        while not self._writer.put(batch, WAIT_S):
            if self._stop.is_set():
                return False
        return True

    def _mind(self) -> None:
        """Write down what could not be heard or kept."""
        now = self._clock.now()
        while self._holes and self._holes[0][1].mono_ns <= self._looked_at.mono_ns:
            self._sleep(*self._holes.popleft())
        self._absences.tick(now)
        if self._absences.spilling and self._writer.has_room:
            self._absences.stop_spilling(now)
        self._write_gaps()

    def _sleep(self, since: Moment, until: Moment) -> None:
        """The supervisor could not run for a while: a gap, if this thread could not either."""
        begin, end = self._jump
        if begin.mono_ns >= until.mono_ns or end.mono_ns <= since.mono_ns:
            return
        self._absences.hole(since, until, "the computer slept or could not run")
        self._quiet_since = max(self._quiet_since, until, key=lambda moment: moment.mono_ns)

    def _write_gaps(self) -> None:
        while self._absences.pending:
            at, gap = self._absences.pending.pop(0)
            batch = self._desk.own(at, [gap])
            if not batch.rows:
                self._say(f"{self.source.name}: that it was {gap.value} for {gap.span_s} s could not be logged.")
            self._writer.put(batch, 0.0, always=True)

    def _finish(self) -> None:
        now = self._clock.now()
        self._absences.end(now)
        self._absences.stop_spilling(now)
        with suppress(SatdiagError):  # the writer has ended, and says why itself
            self._write_gaps()


def seconds(since: Moment, until: Moment) -> float:
    """From one moment to another, on the monotonic clock."""
    return (until.mono_ns - since.mono_ns) / 1e9
