"""How fast the vehicle moves: overheard from the sentences of a GNSS receiver while they are recorded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from satdiag.gnss.fixes import Rmc, parse_rmc
from satdiag.gnss.sentences import Sentence, sentences_in
from satdiag.recorder.heard import Line, Moment, Source

NOT_MEASURED = ("manual", "simulated")
"""Kinds of fix whose speed was not measured. Dead reckoning ('estimated') is: it tells that the vehicle moves."""


class SpeedNow(NamedTuple):
    """The latest speed over ground and its age; both None where none was heard."""

    speed_m_s: float | None
    speed_age_s: float | None


class Speedometer:
    """The latest speed over ground that any of some sources told. May be read from any thread."""

    def __init__(self) -> None:
        self._latest: tuple[float, int] | None = None

    def beside(self, sources: Sequence[Source]) -> list[Source]:
        """The same sources, those overheard that hear a GNSS receiver now; a file of sentences tells of earlier."""
        return [_Overheard(one, self) if one.keeps == "nmea" and not one.can_wait else one for one in sources]

    def hear(self, lines: Sequence[Line]) -> None:
        """Lines of a GNSS source; only what it believes counts."""
        for line in lines:
            if line.why:
                continue
            for sentence in sentences_in(line.data):
                rmc = parse_rmc(sentence) if isinstance(sentence, Sentence) and sentence.type == "RMC" else None
                if rmc is not None and (speed_m_s := _measured(rmc)) is not None:
                    self._latest = (speed_m_s, line.at.mono_ns)

    def now(self, at: Moment) -> SpeedNow:
        """The speed as it is known at a moment."""
        latest = self._latest
        if latest is None:
            return SpeedNow(None, None)
        return SpeedNow(round(latest[0], 1), round(max(0.0, (at.mono_ns - latest[1]) / 1e9), 1))


def _measured(rmc: Rmc) -> float | None:
    return rmc.speed_m_s if rmc.valid and rmc.quality not in NOT_MEASURED else None


class _Overheard(Source):
    """A source as it is; its lines are heard by a speedometer too."""

    def __init__(self, source: Source, speedometer: Speedometer) -> None:
        self._source, self._speedometer = source, speedometer
        self.name, self.where, self.keeps = source.name, source.where, source.keeps
        self.can_wait, self.silent_after_s = source.can_wait, source.silent_after_s

    def open(self) -> None:
        """Begin to listen. Raises SourceTrouble."""
        self._source.open()

    def read(self) -> list[Line]:
        """The lines heard since the last call. Raises SourceTrouble, SourceEnded."""
        lines = self._source.read()
        self._speedometer.hear(lines)
        return lines

    def close(self) -> list[Line]:
        """What was not handed over yet: too old to tell how fast the vehicle moves now."""
        return self._source.close()

    def summary(self) -> str:
        """As the source says it."""
        return self._source.summary()
