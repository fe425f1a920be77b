"""What a repair recovered and what was lost: one form for job files and job folders."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from satdiag.rows import Row

Count = int | None


class Hole(NamedTuple):
    """A place where rows are missing: their first and last number (of a row, or of a line of observations.csv).

    `last` is None where it is not known how far it goes. `why` says what became of them, if that is known. `after`
    and `before` are the times of the rows that stand on either side, as written; None at an end of the log.
    """

    first: int
    last: Count
    why: str = ""
    after: str | None = None
    before: str | None = None


class LostDocument(NamedTuple):
    """A document that is not in the new job as it was: 'lost', 'partly' (its beginning is kept) or 'unreadable'."""

    name: str
    state: Literal["lost", "partly", "unreadable"]
    what: str


Slot = Row | Hole


@dataclass
class Found:
    """What could be read of a job, before it is checked. `slots` are its rows in order, with holes among them.

    `numbers` has the number of each slot (of a row, or of a line). `fragments` are beginnings of documents that are
    of no use without their ends. `agree`: by digest ('rows', 'documents', 'parts') whether it agrees, None where it
    is gone. `remarks` speak of further losses, `asides` of none.
    """

    unit: Literal["row", "line"]
    header: str | None
    slots: list[Slot]
    numbers: list[int]
    documents: dict[str, bytes]
    fragments: dict[str, bytes] = field(default_factory=dict)
    lost: list[LostDocument] = field(default_factory=list)
    agree: dict[str, bool | None] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    asides: list[str] = field(default_factory=list)

    @property
    def rows(self) -> list[Row]:
        """The rows without the holes."""
        return [slot for slot in self.slots if isinstance(slot, Row)]


@dataclass(frozen=True)
class Losses:
    """What a repair says. `rows`: how many are in the new job besides `added`, the rows that mark what is lost.

    `lost_rows`: how many are known to be missing; None where not even that is known of one hole.
    """

    source: str
    unit: Literal["row", "line"]
    rows: int
    added: int
    holes: tuple[Hole, ...]
    documents: tuple[LostDocument, ...]
    kept_documents: tuple[str, ...]
    agree: dict[str, bool | None]
    remarks: tuple[str, ...]
    asides: tuple[str, ...] = ()

    @property
    def lost_rows(self) -> Count:
        """How many rows are known to be missing; None where it is not known of every hole."""
        sizes = [None if hole.last is None else hole.last - hole.first + 1 for hole in self.holes]
        return None if (self.unit == "line" and sizes) or None in sizes else sum(size or 0 for size in sizes)

    @property
    def whole(self) -> bool:
        """Nothing is lost, and nothing speaks against what was found."""
        return not (self.holes or self.documents or self.remarks) and all(self.agree.values())

    def as_json(self) -> dict[str, object]:
        """For programs; keys as they are named here."""
        return {
            "source": self.source,
            "whole": self.whole,
            "rows_recovered": self.rows,
            "rows_lost": self.lost_rows,
            "rows_added": self.added,
            "unit": self.unit,
            "holes": [hole._asdict() for hole in self.holes],
            "documents_recovered": list(self.kept_documents),
            "documents_lost": [document._asdict() for document in self.documents],
            "digests_agree": self.agree,
            "remarks": [*self.remarks, *self.asides],
        }

    def lines(self) -> Iterator[str]:
        """In words, a line each."""
        yield f"{self.rows} {_plural('observation', self.rows)} and {_plural_files(self.kept_documents)} recovered."
        for hole in self.holes:
            yield f"- {_hole_text(hole, self.unit)}"
        for document in self.documents:
            word = {"lost": "lost", "partly": "partly lost", "unreadable": "left out"}[document.state]
            yield f"- {document.name}: {word}; {document.what}."
        for name, agrees in self.agree.items():
            if agrees is not True:
                yield f"- {_digest_text(name, agrees)}"
        for remark in (*self.remarks, *self.asides):
            yield f"- {remark}."
        if self.added:
            yield f"{self.added} {_plural('row', self.added)} with source 'repair' in the new job say where and when."


def _plural(word: str, count: int) -> str:
    return word if count == 1 else f"{word}s"


def _plural_files(names: tuple[str, ...]) -> str:
    return f"{len(names)} {_plural('other file', len(names))}"


def _hole_text(hole: Hole, unit: str) -> str:
    if hole.last is None:
        where = f"from {unit} {hole.first} on"
    elif hole.first == hole.last:
        where = f"{unit} {hole.first}"
    else:
        where = f"{unit}s {hole.first} to {hole.last}"
    between = {
        (True, True): f", between {hole.after} and {hole.before}",
        (True, False): f", after {hole.after}",
        (False, True): f", before {hole.before}",
        (False, False): "",
    }[hole.after is not None, hole.before is not None]
    return f"lost: {where}{between}{f' ({hole.why})' if hole.why else ''}."


_DIGEST_NAMES = {"rows": "observations", "documents": "other files", "parts": "pieces of recorded files"}


def _digest_text(name: str, agrees: bool | None) -> str:
    what = _DIGEST_NAMES[name]
    if agrees is None:
        return f"the digest of the {what} is lost: whether a letter in them has changed cannot be told."
    return f"the digest of the {what} does not agree: something is missing among them, or a letter has changed."
