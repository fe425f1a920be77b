"""Bytes to sentences of NMEA 0183: framing, checksum, and a fresh start at the next `$` where a line is spoilt.

A sentence is `$` (or `!`), an address, fields parted by commas, then `*hh` and the end of the line; hh is the XOR of
all bytes between `$` and `*`, both left out (IEC 61162-1). Older devices leave `*hh` out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import reduce
from itertools import pairwise
from operator import xor
from typing import Literal, NamedTuple

LONGEST_LINE = 4096
"""Bytes without a line end after which a line is cut, so that a binary stream cannot fill the memory."""

BLOCK = 65536
"""Bytes that are looked at in one go."""

Checksum = Literal["good", "bad", "absent"]

_WHOLE = re.compile(rb"\$([^$*\r\n]*)\*([0-9A-Fa-f]{2})\s*")
_START = re.compile(rb"\$|!(?=[A-Z]{5},)")
_SUM = re.compile(rb"[0-9A-Fa-f]{0,2}")
_ADDRESS = re.compile(rb"P[A-Z0-9]{3,}|[A-Z][A-Z0-9]{4}")
_PLAIN = re.compile(rb"[ -~]+")
_BLANK = b" \t\r\n\0"


class Sentence(NamedTuple):
    """One sentence. `talker` and `type` are the two parts of the address, `fields` the texts after it.

    Checksum 'bad' also means one that is cut short. The talker is 'P' for a maker's own sentence, 'PQ' for GSV and
    GSA in one maker's own form, and blank where the address is none of the standard, which needs a good checksum.
    """

    talker: str
    type: str
    fields: tuple[str, ...]
    checksum: Checksum

    @property
    def content(self) -> str:
        """What the checksum is taken of."""
        return ",".join((self.talker + self.type, *self.fields))


class Flaw(NamedTuple):
    """Bytes that are no sentence: 'noise' outside of any, or one that is 'cut' by the next start or the end."""

    kind: Literal["noise", "cut"]
    data: bytes


def checksum(body: bytes) -> int:
    """The XOR of all bytes: what stands after `*`, as two hexadecimal digits (IEC 61162-1)."""
    return reduce(xor, body, 0)


def sentences_in(line: bytes, ended: bool = True) -> list[Sentence | Flaw]:
    """What one line holds, in order; nothing for a blank line. `ended`: the line's end was seen."""
    whole = _WHOLE.fullmatch(line)
    if whole:
        return [_read(whole[1], whole[2], ended, line)]
    pieces: list[Sentence | Flaw] = []
    *ended_parts, last = line.replace(b"\r", b"\n").split(b"\n")
    for part in ended_parts:
        pieces += _in_part(part, True)
    return pieces + _in_part(last, ended)


def _in_part(part: bytes, ended: bool) -> list[Sentence | Flaw]:
    """What stands in a line that has no line end of any kind within it."""
    marks = [*(found.start() for found in _START.finditer(part)), len(part)]
    pieces: list[Sentence | Flaw] = []
    _add_noise(pieces, part[: marks[0]])
    for start, end in pairwise(marks):
        pieces += _from_start(part[start:end], ended and end == len(part))
    return pieces


def _from_start(piece: bytes, ended: bool) -> list[Sentence | Flaw]:
    """A piece that begins with a start mark and holds no other: a sentence and what follows its checksum."""
    body, star, rest = piece[1:].partition(b"*")
    if not star:
        return [_read(body.rstrip(b" \t"), None, ended, piece)]
    found = _SUM.match(rest)
    digits = found[0] if found else b""
    pieces = [_read(body, digits, ended, piece)]
    if isinstance(pieces[0], Sentence):
        _add_noise(pieces, rest[len(digits) :])
    return pieces


def _read(body: bytes, digits: bytes | None, ended: bool, piece: bytes) -> Sentence | Flaw:
    """A sentence from its content and the digits of its checksum: None if there is no `*`."""
    state: Checksum = "absent"
    if digits is not None:
        state = "good" if len(digits) == 2 and checksum(body) == int(digits, 16) else "bad"
    address, comma, _ = body.partition(b",")
    standard = bool(comma) and _ADDRESS.fullmatch(address) is not None
    if state != "good" and not (standard and _PLAIN.fullmatch(body)):
        return Flaw("noise", piece)
    if state == "absent" and not ended:
        return Flaw("cut", piece)
    first, *fields = body.decode("latin-1").split(",")
    return Sentence(*_talker_and_type(first, standard), tuple(fields), state)


def _talker_and_type(address: str, standard: bool) -> tuple[str, str]:
    if not standard:
        return "", address
    if address[0] == "P" and address not in ("PQGSV", "PQGSA"):
        return "P", address[1:]
    return address[:2], address[2:]


def _add_noise(pieces: list[Sentence | Flaw], data: bytes) -> None:
    if data.strip(_BLANK):
        pieces.append(Flaw("noise", data))


class Piece(NamedTuple):
    """A line without its end, or a part of one; `ended` says whether its end was seen."""

    data: bytes
    ended: bool


class LineCutter:
    """Bytes in pieces of any size to lines, with nothing dropped; how they are cut up makes no difference.

    A line ends with a line feed; one carriage return before it belongs to the end. One longer than `LONGEST_LINE`
    is handed over in parts, each cut before its last `$`, so that no sentence in a binary stream is broken.
    """

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, data: bytes) -> list[Piece]:
        """The lines, and parts of lines, that these bytes complete."""
        *lines, rest = (self._rest + data).split(b"\n")
        pieces: list[Piece] = []
        for line in lines:
            *parts, last = _short_parts(line)
            pieces += [Piece(part, False) for part in parts]
            pieces.append(Piece(last.removesuffix(b"\r"), True))
        *parts, self._rest = _short_parts(rest)
        return pieces + [Piece(part, False) for part in parts]

    def flush(self) -> list[Piece]:
        """What is left when nothing more comes."""
        rest, self._rest = self._rest, b""
        return [Piece(rest, False)] if rest else []


def _short_parts(line: bytes) -> list[bytes]:
    """A line in parts of at most `LONGEST_LINE` bytes; where it is cut depends on the bytes since it began alone."""
    parts, at = [], 0
    while len(line) - at > LONGEST_LINE:
        mark = line.rfind(b"$", at + 1, at + LONGEST_LINE)
        end = mark if mark > 0 else at + LONGEST_LINE
        parts.append(line[at:end])
        at = end
    return [*parts, line[at:]]


def sentences(data: bytes | Iterable[bytes]) -> Iterator[Sentence | Flaw]:
    """All sentences and flaws of a log, whole or in pieces of any size."""
    cutter = LineCutter()
    for block in _blocks(data):
        for piece in cutter.feed(block):
            yield from sentences_in(*piece)
    for piece in cutter.flush():
        yield from sentences_in(*piece)


def _blocks(data: bytes | Iterable[bytes]) -> Iterator[bytes]:
    for part in (data,) if isinstance(data, bytes) else data:
        for at in range(0, len(part), BLOCK):
            yield part[at : at + BLOCK]
