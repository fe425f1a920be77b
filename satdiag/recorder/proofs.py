"""What a row says to the exposure clock: proof of awake or received, something contrary, or nothing."""

from __future__ import annotations

from typing import NamedTuple

from satdiag.rows import parse_number
from satdiag.sheet import Receiver
from satdiag.vocabulary import UNREADABLE


class Item(NamedTuple):
    """What is kept of a row. `n` numbers the rows as they came.

    `t_us` counts microseconds on its line of time: that of a recorder run, or the wall clock.
    """

    n: int
    line: str
    t_us: int
    kind: str
    subject: str
    value: str
    unit: str
    source: str
    span_s: str
    id: str


class Word(NamedTuple):
    """What a row says: in which stream of rows that speak of the same, what, and in which role.

    Roles: 'received' and 'awake' prove; 'off', 'no' (one path) and 'nowhere' (any path) are contrary; 'turn' (a gap,
    a swapped receiver) ends everything before it; 'event' stands for itself.
    """

    stream: tuple[str, str]
    says: str
    role: str


RAISES = {
    "received": ("proof", "received"),
    "awake": ("proof",),
    "off": ("off",),
    "nowhere": ("nowhere",),
    "turn": ("turn",),
}
"""What a row in a role counts as, for the rows of other streams (see `raised_by`)."""

ENDED_BY = {
    "received": ("turn", "off", "nowhere"),
    "awake": ("turn", "off"),
    "off": ("turn", "proof"),
    "nowhere": ("turn", "received"),
    "no": ("turn",),
    "event": ("turn",),
}
"""After which a row is no mere repetition of the one before it in its stream (see `ended_by`)."""


def raised_by(word: Word) -> tuple[str, ...]:
    """What a row counts as, for the rows of other streams: by its role, and on its path for the other sources."""
    if word.role in ("received", "no", "nowhere"):
        return (*RAISES.get(word.role, ()), f"{word.says} on {' '.join(word.stream)}")
    return RAISES.get(word.role, ())


def ended_by(word: Word) -> tuple[str, ...]:
    """After what a row is no mere repetition of the one before it in its stream."""
    if word.role in ("received", "no", "nowhere"):
        other = "no" if word.says == "yes" else "yes"
        return (*ENDED_BY[word.role], f"{other} on {' '.join(word.stream)}")
    return ENDED_BY[word.role]


CONTRARY = ("off", "no", "nowhere", "turn")


def word_of(item: Item, receiver: Receiver) -> Word | None:
    """What a row says to the exposure clock (see `satdiag.exposure`), or None."""
    kind, subject, value = item.kind, item.subject, item.value
    if value == UNREADABLE:
        return None
    if kind == "gap" or (kind, subject) == ("swap", "receiver"):
        return Word((kind, subject), value, "turn")
    if kind in ("account", "reset") or (kind, subject) == ("ring", "bus"):
        return Word((kind, ""), value, "event")
    if kind == "power":
        return Word((kind, ""), *(("awake", "awake") if value == "awake" else ("off", "off")))
    if kind == "lock":
        return _path_word(kind, subject, value == "yes")
    if kind == "signal":
        floor, level = receiver.floor_of(item.unit), parse_number(value)
        return None if floor is None or level is None else _path_word(kind, subject, level > floor)
    return _sight(item)


def _path_word(kind: str, path: str, received: bool) -> Word:
    if received:
        return Word((kind, path), "yes", "received")
    return Word((kind, path), "no", "nowhere" if path == "any" else "no")


def _sight(item: Item) -> Word | None:
    """What was seen or heard of a channel, as a proof of awake. No two of them are contrary to each other."""
    kind, value = item.kind, item.value
    seen = {
        "channel": value in ("authorised", "refused") and not parse_number(item.span_s or "0"),
        "tune": True,
        "audio": value == "playing",
    }
    if not seen.get(kind, False):
        return None
    heard = {"channel": value, "tune": "audio" if value == "audio" else "mark"}.get(kind, "")
    return Word((kind, heard), "seen", "awake")
