"""One recording from start to end: screen or plain lines, keyboard or pipe, signals, and the summary."""

from __future__ import annotations

import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from time import monotonic
from typing import TYPE_CHECKING

from satdiag.language import counted
from satdiag.recorder.loop import Recorder, Summary
from satdiag.recorder.screen import PlainLines, duration, printable, render
from satdiag.recorder.status import StatusTaker
from satdiag.recorder.stopping import begin_to_end

if TYPE_CHECKING:
    from rich.console import Group
    from rich.live import Live

TICK_S = 0.2
REDRAW_S = 0.25
_RECENT = 4


class Voice:
    """What a person is told while it records: lines on the screen, or printed at once where there is none."""

    def __init__(self, echo: Callable[[str], None]) -> None:
        self._echo = echo
        self.recent: deque[str] = deque(maxlen=_RECENT)
        self.on_screen = False

    def __call__(self, text: str) -> None:
        """Tell it; from any thread."""
        text = printable(text)
        self.recent.append(text)
        if not self.on_screen:
            with suppress(OSError):  # nobody reads any more; that must not end a source
                self._echo(text)


class Session:
    """Runs a recorder until someone asks it to stop, `for_s` seconds are over, or no source has more to say."""

    def __init__(self, recorder: Recorder, voice: Voice, for_s: float | None = None) -> None:
        self._recorder, self._voice, self._for_s = recorder, voice, for_s
        self._status = StatusTaker(recorder)
        self._plain = PlainLines()

    def run(self, screen: bool, hand: bool, at_end: Callable[[Summary], None]) -> tuple[Summary, bool]:
        """Record; `screen`: draw on the terminal, `hand`: take what is typed or piped in.

        What is returned, and `at_end`: as `begin_to_end`.
        """

        def work(asked: threading.Event) -> None:
            with ExitStack() as stack:
                self._go_on(asked, self._steps(stack, screen, hand))

        return begin_to_end(self._recorder, work, at_end)

    def _go_on(self, asked: threading.Event, step: Callable[[], bool]) -> None:
        end_s = None if self._for_s is None else monotonic() + self._for_s
        while not asked.is_set() and (end_s is None or monotonic() < end_s):
            more_by_hand = step()
            if self._recorder.writer.error is not None:
                return
            self._recorder.tick()
            if self._recorder.sources_ended and not more_by_hand:
                return

    def _steps(self, stack: ExitStack, screen: bool, hand: bool) -> Callable[[], bool]:
        """What is done again and again, about every `TICK_S`; it returns True while more may be typed."""
        from satdiag.recorder.keyboard import PipeLines

        if screen and hand:
            return self._on_screen(stack)
        pipe = stack.enter_context(PipeLines()) if hand else None
        live = stack.enter_context(self._live()) if screen else None
        rest = threading.Event()

        def step() -> bool:
            if pipe is not None and not pipe.ended:
                for line in pipe.lines(TICK_S):
                    self._voice(self._entered(line))
            else:
                rest.wait(TICK_S)
            status = self._status.take()
            if live is not None:
                _draw(live, render(status, None, 0, (), live.console.width, tuple(self._voice.recent)))
            else:
                for line in self._plain.of(status):
                    self._voice(line)
            return pipe is not None and not pipe.ended

        return step

    def _entered(self, line: str) -> str:
        entered = self._recorder.enter(line)
        return entered.say or f"taken: {line}"

    def _on_screen(self, stack: ExitStack) -> Callable[[], bool]:
        """The screen with a line to type in."""
        from satdiag.recorder.keyboard import open_keyboard
        from satdiag.recorder.line_editor import LineEditor

        keyboard = stack.enter_context(open_keyboard())
        live = stack.enter_context(self._live())
        editor = LineEditor(self._recorder.hand.complete)
        drawn_s = 0.0

        def step() -> bool:
            nonlocal drawn_s
            keys = keyboard.keys(TICK_S)
            for key in keys:
                line = editor.feed(key)
                if line is not None and line.strip():
                    self._recorder.enter(line)
            if keys or monotonic() - drawn_s >= REDRAW_S:
                drawn_s = monotonic()
                status, width = self._status.take(), live.console.width
                recent = tuple(self._voice.recent)
                _draw(live, render(status, editor.text, editor.cursor, editor.choices, width, recent))
            return not keyboard.ended

        return step

    @contextmanager
    def _live(self) -> Iterator[Live]:
        """The part of the terminal that is drawn anew; what was said last stays when it ends."""
        from rich.console import Console
        from rich.live import Live

        live = Live(console=Console(file=sys.stderr), auto_refresh=False, transient=False)
        self._voice.on_screen = True
        try:
            live.start()
            yield live
        finally:
            self._voice.on_screen = False
            with suppress(OSError):  # the terminal is gone
                live.stop()


def _draw(live: Live, picture: Group) -> None:
    """Draw, if the terminal is still there; the recording does not depend on it."""
    with suppress(OSError):
        live.update(picture, refresh=True)


def summary_lines(summary: Summary) -> list[str]:
    """What a recording came to, for the person who ran it."""
    place = summary.place
    rows, lasted = counted(summary.rows_written, "row"), duration(summary.seconds)
    lines = [f"{place}: {rows} written in {lasted} (run {summary.run})."]
    for source in summary.sources:
        parts = [counted(source.lines, "line"), counted(source.rows, "row")]
        if source.not_understood:
            parts.append(f"{source.not_understood:,} not understood (the last: {source.last_why})")
        if source.lost_lines:
            parts.append(f"{counted(source.lost_lines, 'line')} LOST for want of room")
        if source.state in ("lost", "silent"):
            parts.append(f"not heard at the end: {source.trouble}")
        lines.append(f"  {source.name} ({source.where}): {', '.join(parts)}")
    if summary.left_word:
        lines.append(summary.left_word)
    if summary.error is None:
        lines.append(f"Next: satdiag analyse {place}")
    return lines
