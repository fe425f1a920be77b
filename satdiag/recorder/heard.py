"""What a source hands over, and the hook it fills. Bytes come in; lines go out, with when they were heard.

A source emits what was heard, when it was heard: no smoothing, no gap filling, no derived values. Absent (no
reading), unreadable (tried, nothing readable) and zero are three different things.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Literal, NamedTuple

from satdiag.errors import SatdiagError

WAIT_S = 0.2
"""How long `Source.read` may wait for something to come."""

Reason = Literal["missing", "denied", "busy", "gone"]


class Moment(NamedTuple):
    """An instant on two clocks: nanoseconds since 1970 UTC, and of the monotonic clock that only ever goes on."""

    wall_ns: int
    mono_ns: int


class Reading(NamedTuple):
    """One thing that a line says, as texts, not yet checked against the vocabulary.

    `time` is the line's own time, if it carries one (ISO 8601); `run`, `elapsed_s`, `id` and `source` are those of a
    row that is played back. All are blank otherwise.
    """

    kind: str
    subject: str
    value: str
    unit: str = ""
    note: str = ""
    span_s: str = ""
    time: str = ""
    run: str = ""
    elapsed_s: str = ""
    id: str = ""
    source: str = ""


class Line(NamedTuple):
    """One line as it was received (without its line end) and what was made of it.

    `why` says why nothing, or not everything, was made of it; blank if all is well. A line that says nothing of
    interest on purpose (a comment, a heading) has neither readings nor a `why`.
    """

    at: Moment
    data: bytes
    readings: tuple[Reading, ...] = ()
    why: str = ""


class SourceTrouble(SatdiagError):
    """A source cannot be opened or was lost: unplugged, in use, not permitted. The recorder tries again."""

    def __init__(self, reason: Reason, text: str) -> None:
        self.reason = reason
        super().__init__(text)


class SourceEnded(Exception):
    """There is nothing more to come: a file or a replay has ended."""


class Source(ABC):
    """What the recorder listens to. All methods but `summary` are called from one thread.

    `name` stands in the rows' source column; `where` tells a person what is listened to. `keeps`: 'raw' lines are
    kept beside what was made of them, 'nmea' sentences in a file of their own, 'nothing' where the rows say it all.
    `can_wait`: it may be slowed down without loss. `silent_after_s`: without a good line for so long it counts as
    silent; None: it may be quiet for ever.
    """

    name: str
    where: str = ""
    keeps: Literal["raw", "nmea", "nothing"] = "raw"
    can_wait: bool = False
    silent_after_s: float | None = None

    @abstractmethod
    def open(self) -> None:
        """Begin to listen. Raises SourceTrouble; nothing stays open then."""

    @abstractmethod
    def read(self) -> list[Line]:
        """The lines heard since the last call, waiting at most `WAIT_S`; empty if there were none.

        Raises SourceTrouble if the source was lost, SourceEnded at its end. A half line at the loss is handed over by
        `close`.
        """

    @abstractmethod
    def close(self) -> list[Line]:
        """Stop listening and hand over what was not handed over yet. Never raises; may be called twice."""

    def summary(self) -> str:
        """A few words for the screen on what is heard now, e.g. '9 satellites, fix'. Called from any thread."""
        return ""
