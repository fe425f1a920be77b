"""Where things stand in a TOML text, for messages, and what Python's parser must not be given."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

_HEADING = re.compile(r"\s*\[\[?\s*([A-Za-z0-9_-]+)\s*\]")
_KEY = re.compile(r"\s*\"?([^\"=\s]+)\"?\s*=")
_DEEP_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){99}""")


@lru_cache(maxsize=4)
def places_of(text: str) -> Mapping[tuple[str, int, str], int]:
    """The line of each table's head (key blank) and of the first statement of each of its keys, by table and number.

    One pass for all messages about a text: thousands of tables may be wrong at once.
    """
    found: dict[tuple[str, int, str], int] = {}
    seen: dict[str, int] = {}
    current = None
    for number, line in enumerate(text.split("\n"), 1):
        if heading := _HEADING.match(line):
            current = heading[1]
            seen[current] = seen.get(current, -1) + 1
            found[current, seen[current], ""] = number
        elif current is not None and (key := _KEY.match(line)):
            found.setdefault((current, seen[current], key[1]), number)
    return found


def deep_key(text: str) -> int | None:
    """The line of a key such as a.a.a.a with a hundred parts, or None.

    Python's TOML parser takes time and memory with the square of their number: a file of 200 kB took a computer down.
    """
    found = _DEEP_KEY.search(text)
    return None if found is None else text.count("\n", 0, found.start()) + 1
