"""Names and places one after the other, each with its 'and': each weighs as much as the first."""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce

from satdiag.language import listed


def chained(parts: Iterable[str]) -> str:
    """'a and b and c' in the language in use; '' of nothing."""
    found = list(parts)
    return reduce(lambda before, one: listed([before, one]), found) if found else ""
