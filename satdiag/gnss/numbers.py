"""The texts of fields as numbers. A field that is empty or is no plain number is None, never a guess."""

from __future__ import annotations

import re
from functools import lru_cache

_NUMBER = re.compile(r"[+-]?[0-9]{1,9}(\.[0-9]{0,12})?|[+-]?\.[0-9]{1,12}", re.ASCII)


@lru_cache(maxsize=8192)
def number(text: str) -> float | None:
    """A plain decimal number, or None."""
    return float(text) if _NUMBER.fullmatch(text) else None


@lru_cache(maxsize=2048)
def whole(text: str) -> int | None:
    """A whole number without a sign, or None."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 9 else None


def hex_digit(text: str) -> int | None:
    """One hexadecimal digit, or None: signal and system ids."""
    return int(text, 16) if len(text) == 1 and text in "0123456789abcdefABCDEF" else None
