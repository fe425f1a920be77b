"""Numbered names in the place of a person's own, and a count of all that was taken out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection

KEPT_SOURCES = ("hand", "page", "gnss", "serial", "replay", "import")
"""The words that sources begin with: the analysis knows the receiver's readouts and the sky's by them."""


class Names:
    """Gives each name of a kind a numbered one, the same each time; words that are common to all stay.

    `removed` counts by what was taken out, in the order of `copying.LABELS`.
    """

    def __init__(self, satellites: Collection[str] = ()) -> None:
        self.removed: Counter[str] = Counter()
        self._known: dict[str, dict[str, str]] = {
            "satellite": {name: name for name in satellites},
            "node": {"receiver": "receiver"},
            "package": {"open": "open", "": ""},
        }

    def renamed(self, kind: str, name: str) -> str:
        """The name to write in the place of one of this kind ('site', 'satellite', 'node', 'package', ...)."""
        known = self._known.setdefault(kind, {})
        if name not in known:
            number = 1 + sum(1 for new in known.values() if new.startswith(f"{kind}-"))
            known[name] = f"{kind}-{number}"
            self.removed["categories" if kind == "category" else f"{kind}s"] += 1
        return known[name]

    def source(self, name: str) -> str:
        """A source's name: 'serial:my-radio' becomes 'serial:source-1'; a plain known word stays."""
        head, colon, _ = name.partition(":")
        if name in ("", *KEPT_SOURCES):
            return name
        new = self.renamed("source", name)
        return f"{head}:{new}" if colon and head in KEPT_SOURCES else new

    def count(self, what: str, number: int = 1) -> None:
        """Count something that was taken out."""
        if number:
            self.removed[what] += number
