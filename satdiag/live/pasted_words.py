"""The words by which a pasted list says what its columns hold, and which channels play without an account."""

from __future__ import annotations

import re

from satdiag.language import mark

HEADS = {
    "number": {"number", "no", "nr", "num", "#", "ch", "chan", "channel number", "channel no", "ch no", "channel #"},
    "name": {"name", "channel name", "title", "station", "station name"},
    "category": {"category", "genre", "group", "section", "type"},
    "packages": {"packages"},
    "open": {"open", "free", "access", "abierto", "libre", "ouvert", "gratuit"},
}
HEADED = {
    "number": mark("'{head}' is the number"),
    "name": mark("'{head}' is the name"),
    "category": mark("'{head}' is the category"),
    "packages": mark("'{head}' is the packages"),
    "open": mark("'{head}' says what is open"),
}
IN_COLUMN = {
    "number": mark("column {number} as the number"),
    "name": mark("column {number} as the name"),
    "category": mark("column {number} as the category"),
}
OPEN = frozenset({"open", "free", "free to air", "abierto", "libre", "gratis", "ouvert", "gratuit"})
_YES = frozenset({"yes", "y", "x", "1", "true", "sí", "si", "oui", "✓", "✔"})
_ASIDE = re.compile(r"(.*\S) ?[(\[]([^()\[\]]+)[)\]]")


def says_open(text: str) -> bool:
    """True for one of the words for a channel that plays without an account, however its letters are written."""
    return text.strip().lower() in OPEN


def is_ticked(text: str) -> bool:
    """True for a field that says so in a column which asks it."""
    return says_open(text) or text.strip().lower() in _YES


def without_open(name: str) -> str | None:
    """The name without '(open)' or the like at its end; None if it says nothing of the kind."""
    split = _ASIDE.fullmatch(name)
    return split[1] if split is not None and says_open(split[2]) else None
