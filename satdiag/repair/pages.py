"""The pages of a database file, each read for itself by SQLite's published format.

SQLite reads a table from its root down and stops where a page on the way is broken; here every page that is whole is
read, whatever the others look like. Sections of https://www.sqlite.org/fileformat2.html: 1.3 the header, 1.5 the free
list, 1.6 b-tree pages and overflow chains, 2.1 records.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

MAGIC = b"SQLite format 3\x00"
HEAD = 100
INDEX_INNER, TABLE_INNER, INDEX_LEAF, TABLE_LEAF = 0x02, 0x05, 0x0A, 0x0D
TREE_PAGES = (INDEX_INNER, TABLE_INNER, INDEX_LEAF, TABLE_LEAF)
SIZES = (4096, 1024, 8192, 16384, 2048, 512, 32768, 65536)
"""Sizes a page may have, the one of satdiag's own files first."""

Value = None | int | float | str | bytes


class Torn(Exception):
    """What stands there is no whole cell, record or page."""


class Cell(NamedTuple):
    """One record: its number (a table's key; 0 in an index), its values, and the overflow pages that it runs over.

    `whole` is False where the overflow chain breaks off: the last value then holds only what was there before the
    break, and values behind it are missing. In its page the cell reaches from `start` up to `end`.
    """

    number: int
    values: tuple[Value, ...]
    whole: bool
    overflow: tuple[int, ...]
    start: int
    end: int


@dataclass(frozen=True, eq=False)
class Image:
    """The bytes of a database file in pages of `size` bytes, counted from 1, of which the last may be cut short.

    `newer` holds pages of a write-ahead log that stand in the place of those of the file; `usable` is the size
    without what a page reserves at its end.
    """

    data: bytes
    size: int
    usable: int
    newer: Mapping[int, bytes]

    @property
    def count(self) -> int:
        """How many pages there are."""
        return max(-(-len(self.data) // self.size), max(self.newer, default=0))

    def page(self, number: int) -> bytes:
        """The bytes of a page, without the reserved end; fewer where the file is cut short."""
        found = self.newer.get(number)
        if found is None:
            found = self.data[(number - 1) * self.size : number * self.size]
        return found[: self.usable]


def page_size_of(data: bytes) -> int | None:
    """The size of a page as the header says it; None where the header is none."""
    size = int.from_bytes(data[16:18], "big")
    size = 65536 if size == 1 else size
    return size if data[:16] == MAGIC and size in SIZES else None


def image_of(data: bytes, size: int, newer: Mapping[int, bytes] | None = None) -> Image:
    """A file with pages of a given size."""
    first = (newer or {}).get(1, data)
    reserved = first[20] if page_size_of(first) == size else 0
    return Image(data, size, size - reserved if size - reserved >= 480 else size, newer or {})


def varint(data: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes, and where it ends. Raises Torn."""
    value = 0
    for step in range(9):
        if at + step >= len(data):
            raise Torn
        byte = data[at + step]
        if step == 8:
            return (value << 8) | byte, at + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, at + step + 1
    raise AssertionError("the ninth byte ends it")


def kind_of(page: bytes, number: int) -> int:
    """The kind of a b-tree page; 0 for any other page."""
    at = HEAD if number == 1 else 0
    return page[at] if len(page) > at and page[at] in TREE_PAGES else 0


def pointers(page: bytes, number: int) -> list[int]:
    """Where the cells of a b-tree page begin, in the order of their keys; those that cannot be are left out."""
    at = HEAD if number == 1 else 0
    head = 12 if page[at] in (INDEX_INNER, TABLE_INNER) else 8
    count = int.from_bytes(page[at + 3 : at + 5], "big")
    low = at + head + 2 * count
    found = (int.from_bytes(page[spot : spot + 2], "big") for spot in range(at + head, min(low, len(page) - 1), 2))
    return [spot for spot in found if low <= spot < len(page)]


def children(page: bytes, number: int) -> tuple[list[int], int]:
    """The pages below an inner page of a table, left to right, and the largest key that it names (0 without one)."""
    at = HEAD if number == 1 else 0
    below, last = [], 0
    for spot in pointers(page, number):
        below.append(int.from_bytes(page[spot : spot + 4], "big"))
        try:
            last = max(last, varint(page, spot + 4)[0])
        except Torn:
            continue
    return [*below, int.from_bytes(page[at + 8 : at + 12], "big")], last


def is_whole_inner(page: bytes, number: int) -> bool:
    """Whether an inner page of a table has every cell that it counts, with rising keys."""
    at = HEAD if number == 1 else 0
    found = pointers(page, number)
    try:
        keys = [varint(page, spot + 4)[0] for spot in found]
    except Torn:
        return False
    return len(found) == int.from_bytes(page[at + 3 : at + 5], "big") and keys == sorted(set(keys))


def cells(image: Image, number: int) -> Iterator[Cell | None]:
    """The cells of a leaf page by its list of them; None for each that cannot be read."""
    page = image.page(number)
    at = HEAD if number == 1 else 0
    found = pointers(page, number)
    yield from [None] * (int.from_bytes(page[at + 3 : at + 5], "big") - len(found))
    for spot in found:
        try:
            yield cell(image, page, spot, kind_of(page, number) == TABLE_LEAF)
        except Torn:
            yield None


def cell(image: Image, page: bytes, at: int, is_table: bool) -> Cell:
    """The cell that begins at a place of a leaf page of a table, or of an index. Raises Torn."""
    start = at
    length, at = varint(page, at)
    number = 0
    if is_table:
        number, at = varint(page, at)
    if length > len(image.data) + len(image.newer) * image.size or number >= 1 << 62:
        raise Torn
    local = _local(length, image.usable, is_table)
    if at + local > len(page):
        raise Torn
    payload = page[at : at + local]
    at += local
    chain: tuple[int, ...] = ()
    if local < length:
        rest, chain = _overflow(image, int.from_bytes(page[at : at + 4], "big"), length - local)
        payload += rest
        at += 4
    whole = len(payload) == length
    try:
        return Cell(number, _record(payload, whole), whole, chain, start, at)
    except Torn:
        if not chain:
            raise
        return Cell(number, (), False, chain, start, at)  # what is broken lies elsewhere, not in this page


def _local(length: int, usable: int, is_table: bool) -> int:
    """How much of a payload lies in the cell itself (section 1.6, 'Cell Payload Overflow Pages')."""
    most = usable - 35 if is_table else (usable - 12) * 64 // 255 - 23
    if length <= most:
        return length
    least = (usable - 12) * 32 // 255 - 23
    fitting = least + (length - least) % (usable - 4)
    return fitting if fitting <= most else least


def _overflow(image: Image, first: int, length: int) -> tuple[bytes, tuple[int, ...]]:
    """What lies in a chain of overflow pages, and which they are.

    A page whose pointer leads nowhere before the end is not trusted itself: what was written over it took both.
    """
    pieces: list[bytes] = []
    chain: list[int] = []
    number, left = first, length
    while left > 0:
        page = image.page(number) if 1 < number <= image.count and number not in chain else b""
        after = int.from_bytes(page[:4], "big")
        piece = page[4 : 4 + left]
        is_last = left <= image.usable - 4
        if len(piece) < min(left, image.usable - 4) or (after == 0) is not is_last:
            break
        if not is_last and after > image.count:
            break
        pieces.append(piece)
        chain.append(number)
        number, left = after, left - len(piece)
    return b"".join(pieces), tuple(chain)


def _record(payload: bytes, whole: bool) -> tuple[Value, ...]:
    """The values of a record; with a payload that breaks off, those that are there. Raises Torn."""
    size, at = varint(payload, 0)
    if size > len(payload):
        raise Torn
    kinds: list[int] = []
    while at < size:
        kind, at = varint(payload, at)
        kinds.append(kind)
    if at != size or not kinds:
        raise Torn
    if whole and size + sum(map(_width, kinds)) != len(payload):
        raise Torn
    values: list[Value] = []
    for kind in kinds:
        data = payload[at : at + _width(kind)]
        at += _width(kind)
        if at > len(payload):
            if kind >= 12 and kind % 2 == 0:  # the beginning of bytes is worth having
                values.append(data)
            break
        values.append(_value(kind, data))
    return tuple(values)


def _width(kind: int) -> int:
    """The bytes of a value by its serial type (section 2.1)."""
    if kind >= 12:
        return (kind - 12) // 2
    if kind in (10, 11):
        raise Torn
    return (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)[kind]


def _value(kind: int, data: bytes) -> Value:
    if kind >= 12 and kind % 2 == 0:
        return data
    if kind >= 13:
        try:
            return data.decode()
        except UnicodeDecodeError:
            raise Torn from None
    if kind == 0:
        return None
    if kind == 7:  # no table of a job file holds a number with a fraction
        return 0.0
    return kind - 8 if kind in (8, 9) else int.from_bytes(data, "big", signed=True)


_KEYED = re.compile(rb"[\x04-\x40](?=\x00)")
"""The head of a record whose first column is the table's key: its length, then the type 0 (section 2.1)."""

_BEFORE_HEAD = range(12, 1, -1)
"""How many bytes before that head its cell may begin: two numbers of one to nine bytes, of which few are long."""


def carved(image: Image, number: int) -> Iterator[Cell]:
    """Cells of a table with a numbered key, found in a page whose head or list of cells is broken.

    A place counts only if length, types and widths of a record fit each other to the byte; which records are wanted
    is for the caller to say.
    """
    page = image.page(number)
    behind = 0
    for head in _KEYED.finditer(page):
        for start in (head.start() - back for back in _BEFORE_HEAD):
            if start < behind or _head_of(page, start) != head.start():
                continue
            try:
                found = cell(image, page, start, is_table=True)
            except Torn:
                continue
            if found.whole:
                yield found
                behind = found.end
                break


def _head_of(page: bytes, start: int) -> int:
    """Where the record begins, were there a cell of a table at `start`; -1 if there is none."""
    try:
        return varint(page, varint(page, start)[1])[1]
    except Torn:
        return -1


def free_pages(image: Image) -> frozenset[int]:
    """The pages on the free list, as far as it can be followed (section 1.5)."""
    head = image.page(1)
    if page_size_of(head) is None:
        return frozenset()
    found: set[int] = set()
    trunk = int.from_bytes(head[32:36], "big")
    while 1 < trunk <= image.count and trunk not in found:
        page = image.page(trunk)
        count = int.from_bytes(page[4:8], "big")
        if len(page) < image.usable or count > image.usable // 4 - 2:
            break
        found.add(trunk)
        found |= {int.from_bytes(page[spot : spot + 4], "big") for spot in range(8, 8 + 4 * count, 4)}
        trunk = int.from_bytes(page[:4], "big")
    return frozenset(found)
