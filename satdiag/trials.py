"""Trials of a known-good part: what was said of it, when it was put in, and when the old part went back.

The log has one word for a trial. That the old part is back in shows where the same part is said to be the reverse of
what it was just before: worse after better, or better after worse. That is the second half of one trial, and bears it
out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

REVERSED = {"better": "worse", "worse": "better"}
LENT = ("antenna", "lead")
"""Parts whose trial leaves the receiver the same: readings in between speak of the lent part."""


@dataclass(frozen=True)
class Trial:
    """What was said, when the part was put in, and when the old one went back (s since the first row), if told."""

    said: str
    in_s: float
    back_s: float | None = None


def trials(rows: Iterable[tuple[float, str]]) -> list[Trial]:
    """The trials of one part from its rows (s since the first row, word), oldest first."""
    found: list[Trial] = []
    for t_s, said in rows:
        last = found[-1] if found else None
        if last and last.back_s is None and REVERSED.get(last.said) == said:
            found[-1] = replace(last, back_s=t_s)
        else:
            found.append(Trial(said, t_s))
    return found
