"""The other sides of sources, for the contract in `conformance`: devices and files that say numbered lines."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from satdiag.csv_text import csv_line
from satdiag.recorder.clock import Clock
from satdiag.recorder.gnss_source import GnssSource
from satdiag.recorder.heard import Source
from satdiag.recorder.profile import load_profile
from satdiag.recorder.replay_source import ReplaySource
from satdiag.recorder.serial_source import SerialSource
from satdiag.rows import Row
from satdiag.store import create_job_file
from tests.helpers import make_job, time_text
from tests.recorder.conformance import Rig
from tests.recorder.devices import PtyDevice, TcpDevice


class SerialRig(Rig):
    """A device that speaks the bench line format, over a pseudo-terminal or TCP."""

    half = b"signal any 9999"

    def __init__(self, device: PtyDevice | TcpDevice) -> None:
        self._device = device
        self.say_bytes, self.unplug, self.replug = device.say, device.unplug, device.replug

    def source(self, clock: Clock, stored: Iterable[int] = ()) -> Source:
        return SerialSource(self._device.where, load_profile("bench-lines"), clock, "serial:bench-lines")

    def line(self, number: int) -> bytes:
        return b"signal any %d dB" % number

    def say(self, numbers: Iterable[int]) -> None:
        self._device.say(b"".join(self.line(number) + b"\r\n" for number in numbers))


def sentence(number: int) -> bytes:
    """A sentence of NMEA 0183: the exclusive or of the bytes between '$' and '*' behind it."""
    body = b"GPGGA,%02d%02d%02d.00,,,,,0,00,,,M,,M,," % (number // 3600, number // 60 % 60, number % 60)
    check = 0
    for byte in body:
        check ^= byte
    return b"$%s*%02X" % (body, check)


class GnssRig(SerialRig):
    """A GNSS receiver on a pseudo-terminal or TCP."""

    half = b"$GPGGA,120000.00,,"

    def source(self, clock: Clock, stored: Iterable[int] = ()) -> Source:
        return GnssSource(self._device.where, clock)

    def line(self, number: int) -> bytes:
        return sentence(number)


class GnssFileRig(Rig):
    """A file of sentences."""

    live = False

    def __init__(self, folder: Path) -> None:
        self._path = folder / "demo.nmea"

    def source(self, clock: Clock, stored: Iterable[int] = ()) -> Source:
        self._path.write_bytes(b"".join(sentence(number) + b"\r\n" for number in stored))
        return GnssSource(str(self._path), clock)

    def line(self, number: int) -> bytes:
        return sentence(number)


class ReplayRig(Rig):
    """A job that is played as fast as it is taken, or faster than any read waits."""

    live = False

    def __init__(self, folder: Path, speed: float) -> None:
        self._path, self._speed = folder / "demo.satjob", speed

    def source(self, clock: Clock, stored: Iterable[int] = ()) -> Source:
        self._path.unlink(missing_ok=True)
        rows = "\n".join(f"{number // 60}:{number % 60:02} signal any {number} dB" for number in stored)
        create_job_file(self._path, make_job(rows))
        return ReplaySource(self._path, self._speed, clock, "replay")

    def line(self, number: int) -> bytes:
        return csv_line(Row(time_text(number), "signal", "any", str(number), "dB")[:11]).encode()
