"""How a recording is asked to stop: Ctrl-C, the end of the session, a closed window. A second Ctrl-C insists."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import TYPE_CHECKING, Any, Protocol

from satdiag.errors import SatdiagError

if TYPE_CHECKING:
    from satdiag.recorder.loop import Summary

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
_CONSOLE_CLOSED = (2, 5, 6)  # CTRL_CLOSE_EVENT, CTRL_LOGOFF_EVENT, CTRL_SHUTDOWN_EVENT (wincon.h, from memory)


class Recording(Protocol):
    """What is begun and stopped: a recorder, or what has one in it."""

    def start(self) -> None:
        """Begin. Raises SatdiagError."""

    def stop(self, patience_s: float = ...) -> Summary:
        """End, waiting so long for a full medium; may be called again with less patience."""


def begin_to_end(
    recording: Recording, work: Callable[[threading.Event], None], at_end: Callable[[Summary], None]
) -> tuple[Summary, bool]:
    """Start a recording, do `work` until it returns (its event is set when someone asks to stop), and stop.

    `at_end` is called while a closed window still waits for us. Returns what it came to, and True if someone insisted
    on an end that does not wait for a full medium. Raises SatdiagError if it could not begin.
    """
    done = threading.Event()
    with stopping(done) as asked:
        try:
            recording.start()
            try:
                with suppress(SatdiagError):  # the summary tells what ended the writer
                    work(asked)
            finally:
                summary, insisted = _stopped(recording)
                at_end(summary)
            return summary, insisted
        finally:
            done.set()


def _stopped(recording: Recording) -> tuple[Summary, bool]:
    try:
        return recording.stop(), False
    except KeyboardInterrupt:
        return recording.stop(patience_s=0.0), True


@contextmanager
def stopping(done: threading.Event) -> Iterator[threading.Event]:
    """An event that is set when someone asks to stop. `done` is to be set when all is closed: Windows waits for it.

    A second Ctrl-C raises KeyboardInterrupt, for whoever does not want to wait.
    """
    asked = threading.Event()

    def ask(number: int, frame: FrameType | None) -> None:
        if asked.is_set() and number == signal.SIGINT:
            raise KeyboardInterrupt
        asked.set()

    before: dict[int, Any] = {}
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is None or threading.current_thread() is not threading.main_thread():
            continue
        if signal.getsignal(number) is not signal.SIG_IGN:  # nohup and the like know what they want
            before[number] = signal.signal(number, ask)
    forget = _watch_console(asked, done)
    try:
        yield asked
    finally:
        forget()
        for number, handler in before.items():
            signal.signal(number, handler)


if sys.platform == "win32":

    def _watch_console(asked: threading.Event, done: threading.Event) -> Callable[[], object]:
        """A closed window leaves a program a few seconds; they are used to close the file."""
        import ctypes

        @ctypes.WINFUNCTYPE(ctypes.c_int, ctypes.c_uint)
        def handler(event: int) -> int:
            if event not in _CONSOLE_CLOSED:
                return 0
            asked.set()
            done.wait(4.5)
            return 1

        kernel = ctypes.windll.kernel32
        kernel.SetConsoleCtrlHandler(handler, 1)
        return lambda: kernel.SetConsoleCtrlHandler(handler, 0)

else:

    def _watch_console(asked: threading.Event, done: threading.Event) -> Callable[[], object]:
        """Elsewhere a closed window sends a signal."""
        return lambda: None
