"""What `checklist --json` prints: frozen dataclasses, ready for JSON. Unknown is None."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from satdiag.findings import Instant, plain_values

SCHEMA = 1

State = Literal["proved", "contradicted", "partly", "missing", "does-not-apply"]
STATES: tuple[State, ...] = ("proved", "contradicted", "partly", "missing", "does-not-apply")


@dataclass(frozen=True)
class Item:
    """One thing to check, and what the log says of it.

    `question`: its place among the ten questions that lead from the ring to the account, None if it is none of
    them. `by_hand`: no row can prove it. `earlier`: what was seen was seen before the last visit, swap or change
    that it depends on, and is no proof of now. `seen`: the row or reading that it rests on, at the instant `at`.
    """

    key: str
    title: str
    question: int | None
    why: str
    how: str
    caution: str
    by_hand: bool
    state: State
    earlier: bool
    text: str
    seen: str
    at: Instant | None
    rows: tuple[str, ...]


@dataclass(frozen=True)
class Section:
    """A part of the installation, its items in the order to check them in."""

    key: str
    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True)
class Checklist:
    """The whole walk. `next`: the key of the item to see to first; None when nothing is left."""

    satdiag: str
    job: str
    as_of: Instant | None
    text: str
    counts: Mapping[str, int]
    next: str | None
    sections: tuple[Section, ...]
    schema: int = SCHEMA

    @property
    def items(self) -> tuple[Item, ...]:
        """All items in the order of the walk."""
        return tuple(item for section in self.sections for item in section.items)

    def to_dict(self) -> dict[str, Any]:
        """The document as plain JSON values, `schema` first."""
        plain: dict[str, Any] = plain_values(self)
        return {"schema": plain.pop("schema"), **plain}
