"""A device on a serial port: its lines, when they came, and what its line profile makes of them.

Nothing is ever written to the port unless the user asked for polling, and then only what a bench instrument's profile
says.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from satdiag.errors import SatdiagError
from satdiag.language import counted
from satdiag.recorder.clock import Clock
from satdiag.recorder.framing import Frame, LineFramer
from satdiag.recorder.heard import Line, Moment, Source
from satdiag.recorder.port import PortReader, PortSettings
from satdiag.recorder.stamps import Stamps

if TYPE_CHECKING:
    from satdiag.recorder.profile import Profile

QUIET_S = 0.05
"""The bytes of a line follow each other faster than this (judgement): a pause of it means that a line begins."""

WHY_CUT = "the port was opened while it was being sent: its beginning may be missing"
_WHY_FLAWED = {
    "overlong": "it is too long for a line: is the speed right?",
    "half": "its end never came",
}
NEVER_READ = frozenset({WHY_CUT, *_WHY_FLAWED.values()})
"""Why a line was kept and not read: it is not whole, so that no profile may read it later either.

The words stand in job files: changed ones would not be known there.
"""


class SerialSource(Source):
    """Lines of a serial port, read by a line profile.

    A line that may lack its beginning or its end is kept and never read: '12.8 V' cut to '2.8 V' would look sound.
    Raises SatdiagError if `where` is no port, or if polling is asked for and the profile listens to a vehicle.
    """

    keeps = "raw"

    def __init__(self, where: str, profile: Profile, clock: Clock, name: str, poll: bool = False) -> None:
        if poll and profile.kind != "bench":
            raise SatdiagError(
                f"The profile '{profile.name}' listens to a vehicle, and nothing is ever sent to a vehicle. "
                "Leave --poll out for it."
            )
        self.name, self.where = name, f"{where}, {profile.name}"
        self.silent_after_s = profile.silent_after_s
        self._profile, self._clock, self._stamps = profile, clock, Stamps()
        self._poll = profile.poll if poll else None
        wanted = profile.port
        self._port = PortReader(
            where,
            PortSettings(wanted.baud, wanted.data_bits, wanted.parity, wanted.stop_bits, wanted.handshake),
        )
        self._begin(clock.now())

    def _begin(self, at: Moment) -> None:
        """Know nothing of any line before `at`."""
        self._framer = LineFramer(self._profile.port.line_end)
        self._opened = self._last = at
        self._may_be_cut: bool | None = None
        self._next_poll_ns = at.mono_ns + round(QUIET_S * 1e9)
        self._lines, self._said = 0, ""

    def open(self) -> None:
        """Begin to listen. Raises SourceTrouble."""
        self._port.open()
        self._begin(self._clock.now())

    def read(self) -> list[Line]:
        """The lines that were ended since the last call. Raises SourceTrouble."""
        if self._poll is not None:
            self._ask(*self._poll)
        return self._take(self._port.read())

    def close(self) -> list[Line]:
        """What was received and not handed over yet, a half line last."""
        lines = self._take(self._port.rest())
        self._port.close()
        return lines + [self._line(frame) for frame in self._framer.flush()]

    def summary(self) -> str:
        """How many lines were heard since the port was opened, and the last thing said."""
        lines, said = self._lines, self._said
        return counted(lines, "line") + (f", last {said}" if said else "")

    def _ask(self, text: str, period_s: float) -> None:
        now_ns = self._clock.now().mono_ns
        if now_ns >= self._next_poll_ns:
            self._next_poll_ns = now_ns + round(period_s * 1e9)
            self._port.write(text.encode(self._profile.port.encoding))

    def _take(self, data: bytes) -> list[Line]:
        if not data:
            return []
        self._last = self._clock.now()
        if self._may_be_cut is None:
            self._may_be_cut = (self._last.mono_ns - self._opened.mono_ns) / 1e9 < QUIET_S
        return [self._line(frame) for frame in self._framer.feed(data)]

    def _line(self, frame: Frame) -> Line:
        at, cut = self._stamps.next(self._last), self._may_be_cut
        self._lines, self._may_be_cut = self._lines + 1, False
        if frame.flaw:
            return Line(at, frame.data, (), _WHY_FLAWED[frame.flaw])
        if cut and frame.data:
            return Line(at, frame.data, (), WHY_CUT)
        understood = self._profile.read_line(frame.data)
        if understood.readings:
            last = understood.readings[-1]
            self._said = " ".join(text for text in (last.kind, last.subject, last.value, last.unit) if text)
        return Line(at, frame.data, tuple(understood.readings), understood.why)
