"""Devices to listen to that need no hardware: a pseudo-terminal, a TCP server, an RFC 2217 server. All are real."""

from __future__ import annotations

import os
import selectors
import socket
import threading
import time
from collections.abc import Callable

import serial
import serial.rfc2217


def until(true: Callable[[], object], seconds: float = 60.0) -> bool:
    """Wait until `true()` holds; False if it never did in that time."""
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            return False
        time.sleep(0.005)
    return True


def quickest(attempt: Callable[[], object], enough_s: float, attempts: int = 30) -> float:
    """Seconds of the quickest of several attempts, until one took no longer than `enough_s`.

    A busy computer holds up one or the other; what waits too long by itself does so every time.
    """
    best = float("inf")
    for _ in range(attempts):
        begin = time.monotonic()
        attempt()
        best = min(best, time.monotonic() - begin)
        if best <= enough_s:
            break
    return best


def at_some_pace(attempt: Callable[[float], object]) -> None:
    """Try what is against the clock ever slower, until it holds; `attempt` is told how many times as slowly.

    For what cannot wait for an event: a busy computer is late at one pace and not at the next, a defect at all.
    """
    for slowly in (1.0, 2.0, 4.0, 8.0):
        try:
            attempt(slowly)
        except AssertionError:
            continue
        return
    attempt(16.0)


class PtyDevice:
    """A device at one end of a pseudo-terminal (POSIX); a source opens `where`. Use it as a context manager.

    `unplug` takes it away as a pulled plug does, `replug` brings it back under the same name: `where` is a link, as
    those that udev makes. `written` is all that the other end wrote to it.
    """

    def __init__(self, folder: os.PathLike[str]) -> None:
        self.where = os.path.join(folder, "port")
        self._master = self._slave = -1

    def __enter__(self) -> PtyDevice:
        self.replug()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    def replug(self) -> None:
        """Plug it in."""
        import pty
        import tty

        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        os.symlink(os.ttyname(self._slave), self.where)

    def unplug(self) -> None:
        """Pull the plug. May be called twice."""
        if self._master < 0:
            return
        os.unlink(self.where)
        os.close(self._master)
        os.close(self._slave)
        self._master = self._slave = -1

    def say(self, data: bytes) -> None:
        """Send bytes, all of them."""
        while data:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                time.sleep(0.001)

    def written(self) -> bytes:
        """What was written to the device since the last call."""
        data = b""
        while True:
            try:
                data += os.read(self._master, 4096)
            except BlockingIOError:
                return data


class TcpDevice:
    """A device behind a TCP server: what `say` sends goes to whoever is connected. Use it as a context manager.

    `unplug` ends the connection and the server, `replug` starts the server again at the same port.
    """

    def __init__(self) -> None:
        self._server: socket.socket | None = None
        self._peer: socket.socket | None = None
        self._port = 0

    def __enter__(self) -> TcpDevice:
        self.replug()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    @property
    def where(self) -> str:
        """The URL of the device."""
        return f"socket://127.0.0.1:{self._port}"

    def replug(self) -> None:
        """Start the server."""
        self._server = socket.create_server(("127.0.0.1", self._port))
        self._server.settimeout(60)
        self._port = self._server.getsockname()[1]

    def unplug(self) -> None:
        """End the connection and the server. May be called twice."""
        for one in (self._peer, self._server):
            if one is not None:
                one.close()
        self._peer = self._server = None

    def _connected(self) -> socket.socket:
        if self._peer is not None and self._peer_has_gone():
            self._peer.close()
            self._peer = None
        if self._peer is None:
            assert self._server is not None
            self._peer, _ = self._server.accept()
            time.sleep(0.05)  # pyserial drops what arrives between its connecting and its being open
        return self._peer

    def _peer_has_gone(self) -> bool:
        assert self._peer is not None
        self._peer.setblocking(False)
        try:
            return self._peer.recv(1, socket.MSG_PEEK) == b""
        except BlockingIOError:
            return False
        except ConnectionError:
            return True
        finally:
            self._peer.setblocking(True)

    def hang_up(self) -> None:
        """End the connection only; the next one may come."""
        self._connected().close()
        self._peer = None

    def say(self, data: bytes) -> None:
        """Send bytes, all of them, to whoever is connected."""
        self._connected().sendall(data)

    def written(self) -> bytes:
        """What was sent to the device since the last call."""
        peer, data = self._connected(), b""
        peer.setblocking(False)
        try:
            while part := peer.recv(4096):
                data += part
        except BlockingIOError:
            pass
        peer.setblocking(True)
        return data


class Rfc2217Device:
    """A converter after RFC 2217, made of pyserial's own server part; `port` is the port it drives (an echo)."""

    def __init__(self) -> None:
        self.port = serial.serial_for_url("loop://", timeout=0)
        self._server = socket.create_server(("127.0.0.1", 0))
        self.where = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}"
        self._peer: socket.socket | None = None
        self._wake, self._woken = socket.socketpair()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._serve, name="rfc2217 device")

    def __enter__(self) -> Rfc2217Device:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._wake.close()
        self._thread.join(60)
        for one in (self._server, self._peer, self._woken):
            if one is not None:
                one.close()
        self.port.close()

    def write(self, data: bytes) -> None:
        """What the server part sends to the client."""
        assert self._peer is not None
        with self._lock:
            self._peer.sendall(data)

    def say(self, data: bytes) -> None:
        """Send the device's bytes, escaped as telnet wants it."""
        self.write(b"".join(self._manager.escape(data)))

    def hang_up(self) -> None:
        """End the connection."""
        assert self._peer is not None
        self._peer.shutdown(socket.SHUT_RDWR)

    def _serve(self) -> None:
        with selectors.DefaultSelector() as ready:
            ready.register(self._server, selectors.EVENT_READ)
            ready.register(self._woken, selectors.EVENT_READ)
            while True:
                for key, _ in ready.select():
                    if key.fileobj is self._woken:
                        return
                    if key.fileobj is self._server:
                        self._peer, _ = self._server.accept()
                        self._manager = serial.rfc2217.PortManager(self.port, self)
                        ready.register(self._peer, selectors.EVENT_READ)
                    elif data := self._peer.recv(4096):
                        for byte in self._manager.filter(data):
                            self.port.write(byte)
                    else:
                        ready.unregister(self._peer)
