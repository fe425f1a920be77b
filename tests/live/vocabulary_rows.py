"""Rows of everything that the vocabulary allows: each kind, subject, state and unit once."""

from __future__ import annotations

from satdiag.rows import Row
from satdiag.vocabulary import FAULTS, TABLE, Entry, takes_unreadable

TIME = "2031-05-03T13:44:12Z"
STANDS_FOR = {
    "NAME": ("east", "mid.2_b-3"),
    "PATH": ("satellite", "repeater"),
    "CHANNEL": ("0", "31", "9999999"),
    "SOURCE": ("serial:bench", "gnss"),
    "FAULT": (*FAULTS, "none", "other"),
    "ANY": ("", "two words"),
}
VALUES = {"site": ("yard-two",), "row-id": ("r1-7",), "text": ("well-known, no-signal: a & b",)}


def every_row() -> list[Row]:
    """One row for each subject with each value and unit; numbers get a few values each."""
    return [
        Row(TIME, entry.kind, subject, value, unit)
        for entry in TABLE
        for template in entry.subjects
        for subject in _subjects(template)
        for value, unit in _values(entry)
    ]


def _subjects(template: str) -> list[str]:
    head, colon, tail = template.rpartition(":")
    return [f"{head}{colon}{name}" for name in STANDS_FOR.get(tail, (tail,))]


def _values(entry: Entry) -> list[tuple[str, str]]:
    found = [(value, "") for value in entry.states or VALUES.get(entry.value, ())]
    if entry.value in ("number", "whole"):
        numbers = ["3"] if entry.value == "whole" else ["3", "0"]
        for unit in entry.units or ("",):
            for name in ("bars/5", "bars/10") if unit == "bars/N" else (unit,):
                found += [(number, name) for number in numbers]
        if entry.minimum is None and entry.value == "number":
            found += [("-11.25", unit) for unit in entry.units if unit not in ("percent", "bars/N")]
    return [*found, ("unreadable", "")] if takes_unreadable(entry.kind) else found
