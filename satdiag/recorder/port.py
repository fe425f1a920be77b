"""One port: opened without a word to the device, read in chunks, and every trouble of it said in plain words.

A port is a plain name (COM3, /dev/ttyUSB0) or one of the URLs in `SCHEMES`.
"""

from __future__ import annotations

import re
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qs, urlsplit

import serial
from serial.tools.list_ports import comports

from satdiag.csv_text import quoted
from satdiag.errors import SatdiagError
from satdiag.recorder.heard import WAIT_S, SourceTrouble
from satdiag.recorder.port_trouble import TROUBLES, gone, open_trouble

SCHEMES = {
    "socket": "a converter or program that hands out the bytes over TCP: socket://HOST:PORT",
    "rfc2217": "a converter whose speed can be set too (RFC 2217): rfc2217://HOST:PORT",
    "hwgrep": "the port whose description matches, wherever it is plugged in: hwgrep://VID:PID or hwgrep://SERIAL-NUMBER",
    "loop": "nothing but an echo, to try things out: loop://",
}
"""The URLs taken, on the command line only. Not taken: spy (writes a file), alt and cp2110 (other ways to open)."""

SETTINGS_OF = {
    "socket": ("logging",),
    "rfc2217": ("logging", "ign_set_control", "poll_modem", "timeout"),
    "loop": ("logging",),
}
"""The settings that a URL may carry behind its own '?'."""

CHUNK = 65536
WRITE_WAIT_S = 1.0
_HANDSHAKES = {"none": {}, "rtscts": {"rtscts": True}, "xonxoff": {"xonxoff": True}}

_ports = threading.Lock()
"""Held while ports are listed and while one is opened: on Windows the one makes the other fail."""


@dataclass(frozen=True)
class PortSettings:
    """How the line is driven. `parity`: none, even, odd, mark or space; `handshake`: none, rtscts or xonxoff."""

    baud: int = 115200
    data_bits: int = 8
    parity: str = "none"
    stop_bits: float = 1
    handshake: str = "none"


@dataclass(frozen=True)
class PortInfo:
    """A port of this computer, in the system's own words; None is what the system does not say."""

    device: str
    description: str | None
    maker: str | None
    product: str | None
    usb_id: str | None
    serial_number: str | None


class PortReader:
    """Reads one port. `close` may be called from another thread than `read`; everything else from one thread.

    DTR and RTS stay low, as a rising one resets some boards (the system itself may raise them for the instant of
    opening). Raises SatdiagError if `where` cannot be a port.
    """

    def __init__(self, where: str, settings: PortSettings) -> None:
        check_where(where)
        self.where, self._settings = where, settings
        self._port: Any = None
        self._reading = threading.Lock()

    def open(self) -> None:
        """Begin. Raises SourceTrouble; nothing stays open then."""
        self.close()
        try:
            with _alone(self.where):
                port = _new_port(self.where, self._settings)
                port.open()
        except TROUBLES as error:
            raise open_trouble(self.where, error) from None
        with suppress(*TROUBLES):
            if hasattr(port, "set_buffer_size"):  # Windows asks its driver for 4096 bytes only
                port.set_buffer_size(rx_size=CHUNK)
        self._port = port

    def read(self) -> bytes:
        """The bytes that came, waiting at most `WAIT_S` for the first; b'' if none did. Raises SourceTrouble."""
        with self._reading:
            if self._port is None:
                raise SourceTrouble("gone", f"{self.where}: the port is closed.")
            try:
                return _chunk(self._port)
            except TROUBLES as error:
                raise gone(self.where, error) from None

    def rest(self) -> bytes:
        """What has come and was not read yet, without waiting; b'' if the port is closed or lost."""
        with self._reading, suppress(*TROUBLES):
            if self._port is not None and self._port.in_waiting:
                return _chunk(self._port)
        return b""

    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises SourceTrouble."""
        if self._port is None:
            raise SourceTrouble("gone", f"{self.where}: the port is closed.")
        try:
            self._port.write(data)
        except TROUBLES as error:
            raise gone(self.where, error) from None

    def close(self) -> None:
        """End; a `read` under way in another thread ends first. May be called twice, never raises."""
        with suppress(Exception):
            self._port.cancel_read()
        with self._reading:
            port, self._port = self._port, None
            if port is None:
                return
            connection = getattr(port, "_socket", None)
            with suppress(Exception):
                if self.where.startswith("socket://"):  # pyserial's own close sleeps 0.3 s
                    port.is_open = False
                else:
                    port.close()
            if connection is not None:  # pyserial drops it unclosed if the other side went first
                connection.close()


def check_where(where: str) -> None:
    """Raises SatdiagError if `where` can name no port at all: an unknown URL, one without host or port number."""
    if not where.strip() or not where.isprintable():
        raise SatdiagError(f"{quoted(where)} names no port. `satdiag ports` lists those there are.")
    scheme, sign, rest = where.partition("://")
    if not sign:
        return
    if scheme not in SCHEMES:
        known = "; ".join(SCHEMES.values())
        raise SatdiagError(f"{quoted(where)}: '{scheme}' is not a kind of port. Name a port, or {known}.")
    trouble = _pattern_trouble(rest) if scheme == "hwgrep" else _address_trouble(scheme, where)
    if trouble:
        raise SatdiagError(f"{quoted(where)}: {trouble}. Write {SCHEMES[scheme]}.")


def list_ports() -> tuple[PortInfo, ...]:
    """The ports of this computer in natural order. They are looked up, not opened. Raises SatdiagError."""
    try:
        with _ports:
            found = sorted(comports())
    except TROUBLES as error:  # a device that is pulled out while it is looked at
        raise SatdiagError(f"The ports could not be listed ({error}). Wait a moment and try again.") from None
    return tuple(port_info(info) for info in found)


def port_info(info: Any) -> PortInfo:
    """What pyserial says of a port, its 'n/a' as None."""
    usb_id = None if info.vid is None else f"{info.vid:04x}:{info.pid or 0:04x}"
    texts = [info.description, info.manufacturer, info.product, info.serial_number]
    description, maker, product, number = (None if text in (None, "", "n/a") else str(text) for text in texts)
    return PortInfo(str(info.device), description, maker, product, usb_id, number)


def _address_trouble(scheme: str, where: str) -> str:
    try:
        address = urlsplit(where)
        host, number = address.hostname, address.port
    except ValueError as error:
        return f"this is not an address ({error})"
    if scheme != "loop" and (not host or not number):
        return "the host or the port number is missing"
    strange = [name for name in parse_qs(address.query, True) if name not in SETTINGS_OF[scheme]]
    return f"it has no setting '{strange[0]}'" if strange else ""


def _pattern_trouble(rest: str) -> str:
    pattern, *options = rest.split("&")
    strange = [option for option in options if not re.fullmatch(r"n=([2-9]|[1-9]\d+)", option, re.ASCII)]
    if strange:
        return f"{quoted(strange[0])} is not taken; '&n=2' means the second port that matches"
    try:
        re.compile(pattern)
    except re.error as error:
        return f"the pattern cannot be read ({error})"
    return "" if pattern else "the pattern is empty"


@contextmanager
def _alone(where: str) -> Iterator[None]:
    """Nothing lists or opens ports of this computer meanwhile; a network address may take its time."""
    if "://" in where and not where.startswith("hwgrep://"):
        yield
        return
    with _ports:
        yield


def _new_port(where: str, settings: PortSettings) -> Any:
    port: Any = serial.serial_for_url(
        where,
        do_not_open=True,
        baudrate=settings.baud,
        bytesize=settings.data_bits,
        parity=settings.parity[0].upper(),
        stopbits=settings.stop_bits,
        timeout=WAIT_S,
        write_timeout=None if where.startswith("rfc2217://") else WRITE_WAIT_S,  # pyserial: not supported there
        exclusive=None if sys.platform == "win32" else True,  # on Windows every port is
        **_HANDSHAKES[settings.handshake],
    )
    port.dtr = port.rts = False
    return port


def _chunk(port: Any) -> bytes:
    """What there is, or the first byte that comes and what came with it."""
    size = max(1, min(CHUNK, port.in_waiting))  # pyserial's `read(n)` would wait for all n bytes
    try:
        data = bytes(port.read(size))
    except TROUBLES:
        if left := _left_behind(port):
            return left
        raise
    return data + _more(port) if data and size == 1 else data


def _more(port: Any) -> bytes:
    """What else there is, without waiting."""
    try:
        if not port.portstr.startswith("socket://"):
            waiting = min(CHUNK, port.in_waiting)
            return bytes(port.read(waiting)) if waiting else b""
        port.timeout = (
            0  # a socket's `in_waiting` says 1 for any number of bytes; so asked, `read` takes what is there
        )
        try:
            return bytes(port.read(CHUNK))
        finally:
            port.timeout = WAIT_S
    except TROUBLES:
        return b""  # the next read meets it again


def _left_behind(port: Any) -> bytes:
    """Bytes that pyserial's RFC 2217 reader took and keeps back once the connection has ended."""
    queue = getattr(port, "_read_buffer", None)
    left = b""
    while queue is not None and queue.qsize():
        left += queue.get(False) or b""
    return left
