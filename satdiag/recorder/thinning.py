"""What thinning a log goes by, row by row (`thin_log`) or all rows at once (`thin_start`)."""

from __future__ import annotations

import sys
from typing import NamedTuple

from satdiag.recorder.proofs import Item, Word
from satdiag.vocabulary import RESET_DEAD_S

REPEAT_S = 240.0
"""Of rows that repeat each other one is kept at least this often; below the hold times of the exposure clock."""

RECENT_S = 300.0
"""Rows are thinned once they are this old: what comes late, reaches back or is taken back soon finds them all."""

HAND = "hand"
BEFORE = "(before)"
"""The line of time of the rows that were there when the run began; no run can be named so."""

PER_S = 1_000_000  # microseconds
TOUCHING_US = 2_000  # spans are written to the millisecond

Key = tuple[str, tuple[str, ...]]


class Stream(NamedTuple):
    """Rows that repeat each other: when one was last kept, the latest one since, and what counts stood then."""

    says: str
    kept_us: int
    latest: Item | None
    stood: tuple[int, ...]


def stream_of(word: Word, item: Item) -> tuple[str, ...]:
    """Rows repeat each other within one source, as the clock may go by one alone; events come from any."""
    return word.stream if word.role == "event" else (*word.stream, item.source)


def repeat_limit_s(kind: str) -> float:
    """One row in so long is kept of rows that repeat each other."""
    return RESET_DEAD_S if kind == "reset" else REPEAT_S


def made(n: int, line: str, t_us: int, *texts: str) -> Item:
    """A row to be kept: `texts` are its kind, subject, value, unit, source, span_s and id."""
    kind, subject, value, unit, source, span_s, identifier = texts
    value = "" if kind == "note" else value
    line, kind, subject, value, unit, source = map(sys.intern, (line, kind, subject, value, unit, source))
    return Item(n, line, t_us, kind, subject, value, unit, source, span_s, identifier)
