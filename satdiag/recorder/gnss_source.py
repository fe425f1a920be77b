"""A GNSS receiver on a port, or a file of its sentences: NMEA 0183, kept as they came.

No observation is made of a sentence: what is kept is the sentence. A course over ground is no heading.
"""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from satdiag.gnss.epochs import Epoch, EpochBuilder
from satdiag.gnss.sentences import LineCutter, Piece, Sentence, sentences_in
from satdiag.language import counted
from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import Line, Moment, Source, SourceEnded, SourceTrouble
from satdiag.recorder.port import PortReader, PortSettings
from satdiag.recorder.stamps import Stamps

DEFAULT_BAUD = 9600
SILENT_AFTER_S = 15.0
"""A receiver says something every second, slow ones every few. Judgement."""

CHUNK = 65536

WHY_NOISE = "no sentence stands in it"
WHY_CUT = "a sentence in it has lost its beginning or its end"
WHY_BAD = "a checksum in it is wrong"
WHY_ABSENT = "a sentence in it has lost its checksum"


class _File:
    """A file of sentences, read like a port that has everything at once."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: BinaryIO | None = None

    def open(self) -> None:
        """Begin at its first byte. Raises SourceTrouble."""
        self.close()
        try:
            self._file = self._path.open("rb")
        except FileNotFoundError:
            raise SourceTrouble("missing", f"{self._path}: there is no such file any more.") from None
        except OSError as error:
            raise SourceTrouble("denied", f"{self._path} cannot be read: {error.strerror or error}.") from None

    def read(self) -> bytes:
        """The next bytes. Raises SourceEnded behind the last, SourceTrouble if it cannot be read on."""
        if self._file is None:
            raise SourceTrouble("gone", f"{self._path}: the file is closed.")
        try:
            data = self._file.read(CHUNK)
        except OSError as error:
            raise SourceTrouble("gone", f"{self._path}: {error.strerror or error}.") from None
        if not data:
            raise SourceEnded
        return data

    def rest(self) -> bytes:
        """Nothing: what was not read was not heard."""
        return b""

    def close(self) -> None:
        """End. May be called twice."""
        if self._file is not None:
            self._file.close()
        self._file = None


class GnssSource(Source):
    """The sentences of a receiver on a serial port or behind a pyserial URL, or of a regular file at `where`.

    A line is handed over as it came, noise too, an empty one left out. `why` says what is wrong with it; it is blank
    if a sentence in it is believed and no other is spoilt. Raises SatdiagError if `where` can be neither.
    """

    keeps = "nmea"

    def __init__(self, where: str, clock: Clock, baud: int = DEFAULT_BAUD, name: str = "gnss") -> None:
        self.name, self._clock, self._stamps = name, clock, Stamps()
        self._input: _File | PortReader
        if Path(where).is_file():
            self.where, self.can_wait, self.silent_after_s = where, True, None
            self._input, self._hint = _File(Path(where)), "is it a log of NMEA 0183 sentences?"
        else:
            self._input = PortReader(where, PortSettings(baud=baud))
            url = "://" in where and not where.startswith(("rfc2217://", "hwgrep://"))
            self.where = where if url else f"{where} at {baud} baud"
            self.silent_after_s, self._hint = SILENT_AFTER_S, f"is {baud} baud the right speed?"
        self._begin()

    def _begin(self) -> None:
        self._cutter, self._builder = LineCutter(), EpochBuilder()
        self._lines, self._understood = 0, False
        self._told: Epoch | None = None
        self._sky: Epoch | None = None

    def open(self) -> None:
        """Begin to listen. Raises SourceTrouble."""
        self._input.open()
        self._begin()

    def read(self) -> list[Line]:
        """The lines that were ended since the last call. Raises SourceTrouble, SourceEnded behind a file's last."""
        data = self._input.read()
        return self._taken(self._cutter.feed(data)) if data else []

    def close(self) -> list[Line]:
        """What was received and not handed over yet, a half line last."""
        lines = self._taken(self._cutter.feed(self._input.rest()))
        self._input.close()
        return lines + self._taken(self._cutter.flush())

    def summary(self) -> str:
        """The last finished epoch in a few words, e.g. 'fix, 9 satellites, best 46 dB-Hz'."""
        told, sky = self._told, self._sky
        if told is None and sky is None:
            return f"nothing readable; {self._hint}" if self._lines and not self._understood else ""
        words = [] if told is None else ["fix" if told.fix else "no fix"]
        if sky is not None:
            levels = [level for view in sky.tracked for _, level in view.signals]
            words.append(counted(len(sky.tracked), "satellite"))
            words += [f"best {max(levels):.0f} dB-Hz"] if levels else []
        return ", ".join(words)

    def _taken(self, pieces: list[Piece]) -> list[Line]:
        now = self._clock.now()
        return [self._line(piece, now) for piece in pieces if piece.data]

    def _line(self, piece: Piece, now: Moment) -> Line:
        found = sentences_in(*piece)
        flaws = {WHY_CUT if each.kind == "cut" else WHY_NOISE for each in found if not isinstance(each, Sentence)}
        whys = [self._why_not(each) for each in found if isinstance(each, Sentence)]
        believed = "" in whys
        if believed:
            flaws.discard(WHY_NOISE)  # binary between sentences is no flaw of theirs
        flaws |= {why for why in whys if why}
        if not found:
            flaws.add(WHY_NOISE)
        self._lines, self._understood = self._lines + 1, self._understood or believed
        return Line(self._stamps.next(now), piece.data, (), "; ".join(sorted(flaws)))

    def _why_not(self, sentence: Sentence) -> str:
        """Take a sentence; blank if it is believed, else why not."""
        self._learn(self._builder.add(sentence))
        if self._builder.believes(sentence):
            return ""
        return WHY_BAD if sentence.checksum == "bad" else WHY_ABSENT

    def _learn(self, epoch: Epoch | None) -> None:
        """Remember the last epoch that told of a position, and the last that told of the sky: they may come apart."""
        if epoch is None:
            return
        if epoch.fix_told:
            self._told = epoch
        if epoch.satellites:
            self._sky = epoch
