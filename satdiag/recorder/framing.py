"""Cuts a stream of bytes into lines, whatever comes and in whatever pieces. It reads nothing and never waits."""

from __future__ import annotations

from typing import NamedTuple

LIMIT = 4096
"""Bytes of a line that are kept; the line end is not counted."""

_LF, _CR_LF = b"\n", b"\r\n"


class Frame(NamedTuple):
    """One line without its line end. `flaw` is '' (whole), 'overlong' (its first bytes alone) or 'half' (no end)."""

    data: bytes
    flaw: str = ""


class LineFramer:
    """Lines out of bytes; the same lines however the bytes are parted.

    `line_end` is what ends a line; None: a line feed does, and one carriage return before it belongs to the end. A
    line longer than `limit` bytes becomes one overlong frame with its first `limit` bytes, as soon as it is too long;
    what follows up to the next line end is dropped and counted in `dropped_bytes`. Never holds more than a line.
    Raises ValueError for an empty line end or a limit below 1.
    """

    def __init__(self, line_end: bytes | None = None, limit: int = LIMIT) -> None:
        if line_end == b"" or limit < 1:
            raise ValueError("a line ends with at least one byte and holds at least one")
        self._end = _LF if line_end is None else line_end
        self._whole_end = _CR_LF if line_end is None else line_end
        self._either = line_end is None
        self._limit = limit
        self._rest = b""
        self._dropping = False
        self.dropped_bytes = 0

    def feed(self, data: bytes) -> list[Frame]:
        """The lines that these bytes complete, and one that has now become too long."""
        frames: list[Frame] = []
        if self._dropping:
            data = self._drop(data)
            if self._dropping:
                return frames
        text = self._rest + data
        if self._either and b"\r" in text:
            text = text.replace(_CR_LF, _LF)
        lines = text.split(self._end)
        self._rest = lines.pop()
        if lines and len(max(lines, key=len)) > self._limit:
            frames = [self._frame(line) for line in lines]
        else:
            frames = [Frame(line) for line in lines]
        if len(self._rest) > self._limit and len(self._rest) - self._open_end(self._rest) > self._limit:
            frames.append(Frame(self._rest[: self._limit], "overlong"))
            rest, self._rest, self._dropping = self._rest[self._limit :], b"", True
            self._hold(rest)
        return frames

    def flush(self) -> list[Frame]:
        """What is left when nothing more will come: a line without its end, or nothing. Begins afresh afterwards."""
        rest, dropping = self._rest, self._dropping
        self._rest, self._dropping = b"", False
        if dropping:
            self.dropped_bytes += len(rest)
        elif len(rest) > self._limit:
            return [self._frame(rest)]
        elif rest:
            return [Frame(rest, "half")]
        return []

    def _frame(self, line: bytes) -> Frame:
        """A line that has ended; too long, its tail is dropped."""
        if len(line) <= self._limit:
            return Frame(line)
        self.dropped_bytes += len(line) - self._limit
        return Frame(line[: self._limit], "overlong")

    def _drop(self, data: bytes) -> bytes:
        """Drop to the next line end and return what stands behind it; without one, drop all."""
        text = self._rest + data
        at = text.find(self._end)
        if at < 0:
            self._hold(text)
            return b""
        self._rest, self._dropping = b"", False
        belongs_to_end = self._either and text[at - 1 : at] == b"\r"
        self.dropped_bytes += at - belongs_to_end
        return text[at + len(self._end) :]

    def _hold(self, text: bytes) -> None:
        """Drop all but what may be the beginning of a line end."""
        kept = self._open_end(text)
        self.dropped_bytes += len(text) - kept
        self._rest = text[len(text) - kept :]

    def _open_end(self, text: bytes) -> int:
        """How many of the last bytes may be the beginning of a line end."""
        end = self._whole_end
        return next((size for size in range(len(end) - 1, 0, -1) if text.endswith(end[:size])), 0)
