"""The pages in a write-ahead log, each checked for itself (https://www.sqlite.org/fileformat2.html, section 4).

SQLite reads a log up to the first frame that is broken. The checksum of a frame goes on from that of the frame before
it, which is written there: so the frames behind a broken one can be checked too, and are used.
"""

from __future__ import annotations

import struct
from typing import NamedTuple

_MAGIC = {0x377F0682: "<", 0x377F0683: ">"}
_LOG_HEAD, _FRAME_HEAD = 32, 24


class Log(NamedTuple):
    """Pages of a log that were committed, the newest of each; how many of its frames are whole, and how many not."""

    pages: dict[int, bytes]
    whole: int
    broken: int


class _Frame(NamedTuple):
    head: bytes
    salts: bytes
    sums: tuple[int, int]
    data: bytes

    @property
    def page(self) -> int:
        """The page that it holds."""
        return int.from_bytes(self.head[:4], "big")

    @property
    def commits(self) -> bool:
        """It is the last of a commit."""
        return any(self.head[4:])

    def fits(self, seed: tuple[int, int], order: str) -> bool:
        """Its checksum is right, carried on from the one before."""
        return _summed(_summed(seed, self.head, order), self.data, order) == self.sums


def committed(log: bytes, size: int) -> Log:
    """The pages that a log holds for a file with pages of `size` bytes.

    What stands behind the last frame that ends a commit was never acknowledged, and is left out.
    """
    if (head := _head(log)) is not None and head.size != size:
        return Log({}, 0, 0)
    frames = _frames(log, size)
    orders = [head.order] if head else ["<", ">"]
    return max((_read(frames, order, head) for order in orders), key=lambda found: found.whole)


class _Head(NamedTuple):
    order: str
    size: int
    salts: bytes
    sums: tuple[int, int]


def page_size_of_log(log: bytes) -> int | None:
    """The size of a page as the log's head says it; None where that is broken."""
    head = _head(log)
    return head.size if head else None


def _head(log: bytes) -> _Head | None:
    """The log's head, if its own checksum is right."""
    if len(log) < _LOG_HEAD:
        return None
    magic, _, size, *_ = struct.unpack(">4I", log[:16])
    sums = struct.unpack(">2I", log[24:32])
    order = _MAGIC.get(magic)
    if order is None or _summed((0, 0), log[:24], order) != sums:
        return None
    return _Head(order, 65536 if size == 1 else size, log[16:24], (sums[0], sums[1]))


def _frames(log: bytes, size: int) -> list[_Frame]:
    found = []
    step = _FRAME_HEAD + size
    for at in range(_LOG_HEAD, len(log) - step + 1, step):
        sums = struct.unpack(">2I", log[at + 16 : at + 24])
        data = log[at + _FRAME_HEAD : at + step]
        found.append(_Frame(log[at : at + 8], log[at + 8 : at + 16], (sums[0], sums[1]), data))
    return found


def _read(frames: list[_Frame], order: str, head: _Head | None) -> Log:
    """The frames of the newest writing: those with the salts of the head, or of the first frame that is whole.

    Frames with other salts behind them are left from before the log was begun again.
    """
    seeds = [head.sums if head else None, *(frame.sums for frame in frames)]
    fits = [seed is not None and frame.fits(seed, order) for frame, seed in zip(frames, seeds, strict=False)]
    salts = head.salts if head else next((frame.salts for frame, fit in zip(frames, fits, strict=True) if fit), None)
    ours = [number for number, frame in enumerate(frames) if frame.salts == salts]
    pages: dict[int, bytes] = {}
    pending: dict[int, bytes] = {}
    whole = 0
    for number in ours:
        frame = frames[number]
        if not fits[number]:
            continue
        whole += 1
        pending[frame.page] = frame.data
        if frame.commits:
            pages |= pending
            pending = {}
    return Log(pages, whole, ours[-1] + 1 - whole if ours else 0)


def _summed(sums: tuple[int, int], data: bytes, order: str) -> tuple[int, int]:
    """The checksum of a log, carried on over more bytes (section 4.2)."""
    one, two = sums
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for left, right in zip(words[::2], words[1::2], strict=True):
        one = (one + left + two) & 0xFFFFFFFF
        two = (two + right + one) & 0xFFFFFFFF
    return one, two
