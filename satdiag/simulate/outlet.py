"""Where a live device is heard: the common part of a socket and a pseudo terminal, and the socket.

An outlet never waits for a reader. Without one, what is said is lost; one that does not read loses whole pieces.
"""

from __future__ import annotations

import contextlib
import select
import socket
import sys
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import NamedTuple

MOST_WAITING = 65536
"""Bytes kept for a reader that is slow; more are dropped."""
IN_USE = b"; in use by another reader\r\n"
TRY_AGAIN_S = 0.5


class Say(NamedTuple):
    """Where remarks go: `warn` for what a person must know, `detail` for what was done and who came and left."""

    warn: Callable[[str], None]
    detail: Callable[[str], None]


class Waiting:
    """Bytes on their way to a reader, at most `MOST_WAITING`. What does not fit is dropped, and said."""

    def __init__(self, say: Say) -> None:
        self.data = bytearray()
        self.dropped = 0
        self._say = say

    def add(self, data: bytes) -> None:
        """Keep bytes, or drop them; once dropping, until half of the room is free again."""
        if self.dropped and len(self.data) <= MOST_WAITING // 2:
            self._end_of_drop()
        if self.dropped or len(self.data) + len(data) > MOST_WAITING:
            if not self.dropped:
                self._say.warn("The reader does not read; what is said is dropped.")
            self.dropped += len(data)
            return
        self.data += data

    def write_with(self, write: Callable[[bytearray], int]) -> None:
        """Hand over as much as the reader takes now. Raises OSError if it has left."""
        with contextlib.suppress(BlockingIOError):
            while self.data:
                del self.data[: write(self.data)]

    def clear(self) -> None:
        """The reader has left."""
        self.data.clear()
        if self.dropped:
            self._end_of_drop()

    def _end_of_drop(self) -> None:
        self._say.warn(f"{self.dropped} bytes were dropped because the reader did not read.")
        self.dropped = 0


class Outlet(ABC):
    """One wire with at most one reader. `where` is what a reader opens."""

    where: str

    @abstractmethod
    def send(self, data: bytes) -> None:
        """Say something; lost without a reader. Never waits."""

    @abstractmethod
    def unplug(self) -> None:
        """Pull the plug: the reader loses the connection, and `where` is not there."""

    @abstractmethod
    def plug(self) -> None:
        """Put the plug in again: `where` is there as before."""

    @abstractmethod
    def turn(self, wait_s: float) -> None:
        """See to readers that come, leave or read, for about `wait_s`."""

    @abstractmethod
    def close(self) -> None:
        """Give everything back. May be called twice."""


class SocketOutlet(Outlet):
    """A TCP server on 127.0.0.1 (port 0: one is chosen) with one reader at a time. Raises OSError if it cannot be."""

    def __init__(self, port: int, say: Say) -> None:
        self._say = say
        self._waiting = Waiting(say)
        self._client: socket.socket | None = None
        self._listener: socket.socket | None = _listen(port)
        self._port: int = self._listener.getsockname()[1]
        self._plugged, self._next_try_s = True, 0.0
        self.where = f"socket://127.0.0.1:{self._port}"

    def send(self, data: bytes) -> None:
        if self._client is not None and data:
            self._waiting.add(data)
            self._flush()

    def unplug(self) -> None:
        self._plugged = False
        self._drop_listener()
        self._drop_client()

    def plug(self) -> None:
        self._plugged = True
        if self._listener is None:
            self._listen_again()

    def turn(self, wait_s: float) -> None:
        if self._listener is None:
            time.sleep(wait_s)
            if self._plugged and time.monotonic() >= self._next_try_s:
                self._listen_again()
            return
        reads = [self._listener] if self._client is None else [self._client, self._listener]
        writes = [self._client] if self._client is not None and self._waiting.data else []
        ready, free, _ = select.select(reads, writes, [], wait_s)
        if self._client in ready:  # before the listener: one that left may be coming back
            self._see_whether_left()
        if self._client in free:
            self._flush()
        if self._listener in ready:
            self._accept()

    def close(self) -> None:
        self.unplug()

    def _listen_again(self) -> None:
        try:
            self._listener = _listen(self._port)
        except OSError as error:
            if not self._next_try_s:
                self._say.warn(f"Cannot listen on {self.where} again ({error.strerror}); trying on.")
            self._next_try_s = time.monotonic() + TRY_AGAIN_S
            return
        self._next_try_s = 0.0

    def _accept(self) -> None:
        assert self._listener is not None
        try:
            client, _ = self._listener.accept()
        except OSError:  # it left before it was let in
            return
        client.setblocking(False)
        if self._client is not None:
            with contextlib.suppress(OSError):
                client.send(IN_USE)
            client.close()
            self._say.detail("a second reader was turned away")
            return
        # Small, so that a reader that pauses does not find minutes of old lines.
        client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, MOST_WAITING)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = client
        self._say.detail("a reader has come")

    def _see_whether_left(self) -> None:
        assert self._client is not None
        try:
            left = not self._client.recv(4096)  # what a reader sends is not listened to
        except BlockingIOError:
            left = False
        except OSError:
            left = True
        if left:
            self._drop_client()

    def _flush(self) -> None:
        assert self._client is not None
        try:
            self._waiting.write_with(self._client.send)
        except OSError:
            self._drop_client()

    def _drop_listener(self) -> None:
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def _drop_client(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
            self._waiting.clear()
            self._say.detail("the reader is gone")


def _listen(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # a port closed a moment ago may be taken again; there it may be anyway
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setblocking(False)
        listener.bind(("127.0.0.1", port))
        listener.listen(1)
    except OSError:
        listener.close()
        raise
    return listener
