"""The words of an entry, as a person would say it: 'channel 31: not listed', 'level satellite east: 3 of 5 bars'.

The page says an entry that is still on its way in the very same words (`static/press.js`); a test compares the two.
"""

from __future__ import annotations

from satdiag.rows import Row
from satdiag.vocabulary import UNREADABLE, bars_of

HEADS = {
    "account": "account",
    "audio": "sound",
    "bias": "antenna feed, {}",
    "channel": "channel {}",
    "clock": "step of the laptop's clock",
    "configuration readback": "stored equipment",
    "configuration": "stored equipment, {}",
    "errors": "block errors {}",
    "feed": "antenna feed",
    "finding": "finding {}",
    "gap": "gap {}",
    "heading": "heading",
    "identity": "receiver's identifier",
    "listing": "satellite source offered",
    "lock": "lock {}",
    "noise": "noise",
    "note": "note",
    "place": "place",
    "power": "power",
    "reset": "receiver",
    "ring bus": "optical ring",
    "ring other-sources": "optical ring, other sources",
    "ring": "optical ring, {}",
    "signal": "level {}",
    "site": "site",
    "supply receiver-minimum": "lowest supply",
    "supply": "supply",
    "swap": "another {}",
    "tune": "channel {}",
}
"""What an entry is about, by 'kind subject' or by kind alone; {} is its subject, the name of a path or part apart."""

VALUES = {
    "channel authorised": "plays",
    "channel missing": "not listed",
    "channel no-signal": "could not tell",
    "reset seen": "restarted by itself",
    "tune requested": "changed to it",
    "tune audio": "sound heard",
    "tune title": "title seen",
    "tune abandoned": "gave up",
}
"""Values that are said in other words, by 'kind value'; in every other state a hyphen becomes a blank."""

AS_WRITTEN = ("note", "site")
"""Kinds whose value is a person's own text."""

_SUBJECT_AS_WRITTEN = "gap"  # a source keeps its name, e.g. serial:bench


def words_of(row: Row) -> str:
    """An entry in words. Its note is left out: on a row from a page it tells of clocks."""
    if row.kind == "withdraw":
        return "took an entry back"
    subject = row.subject if row.kind == _SUBJECT_AS_WRITTEN else row.subject.replace(":", " ", 1)
    head = HEADS.get(f"{row.kind} {row.subject}") or HEADS.get(row.kind) or f"{row.kind} {{}}"
    return f"{head.replace('{}', subject)}: {_value_words(row)}"


def _value_words(row: Row) -> str:
    if row.kind in AS_WRITTEN:
        return row.value
    if row.unit:
        return reading_words(row.value, row.unit)
    return VALUES.get(f"{row.kind} {row.value}") or row.value.replace("-", " ")


def reading_words(value: str, unit: str) -> str:
    """A reading with its unit, e.g. '3 of 5 bars', '45 %', '90°', '11.2 dB'."""
    if value == UNREADABLE:
        return value
    bars = bars_of(unit)
    if bars is not None:
        return f"{value} of {bars} bars"
    return f"{value}°" if unit == "deg" else f"{value} {'%' if unit == 'percent' else unit}"
