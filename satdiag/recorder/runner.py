"""Runs one source in a thread of its own: opens it, hands on what it hears, writes down when it cannot be heard.

A source that fails is said once, tried again with growing pauses, and the others go on.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
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
        self._settled_s = 0.0
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
                pause_s = FIRST_PAUSE_S if self._listen() else min(2 * pause_s, LONGEST_PAUSE_S)
                self._pause(pause_s)
        except SatdiagError as error:  # the writer has ended: nothing can be kept any more
            self._now("ended", str(error))
        finally:
            self._finish()

    def _pause(self, pause_s: float) -> None:
        if not self.ended:
            self._stop.wait(pause_s)
            self._mind()

    def _listen(self) -> bool:
        """Open, and read until the source is lost, silent, ended or not wanted any more; True if it was heard."""
        before = self.heard.lines
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
            self._take(self.source.close())
        return self.heard.lines > before

    def _opened(self) -> None:
        self._quiet_since = self._looked_at = self._clock.now()
        self._never_opened = None
        if self._absences.value == "lost":
            self._absences.end(self._quiet_since)
        if self._absences.value != "silent":
            self._now("listening", "")

    def _silent(self) -> bool:
        """True if nothing was heard for too long: then the source is opened anew, as its link may be dead."""
        limit_s = self.source.silent_after_s
        now, before = self._clock.now(), self._looked_at
        self._looked_at = now
        if (now.mono_ns - before.mono_ns) / 1e9 > HOLE_S:
            self._settled_s = monotonic() + SETTLE_S
        quiet_s = (now.mono_ns - self._quiet_since.mono_ns) / 1e9
        if limit_s is None or quiet_s < limit_s or monotonic() < self._settled_s:
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
        if (state, trouble) == (self.heard.state, self.heard.trouble):
            return
        came_back = state == "listening" and self.heard.state in ("lost", "silent")
        first = self.heard.state == "opening"
        changed = state != self.heard.state
        self.heard.state, self.heard.trouble = state, trouble
        if changed and (trouble or came_back or (first and state == "listening")):
            words = {"lost": "not heard", "silent": "silent", "listening": "heard again", "ended": "ended"}[state]
            words = "listening" if first and state == "listening" else words
            self._say(f"{self.source.name} ({self.source.where}): {words}{': ' + trouble if trouble else ''}")

    # --- lines on their way ----------------------------------------------------------------------------------------

    def _take(self, lines: Sequence[Line]) -> None:
        good = [line for line in lines if not line.why]
        if good:
            self._quiet_since = good[-1].at
            if self._absences.value:
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
            batch = Batch(batch.rows, batch.parts, lambda: acknowledge(ids), batch.urgent, batch.items)
        if self._hand_on(batch):
            self.heard.rows += len(batch.rows)
        else:
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
        """Write down what could not be heard or kept, as far as there is room for it."""
        now = self._clock.now()
        while self._holes:
            since, until = self._holes.popleft()
            self._absences.hole(since, until, "the computer slept or could not run")
            self._quiet_since = max(self._quiet_since, until, key=lambda moment: moment.mono_ns)
        self._absences.tick(now)
        if self._absences.spilling and self._writer.has_room:
            self._absences.stop_spilling(now)
        while self._absences.pending:
            at, gap = self._absences.pending[0]
            if not self._writer.put(self._desk.own(at, [gap]), 0.0):
                return
            self._absences.pending.pop(0)

    def _finish(self) -> None:
        now = self._clock.now()
        self._absences.end(now)
        self._absences.stop_spilling(now)
        gaps = [self._desk.own(at, [gap]) for at, gap in self._absences.pending]
        try:
            for batch in gaps:
                self._writer.put(batch, PATIENCE_S)
        except SatdiagError:
            pass  # the writer has ended, and says why itself
