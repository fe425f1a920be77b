"""The records of a job file's tables, found page by page and known by their shape.

A row, a document, a piece of one and an entry of `meta` each have a shape of their own: the number of columns and
the type of each. So they are known even where the page that names the tables is gone.

The tables of a job file only grow. A page that the tree of a table leads to is believed before one that it does not
lead to; a page on the free list is never read, since what lies there was replaced. Cells that no list of cells names
are looked for only in a page that is visibly broken, and count only for numbers that are found nowhere else. A row in
such a page that ends where no whole cell begins is left out: what destroyed the next one may have reached into it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from satdiag.job import KNOWN_FILES, OBSERVATIONS
from satdiag.repair.pages import (
    INDEX_INNER,
    INDEX_LEAF,
    TABLE_INNER,
    TABLE_LEAF,
    Cell,
    Image,
    carved,
    cells,
    children,
    free_pages,
    is_whole_inner,
    kind_of,
)
from satdiag.rows import Row

_ROW_COLUMNS = len(Row._fields) + 1
_SMALLEST_ROW = 40
"""Bytes: two for length and number, 14 for the types, 20 of the time, and a kind, a subject and a value."""


@dataclass(frozen=True)
class Document:
    """The bytes of a document, or of a piece of one; not `whole`: only its beginning."""

    data: bytes
    whole: bool


@dataclass
class Records:
    """What was found. Rows and parts by number; `last` is the largest number of a row that is known to have been.

    `torn` are the numbers at which two different rows stand, `names_seen` the documents that an index names.
    `unread` counts pages that hold nothing that could be read and are not known to be free, of `pages`; `most` is
    how many rows there is room for: a larger number is none;
    `end_known`: the way to the last page of the observations is whole, and so is that page.
    """

    rows: dict[int, Row] = field(default_factory=dict)
    parts: dict[int, tuple[str, Document]] = field(default_factory=dict)
    documents: dict[str, Document] = field(default_factory=dict)
    meta: dict[str, str] = field(default_factory=dict)
    names_seen: set[str] = field(default_factory=set)
    torn: set[int] = field(default_factory=set)
    last: int = 0
    pages: int = 0
    unread: int = 0
    most: int = 0
    end_known: bool = False


@dataclass
class _Leaf:
    """The records of one leaf page, by shape."""

    rows: list[tuple[int, Row]] = field(default_factory=list)
    parts: list[tuple[int, str, Document]] = field(default_factory=list)
    documents: list[tuple[str, Document]] = field(default_factory=list)
    meta: list[tuple[str, str]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    broken: bool = False

    def __len__(self) -> int:
        return len(self.rows) + len(self.parts) + len(self.documents) + len(self.meta) + len(self.names)


def salvage(image: Image, dig: bool = True) -> Records:
    """Every record that can be read; without `dig` only those that a page lists."""
    free = free_pages(image)
    kinds = {number: kind_of(image.page(number), number) for number in range(1, image.count + 1)}
    runs_over: set[int] = set()
    leaves = {
        number: _leaf(image, number, cells(image, number), runs_over)
        for number, kind in kinds.items()
        if kind in (TABLE_LEAF, INDEX_LEAF) and number not in free
    }
    reached, complete = _reached(image, kinds, leaves)
    lost = [number for number, kind in kinds.items() if not kind and number not in free and number not in runs_over]
    broken = [*lost, *(number for number, leaf in leaves.items() if leaf.broken)]
    others = [] if complete else [number for number in leaves if number not in reached]
    dug = [_leaf(image, number, [None, *carved(image, number)], runs_over) for number in broken if dig]
    found = Records(pages=image.count, most=(len(image.data) + len(image.newer) * image.size) // _SMALLEST_ROW)
    for part in ([leaves[number] for number in reached if number in leaves], [leaves[one] for one in others], dug):
        _take(found, part)
    found.last = max([0, *found.rows, *(key for key in _keys_above(image, kinds, leaves) if key <= found.most)])
    found.end_known = _end_known(image, kinds, leaves)
    read = {number for number, leaf in leaves.items() if len(leaf)}
    found.unread = sum(number not in runs_over and number not in read for number in broken)
    return found


def _leaf(image: Image, page: int, found: Iterable[Cell | None], runs_over: set[int]) -> _Leaf:
    """The records among the cells of a page; what their overflow pages are is noted in `runs_over`."""
    leaf = _Leaf()
    every = list(found)
    known = [cell for cell in every if cell is not None]
    leaf.broken = len(known) < len(every)
    for cell in known:
        runs_over.update(cell.overflow)
        _sort_in(leaf, cell)
    if leaf.broken and len(image.page(page)) == image.usable:
        starts = {cell.start for cell in known} | {image.usable}
        doubtful = {cell.number for cell in known if cell.end not in starts}
        leaf.rows = [(number, row) for number, row in leaf.rows if number not in doubtful]
    leaf.rows = _ascending(leaf.rows)
    return leaf


def _sort_in(leaf: _Leaf, cell: Cell) -> None:
    """Put a record where it belongs by its shape; one of no known shape is left out."""
    match cell.values:
        case (None, *texts) if len(texts) == _ROW_COLUMNS - 1 and cell.whole and cell.number > 0:
            if all(isinstance(text, str) for text in texts[:-1]) and isinstance(texts[-1], str | None):
                leaf.rows.append((cell.number, Row(*texts)))  # type: ignore[arg-type]
        case (None, str(name), bytes(data)) if _is_document(name) and cell.number > 0:
            leaf.parts.append((cell.number, name, Document(data, cell.whole)))
        case (str(name), bytes(data)) if _is_document(name):
            leaf.documents.append((name, Document(data, cell.whole)))
        case (str(key), str(value)) if cell.number == 0:
            leaf.meta.append((key, value))
        case (str(name), int()) if cell.number == 0 and _is_document(name):
            leaf.names.append(name)


def _is_document(name: str) -> bool:
    return KNOWN_FILES.fullmatch(name) is not None and name != OBSERVATIONS


def _ascending(rows: list[tuple[int, Row]]) -> list[tuple[int, Row]]:
    """The most rows of a page whose numbers rise: a number that a stray byte made up falls out.

    The longest rising run of a list, by the usual bisection over the ends of the best runs of each length.
    """
    ends: list[int] = []
    places: list[int] = []
    before: list[int | None] = []
    for place, (number, _) in enumerate(rows):
        length = bisect_left(ends, number)
        before.append(places[length - 1] if length else None)
        ends[length:] = [number, *ends[length + 1 :]]
        places[length:] = [place, *places[length + 1 :]]
    kept = []
    at = places[-1] if places else None
    while at is not None:
        kept.append(rows[at])
        at = before[at]
    return kept[::-1]


def _take(found: Records, leaves: Iterable[_Leaf]) -> None:
    """Add what pages hold, for numbers and names that no page believed before them has; equal ones may come twice."""
    rows: dict[int, list[Row]] = {}
    fresh = Records()
    for leaf in leaves:
        for number, row in leaf.rows:
            rows.setdefault(number, []).append(row)
        for number, name, document in leaf.parts:
            fresh.parts[number] = _better(fresh.parts.get(number), (name, document))
        for name, document in leaf.documents:
            fresh.documents[name] = _better((name, fresh.documents.get(name, document)), (name, document))[1]
        fresh.meta |= leaf.meta
        found.names_seen |= set(leaf.names)
    for number, versions in rows.items():
        if number in found.rows or number in found.torn or number > found.most:
            continue
        if len(set(versions)) > 1:
            found.torn.add(number)
        else:
            found.rows[number] = versions[0]
    found.parts = {**fresh.parts, **found.parts}
    found.meta = {**fresh.meta, **found.meta}
    for name, document in fresh.documents.items():
        found.documents[name] = _better((name, found.documents.get(name, document)), (name, document))[1]


def _better(one: tuple[str, Document] | None, other: tuple[str, Document]) -> tuple[str, Document]:
    """The whole one of two; of two whole ones the first."""
    return other if one is None or (other[1].whole and not one[1].whole) else one


def _reached(image: Image, kinds: Mapping[int, int], leaves: Mapping[int, _Leaf]) -> tuple[list[int], bool]:
    """The leaf pages that the tables lead to, in their order, and whether the way to all of them is whole."""
    roots = dict(_roots(image, kinds))
    complete = set(roots) >= {"documents", "observations", "meta"}
    found: list[int] = []
    seen: set[int] = set()
    waiting = list(roots.values())[::-1]
    while waiting:
        number = waiting.pop()
        if number in seen:
            continue
        seen.add(number)
        kind = kinds.get(number, 0)
        if kind == TABLE_INNER:
            waiting += children(image.page(number), number)[0][::-1]
        elif number in leaves:
            found.append(number)
            complete = complete and not leaves[number].broken
        elif kind != INDEX_INNER:  # an index has nothing that a table lacks
            complete = False
    return found, complete


def _roots(image: Image, kinds: Mapping[int, int]) -> Iterator[tuple[str, int]]:
    """The tables and indexes that the first page names, with the page each begins at."""
    if kinds.get(1) != TABLE_LEAF:
        return
    for cell in cells(image, 1):
        match cell:
            case Cell(values=(str(), str(name), str(), int(root), *_)):
                yield name, root


def _keys_above(image: Image, kinds: Mapping[int, int], leaves: Mapping[int, _Leaf]) -> Iterator[int]:
    """Numbers of rows that inner pages name: each of those rows was there, whether its page is still, or not.

    An inner page belongs to the observations if a page below it does.
    """
    inner = {
        number: children(image.page(number), number)
        for number, kind in kinds.items()
        if kind == TABLE_INNER and is_whole_inner(image.page(number), number)
    }
    ours = {number for number, leaf in leaves.items() if leaf.rows}
    grown = True
    while grown:
        more = {number for number, (below, _) in inner.items() if number not in ours and ours.intersection(below)}
        ours |= more
        grown = bool(more)
    for number in ours & inner.keys():
        below, last = inner[number]
        is_there = kinds.get(below[-1]) == TABLE_INNER or _holds_beyond(leaves.get(below[-1]), last)
        yield last if is_there else last + 1


def _holds_beyond(leaf: _Leaf | None, last: int) -> bool:
    """A leaf page is whole, and its rows are those behind a number."""
    return leaf is not None and not leaf.broken and bool(leaf.rows) and leaf.rows[0][0] > last


def _end_known(image: Image, kinds: Mapping[int, int], leaves: Mapping[int, _Leaf]) -> bool:
    """The way from the root of the observations to their last page is whole, and so is that page."""
    number = dict(_roots(image, kinds)).get("observations", 0)
    seen: set[int] = set()
    last = 0
    while kinds.get(number) == TABLE_INNER and number not in seen:
        seen.add(number)
        below, last = children(image.page(number), number)
        number = below[-1]
    leaf = leaves.get(number)
    return _holds_beyond(leaf, last) or (leaf is not None and not seen and not leaf.broken)
