"""Keys of a terminal and lines of a pipe, without ever keeping the caller waiting longer than it said.

A terminal is set so that each key comes at once and is not echoed; Ctrl-C stays a signal. It is set back at the end,
whatever happens. A recording that was put into the background leaves the terminal alone.
"""

from __future__ import annotations

import codecs
import os
import queue
import select
import signal
import sys
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Protocol

from satdiag.recorder.key_names import KeyReader, windows_key

ESCAPE_WAIT_S = 0.05
"""An escape character that nothing follows for so long is the key itself and not the start of a longer sequence."""

_POLL_S = 0.02
_PIECE = 65_536
LONGEST_LINE = 1_000_000
"""Bytes; a longer line of a pipe is cut there."""


class Keyboard(ABC):
    """Keys as they are pressed. `ended`: the terminal is gone, nothing more can come."""

    ended = False

    @abstractmethod
    def keys(self, wait_s: float) -> list[str]:
        """The keys pressed since the last call, waiting at most `wait_s` for the first; empty if there were none.

        A key is a character or a name: enter, tab, backspace, delete, left, right, home, end, up, down, escape,
        ctrl-a to ctrl-z.
        """


@contextmanager
def open_keyboard(fd: int | None = None) -> Iterator[Keyboard]:
    """The keyboard of a terminal (default: standard input) for as long as the context lasts."""
    if sys.platform == "win32":
        import msvcrt

        yield WindowsKeyboard(msvcrt)
    else:
        keyboard = PosixKeyboard(_stdin_fd() if fd is None else fd)
        try:
            yield keyboard
        finally:
            keyboard.restore()


def _stdin_fd() -> int:
    """The file descriptor of standard input, -1 if it is closed or has none."""
    try:
        return sys.stdin.fileno()
    except (OSError, ValueError, AttributeError):
        return -1


def _in_background(fd: int) -> bool:
    """True if the terminal now belongs to another job of the shell: touching it would stop this one."""
    if sys.platform == "win32":
        return False
    try:
        return os.tcgetpgrp(fd) not in (0, os.getpgrp())  # 0: a group that cannot be seen from here (tcgetpgrp(3))
    except OSError:  # not the terminal that this process was started from
        return False


def _piece(fd: int, wait_s: float) -> bytes | None:
    """What can be read within `wait_s`: None if nothing came, no bytes at the end (or if it is gone)."""
    try:
        ready = select.select([fd], [], [], max(wait_s, 0.0))[0]
        if not ready or _in_background(fd):  # it may have been stopped and sent there while it waited
            return None
        return os.read(fd, _PIECE)
    except BlockingIOError:
        return None
    except (OSError, ValueError):
        return b""


if sys.platform != "win32":
    import termios

    class PosixKeyboard(Keyboard):
        """The terminal behind a file descriptor, set to give each key at once until `restore`."""

        def __init__(self, fd: int) -> None:
            self._fd, self._reader = fd, KeyReader()
            self._before: list[Any] | None = None
            self._set()

        def keys(self, wait_s: float) -> list[str]:
            """See Keyboard."""
            if self.ended or _in_background(self._fd):
                time.sleep(wait_s)
                return []
            self._set()
            if self.ended:
                return []
            data = _piece(self._fd, min(wait_s, ESCAPE_WAIT_S) if self._reader.waits else wait_s)
            if data is None:
                return self._reader.flush()
            self.ended = not data
            return self._reader.feed(data)

        def _set(self) -> None:
            """Each key at once, unseen, signals kept; done anew if a shell has set the terminal otherwise meanwhile.

            Ctrl-S does not hold the output: a recording must go on drawing.
            """
            try:
                now = termios.tcgetattr(self._fd)
                wanted = list(now)
                wanted[0] &= ~termios.IXON
                wanted[3] &= ~(termios.ECHO | termios.ICANON | termios.IEXTEN)
                wanted[3] |= termios.ISIG
                if self._before is None:
                    self._before = list(now)
                if wanted[:4] != now[:4]:
                    wanted[6] = list(now[6])
                    wanted[6][termios.VMIN], wanted[6][termios.VTIME] = 1, 0
                    termios.tcsetattr(self._fd, termios.TCSANOW, wanted)
            except (termios.error, OSError, ValueError):
                self.ended = True

        def restore(self) -> None:
            """Set the terminal back as it was found. May be called twice."""
            before, self._before = self._before, None
            if before is None or _in_background(self._fd):
                return
            try:
                termios.tcsetattr(self._fd, termios.TCSADRAIN, before)
            except (termios.error, OSError, ValueError):
                self.ended = True


class Console(Protocol):
    """The part of the standard module `msvcrt` that is used."""

    def kbhit(self) -> bool:
        """True if a key waits."""

    def getwch(self) -> str:
        """The next key, unseen: one UTF-16 unit."""


class WindowsKeyboard(Keyboard):
    """The console of Windows."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def keys(self, wait_s: float) -> list[str]:
        """See Keyboard."""
        until = time.monotonic() + wait_s
        while not self._console.kbhit():
            left = until - time.monotonic()
            if left <= 0:
                return []
            time.sleep(min(_POLL_S, left))
        found: list[str] = []
        while self._console.kbhit():
            key = windows_key(self._console.getwch(), self._more)
            if key == "ctrl-c":
                signal.raise_signal(signal.SIGINT)
            elif key:
                found.append(key)
        return found

    def _more(self) -> str:
        """The next unit if it is there already, else blank."""
        return self._console.getwch() if self._console.kbhit() else ""


class PipeLines:
    """Lines of a standard input that is no terminal, or of a terminal that gives whole lines. A context manager.

    `ended`: nothing more can come; so from the start if standard input is closed. `threaded`: read in a thread of its
    own, for systems that cannot wait for a pipe.
    """

    def __init__(self, fd: int | None = None, threaded: bool = sys.platform == "win32") -> None:
        self._fd = _stdin_fd() if fd is None else fd
        self.ended = self._fd < 0
        self._decoder = codecs.getincrementaldecoder("utf-8-sig")("replace")
        self._begun = ""
        self._closing = threading.Event()
        self._pieces: queue.Queue[bytes] = queue.Queue(16)
        self._take: Callable[[float], bytes | None] = self._waiting if threaded else self._ready
        if threaded and not self.ended:
            threading.Thread(target=self._read_on, name="pipe", daemon=True).start()

    def __enter__(self) -> PipeLines:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._closing.set()
        self.ended = True

    def lines(self, wait_s: float) -> list[str]:
        """Whole lines without their ends, waiting at most `wait_s`. A last line without an end comes at the end."""
        if self.ended:
            return []
        data = self._take(wait_s)
        if data is None:
            return []
        self.ended = not data
        text = self._begun + self._decoder.decode(data, final=not data)
        *whole, self._begun = _cut(text)
        if self.ended and self._begun:
            whole, self._begun = [*whole, self._begun], ""
        return [line.removesuffix("\r") for line in whole]

    def _ready(self, wait_s: float) -> bytes | None:
        if os.isatty(self._fd) and _in_background(self._fd):
            time.sleep(wait_s)
            return None
        return _piece(self._fd, wait_s)

    def _waiting(self, wait_s: float) -> bytes | None:
        try:
            return self._pieces.get(timeout=max(wait_s, 0.001))
        except queue.Empty:
            return None

    def _read_on(self) -> None:
        """The thread: hands over what comes until the end; a read that never returns dies with the program."""
        data = b"."
        while data and not self._closing.is_set():
            try:
                data = os.read(self._fd, _PIECE)
            except OSError:
                data = b""
            while not self._closing.is_set():
                try:
                    self._pieces.put(data, timeout=0.2)
                    break
                except queue.Full:
                    continue


def _cut(text: str) -> Sequence[str]:
    """Text as lines; the last is the begun one, cut off into lines if it is too long."""
    *whole, begun = text.split("\n")
    while len(begun) > LONGEST_LINE:
        whole, begun = [*whole, begun[:LONGEST_LINE]], begun[LONGEST_LINE:]
    return [*whole, begun]
