"""What the keys of a line profile may hold: each check says what is wrong with a value, or None.

A value is as TOML gives it, with numbers that have a point as `Decimal`. What is said ends a sentence that begins
with the value.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from satdiag.recorder.profile_pattern import compile_pattern

Trouble = Callable[[Any], str | None]

MAX_FIELDS = 256
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}", re.ASCII)


def text(value: Any) -> str | None:
    """A text."""
    return None if isinstance(value, str) else "is not text in quotes"


def some_text(value: Any) -> str | None:
    """A text that is not empty."""
    return text(value) or (None if value else "is empty")


def name(value: Any) -> str | None:
    """A plain name, safe in a file name and as a source."""
    ok = isinstance(value, str) and NAME.fullmatch(value)
    return None if ok else "is not a plain name (at most 40 letters, digits, '.', '_', '-')"


def flag(value: Any) -> str | None:
    """True or false."""
    return None if isinstance(value, bool) else "is not true or false"


def one_of(*words: Any) -> Trouble:
    """One of these words or numbers."""
    shown = ", ".join(str(word) for word in words)
    return lambda value: None if not isinstance(value, bool) and value in words else f"is not one of {shown}"


def number(low: float, high: float, whole: bool = False) -> Trouble:
    """A number in this range."""

    def trouble(value: Any) -> str | None:
        if isinstance(value, bool) or not isinstance(value, int if whole else (int, Decimal)):
            return "is not a whole number" if whole else "is not a number"
        if isinstance(value, Decimal) and not value.is_finite():
            return "is not a number"
        return None if low <= value <= high else f"is outside {low:g} .. {high:g}"

    return trouble


def scale(value: Any) -> str | None:
    """A factor."""
    return number(-1e12, 1e12)(value) or (None if value else "is zero")


def texts(value: Any) -> str | None:
    """A list of texts."""
    ok = isinstance(value, list) and all(isinstance(part, str) for part in value)
    return None if ok else 'is not a list of texts such as ["--", "ERR"]'


def beginnings(value: Any) -> str | None:
    """A list of texts of which none is empty."""
    return texts(value) or (None if all(value) else "holds an empty text, and every line begins with that")


def names(value: Any) -> str | None:
    """A list of names, no two alike."""
    if trouble := texts(value):
        return trouble
    if not value or not all(value):
        return "is empty or holds an empty name"
    if len(value) > MAX_FIELDS:
        return f"has more than {MAX_FIELDS} names"
    return None if len(set(value)) == len(value) else "names a field twice"


def pattern(value: Any) -> str | None:
    """A regular expression that cannot take long."""
    if trouble := some_text(value):
        return trouble
    try:
        compile_pattern(value)
    except ValueError as error:
        return str(error)
    return None


def patterns(value: Any) -> str | None:
    """One or more regular expressions, each with a named group."""
    texts = value if isinstance(value, list) else [value]
    if not 0 < len(texts) <= 20:
        return "does not hold one to twenty patterns"
    for text in texts:
        if trouble := pattern(text):
            return trouble
        if not compile_pattern(text).groupindex:
            return "has no named group such as (?P<level>[0-9.]+)"
    return None


def mark(value: Any) -> str | None:
    """A single character that is no blank."""
    ok = isinstance(value, str) and len(value) == 1 and value.isprintable() and value != " "
    return None if ok else "is not a single character that can be seen"


def separator(value: Any) -> str | None:
    """A short text."""
    if trouble := some_text(value):
        return trouble
    if len(value) > 10:
        return "is longer than 10 characters"
    return None if value.replace("\t", "").isprintable() else "holds a character that no line can hold"


def message(value: Any) -> str | None:
    """What may be sent to a device."""
    return some_text(value) or (None if len(value) <= 200 else "is longer than 200 characters")


def field(value: Any) -> str | None:
    """A field's name or number."""
    if isinstance(value, int) and not isinstance(value, bool):
        return None if 1 <= value <= MAX_FIELDS else f"is outside 1 .. {MAX_FIELDS}"
    return None if isinstance(value, str) and value else "is neither the name of a field nor its number"


def words(value: Any) -> str | None:
    """Texts and what they stand for."""
    ok = isinstance(value, Mapping) and value and all(isinstance(text, str) and text for text in value.values())
    return None if ok else 'is not a table of words such as {"1" = "yes", "0" = "no"}'


def column(value: Any) -> str | None:
    """A text, or a field in braces."""
    ok = isinstance(value, Mapping) or (isinstance(value, str) and value)
    return None if ok else 'is neither text nor a field such as {field = "level"}'


def condition(value: Any) -> str | None:
    """A condition in braces."""
    return None if isinstance(value, Mapping) else 'is not a condition such as {field = "type", is = "SIG"}'


def wanted(value: Any) -> str | None:
    """A text, or several of which one must be there."""
    ok = isinstance(value, str) or (isinstance(value, list) and value and texts(value) is None)
    return None if ok else "is neither text nor a list of texts"
