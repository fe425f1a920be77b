"""When a source could not be heard, or its lines not be kept: from when, why, and what of it is written down."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.recorder.heard import Moment, Reading

EVERY_S = 60.0
"""A lasting absence is written down this often, so that a reader, or a crash, finds it in the log."""


@dataclass
class Absence:
    """A stretch in which a source is not heard. `value` is lost, silent or overflow."""

    source: str
    value: str
    since: Moment
    note: str = ""

    def due(self, at: Moment) -> bool:
        """True if another piece of it should be written down."""
        return (at.mono_ns - self.since.mono_ns) / 1e9 >= EVERY_S

    def piece(self, at: Moment) -> Reading | None:
        """The piece from the last one to `at`, as a gap; None if nothing has passed. The next one begins here."""
        span_s = (at.mono_ns - self.since.mono_ns) / 1e9
        if span_s < 0.001:
            return None
        self.since = at
        return Reading("gap", self.source, self.value, note=self.note, span_s=f"{span_s:.3f}")


class Absences:
    """The absences of one source: lost or silent, one at a time, and beside it lines that found no room.

    Gaps gather in `pending` with the moment they end at; whoever can write takes them from there.
    """

    def __init__(self, source: str) -> None:
        self._source = source
        self._now: Absence | None = None
        self._spilt: Absence | None = None
        self._spilt_lines = 0
        self.pending: list[tuple[Moment, Reading]] = []

    @property
    def value(self) -> str:
        """'lost', 'silent', or '' if the source is heard."""
        return self._now.value if self._now else ""

    @property
    def spilling(self) -> bool:
        """True while lines find no room."""
        return self._spilt is not None

    def begin(self, value: str, since: Moment, note: str) -> None:
        """The source is not heard from `since` on. One of the same kind goes on; one of another kind ends here."""
        if self.value == value:
            return
        self.end(since)
        self._now = Absence(self._source, value, since, note)

    def end(self, at: Moment) -> None:
        """The source is heard again."""
        if self._now is not None:
            self._add(self._now.piece(at), at)
            self._now = None

    def hole(self, since: Moment, at: Moment, note: str) -> None:
        """Nothing was heard from `since` to `at`, for a reason outside the source: the computer slept."""
        if self._now is None:
            self._add(Absence(self._source, "lost", since, note).piece(at), at)

    def spill(self, count: int, since: Moment) -> None:
        """So many lines found no room, the first at `since`."""
        if self._spilt is None:
            self._spilt = Absence(self._source, "overflow", since)
        self._spilt_lines += count

    def stop_spilling(self, at: Moment) -> None:
        """There is room again."""
        if self._spilt is not None:
            self._spilt.note = f"{self._spilt_lines} line{'' if self._spilt_lines == 1 else 's'} could not be kept"
            # Lines lost within one instant still are a loss: it is written with the shortest span there is.
            since = min(self._spilt.since.mono_ns, at.mono_ns - 1_000_000)
            self._spilt.since = self._spilt.since._replace(mono_ns=since)
            self._add(self._spilt.piece(at), at)
            self._spilt, self._spilt_lines = None, 0

    def tick(self, at: Moment) -> None:
        """Write a lasting absence down from time to time."""
        if self._now is not None and self._now.due(at):
            self._add(self._now.piece(at), at)

    def _add(self, gap: Reading | None, at: Moment) -> None:
        if gap is not None:
            self.pending.append((at, gap))
