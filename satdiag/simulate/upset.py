"""What goes wrong on a wire: noise, half lines, silence, a plug pulled. Pure: lines come in, acts go out.

Times are seconds of the real clock since the start. What is done depends on the seed and on the lines with their
times, on nothing else; a device that says nothing is not upset either.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from random import Random
from typing import Literal, NamedTuple

KINDS = ("noise", "half-lines", "unplug", "silence")
LINE_END = b"\r\n"
PULLED_AFTER_S = 0.2  # a reader has had the half line by then; a pseudo terminal that hangs up drops what is unread
# Not UTF-8: a continuation missing, a lone continuation, an overlong form, a surrogate, beyond the last code point
# (RFC 3629, sections 3 and 4).
NOT_UTF8 = (b"\xc3\x28", b"\xe2\x82", b"\x80\x80", b"\xc0\xaf", b"\xed\xa0\x80", b"\xf4\x90\x80\x80")


class Act(NamedTuple):
    """One thing to do with the wire, at a time [s]; `what` tells a person of an upset, blank for plain sending."""

    at_s: float
    do: Literal["send", "unplug", "plug"]
    data: bytes = b""
    what: str = ""


@dataclass(frozen=True)
class Pace:
    """Mean time from one upset to the next of its kind [s], and how long one lasts (shortest, longest) [s]."""

    every_s: dict[str, float] = field(
        default_factory=lambda: {"noise": 4.0, "half-lines": 5.0, "unplug": 25.0, "silence": 40.0}
    )
    late_s: tuple[float, float] = (0.3, 2.5)
    unplugged_s: tuple[float, float] = (2.0, 6.0)
    silent_s: tuple[float, float] = (8.0, 25.0)


class Upset:
    """Passes lines on and upsets them in the ways named by `kinds` (of `KINDS`; none: every line as it is).

    Raises ValueError for an unknown kind.
    """

    def __init__(self, kinds: Collection[str], seed: int, pace: Pace | None = None) -> None:
        unknown = sorted(set(kinds) - set(KINDS))
        if unknown:
            raise ValueError(f"there is no upset '{unknown[0]}'; there are {', '.join(KINDS)}")
        self.pace = pace or Pace()
        self._rng = Random(f"upset/{seed}")
        self._due_s = {kind: self._rng.uniform(0.2, 0.6) * self.pace.every_s[kind] for kind in KINDS if kind in kinds}
        self._free_s = 0.0  # nothing is sent before: the rest of a half line is still to come
        self._deaf_s = 0.0  # what is said before is lost
        self._lost = 0

    def pass_on(self, at_s: float, line: str) -> list[Act]:
        """What to do for one line (no line end); times never go back from one call to the next."""
        at_s = max(at_s, self._free_s)
        if at_s < self._deaf_s:
            self._lost += 1
            return []
        again = []
        if self._lost:
            again.append(Act(at_s, "send", what=f"heard again, {self._lost} lines were lost"))
            self._lost = 0
        return again + self._upset(at_s, line.encode("ascii") + LINE_END)

    def _upset(self, at_s: float, data: bytes) -> list[Act]:
        due = next((kind for kind in ("unplug", "silence", "half-lines", "noise") if self._is_due(kind, at_s)), "")
        if due == "unplug":
            done = self._unplug(at_s, data)
        elif due == "silence":
            done = self._silence(at_s)
        elif due == "half-lines":
            done = self._half(at_s, data)
        elif due == "noise":
            done = [self._noise(at_s, data)]
        else:
            return [Act(at_s, "send", data)]
        over_s = max(at_s, self._free_s, self._deaf_s)
        self._due_s[due] = over_s + self._rng.uniform(0.4, 1.6) * self.pace.every_s[due]
        return done

    def _is_due(self, kind: str, at_s: float) -> bool:
        return kind in self._due_s and at_s >= self._due_s[kind]

    def _cut(self, data: bytes) -> int:
        """A place within a line: one character at least before it, the line end or a part of it behind it."""
        return self._rng.randrange(1, len(data))

    def _unplug(self, at_s: float, data: bytes) -> list[Act]:
        span_s = self._rng.uniform(*self.pace.unplugged_s)
        pulled_s = at_s + PULLED_AFTER_S
        self._deaf_s, self._lost = pulled_s + span_s, 1
        return [
            Act(at_s, "send", data[: self._cut(data)]),
            Act(pulled_s, "unplug", what=f"unplugged in the middle of a line, for {span_s:.1f} s"),
            Act(self._deaf_s, "plug", what="plugged in again"),
        ]

    def _silence(self, at_s: float) -> list[Act]:
        span_s = self._rng.uniform(*self.pace.silent_s)
        self._deaf_s, self._lost = at_s + span_s, 1
        return [Act(at_s, "send", what=f"silence, for {span_s:.1f} s")]

    def _half(self, at_s: float, data: bytes) -> list[Act]:
        cut = self._cut(data)
        if self._rng.random() < 0.5:
            return [Act(at_s, "send", data[:cut], f"half a line, {cut} of {len(data)} bytes; the rest never comes")]
        wait_s = self._rng.uniform(*self.pace.late_s)
        self._free_s = at_s + wait_s
        what = f"half a line, {cut} of {len(data)} bytes; the rest comes {wait_s:.1f} s later"
        return [Act(at_s, "send", data[:cut], what), Act(self._free_s, "send", data[cut:])]

    def _noise(self, at_s: float, data: bytes) -> Act:
        rng = self._rng
        size = rng.randint(1, 40) if rng.random() < 0.92 else rng.randint(2000, 6000)
        name = rng.choice(("zero", "0xFF", "not UTF-8", "random"))
        noise = {
            "zero": bytes(size),
            "0xFF": b"\xff" * size,
            "not UTF-8": b"".join(rng.choice(NOT_UTF8) for _ in range(1 + size // 3)),
            "random": rng.randbytes(size),
        }[name]
        where = rng.choice(("before a line", "within a line", "as a line"))
        cut = self._cut(data) if where == "within a line" else 0
        end = LINE_END if where == "as a line" else b""
        what = f"noise {where}, {len(noise)} bytes ({name})"
        return Act(at_s, "send", data[:cut] + noise + end + data[cut:], what)
