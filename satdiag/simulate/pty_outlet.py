"""A pseudo terminal as outlet: like a serial port with one path that stays, also when the plug was pulled.

The path is a symbolic link in a temporary folder; each time the plug is put in it points to a new pseudo terminal.
Not on Windows, which has none; import this module only where there are.
"""

from __future__ import annotations

import contextlib
import os
import select
import sys
import tempfile
import time
from pathlib import Path

from satdiag.simulate.outlet import Outlet, Say, Waiting

if sys.platform == "win32":
    raise ImportError("Windows has no pseudo terminals")


class PtyOutlet(Outlet):
    """The far end of a pseudo terminal, raw from the start. Raises OSError if there is none to be had."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._waiting = Waiting(say)
        self._master: int | None = None
        self._slave_path = ""
        self._heard = False  # a reader has it open
        self._folder = tempfile.TemporaryDirectory(prefix="satdiag-simulate-")
        self._link = Path(self._folder.name, "receiver")
        self.where = str(self._link)
        try:
            self.plug()
        except OSError:
            self._folder.cleanup()
            raise

    def send(self, data: bytes) -> None:
        if self._master is not None and self._heard and data:
            self._waiting.add(data)
            self._flush()

    def unplug(self) -> None:
        self._link.unlink(missing_ok=True)
        if self._master is not None:
            os.close(self._master)
            self._master = None
        self._left()

    def plug(self) -> None:
        if self._master is not None:
            return
        import tty

        master, slave = os.openpty()
        try:
            tty.setraw(slave)
            self._slave_path = os.ttyname(slave)
            os.set_blocking(master, False)
            fresh = self._link.with_name("next")
            fresh.symlink_to(self._slave_path)
            fresh.replace(self._link)
        except OSError:
            os.close(master)
            raise
        finally:
            os.close(slave)  # only a reader holds it open: that is how one is noticed
        self._master = master

    def turn(self, wait_s: float) -> None:
        until_s = time.monotonic() + wait_s
        if self._master is None or not self._look(self._master):
            time.sleep(wait_s)
            return
        poll = select.poll()
        poll.register(self._master, select.POLLIN | (select.POLLOUT if self._waiting.data else 0))
        poll.poll(max(0.0, until_s - time.monotonic()) * 1000)
        with contextlib.suppress(OSError):
            os.read(self._master, 4096)  # what a reader sends is not listened to
        if self._look(self._master):
            self._flush()

    def close(self) -> None:
        self.unplug()
        self._folder.cleanup()

    def _look(self, master: int) -> bool:
        """Whether a reader has the other end open; notices one that comes or leaves."""
        poll = select.poll()
        poll.register(master, 0)
        there = not any(event & (select.POLLHUP | select.POLLERR) for _, event in poll.poll(0))
        if there and not self._heard:
            self._heard = True
            self._say.detail("a reader has come")
        elif self._heard and not there:
            self._left()
            self._forget_unread()
        return there

    def _left(self) -> None:
        if self._heard:
            self._heard = False
            self._waiting.clear()
            self._say.detail("the reader is gone")

    def _forget_unread(self) -> None:
        """A closed serial port keeps nothing: what the last reader left must not greet the next one."""
        import termios

        with contextlib.suppress(OSError, termios.error):
            slave = os.open(self._slave_path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            try:
                termios.tcflush(slave, termios.TCIFLUSH)
            finally:
                os.close(slave)

    def _flush(self) -> None:
        master = self._master
        assert master is not None
        with contextlib.suppress(OSError):  # left just now: the next look notices
            self._waiting.write_with(lambda data: os.write(master, data))
