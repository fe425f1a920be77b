"""Regular expressions that cannot stand still for long: checked before they are used, refused with what to write.

A pattern is matched against a whole line by backtracking. At each place where the engine has a choice (go on
repeating or stop, take an option or not, this alternative or that one), the next character settles it if the
characters that may come on either side have none in common: then a wrong choice fails at once, and matching takes
time in proportion to the line (the deterministic expressions of Brüggemann-Klein and Wood, "One-Unambiguous Regular
Languages", Information and Computation 142, 1998; from memory). Every other choice multiplies the ways to try: by the
length of the line for a repeat, by two for an option, by their number for alternatives, to the power of the count
inside a repeat. A pattern with more than `MAX_WAYS` ways on a line of `MAX_CHARACTERS` is refused.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator, Sequence
from importlib import import_module
from typing import Any

from satdiag.errors import shown

MAX_CHARACTERS = 1000
"""A longer line is not matched with a pattern."""

MAX_WAYS = 10_000
MAX_PATTERN = 1000
_END = ""
"""Stands for the end of the line among the characters that may come next."""

_CLASSES = {
    "CATEGORY_DIGIT": r"\d",
    "CATEGORY_NOT_DIGIT": r"\D",
    "CATEGORY_SPACE": r"\s",
    "CATEGORY_NOT_SPACE": r"\S",
    "CATEGORY_WORD": r"\w",
    "CATEGORY_NOT_WORD": r"\W",
}
_REFUSED = {
    "GROUPREF": "refers back to a group",
    "GROUPREF_EXISTS": "asks whether a group took part",
    "ASSERT": "looks ahead or behind",
    "ASSERT_NOT": "looks ahead or behind",
}
_TOO_MANY = (
    "may try too many ways on one line: let each repeated part stop at a character that it cannot hold itself, "
    "e.g. [^,]* instead of .* before a comma"
)

Characters = frozenset[str]


def compile_pattern(text: str) -> re.Pattern[str]:
    """A pattern for whole lines; \\d, \\w and \\s mean ASCII. Raises ValueError that says what is wrong with it."""
    if len(text) > MAX_PATTERN:
        raise ValueError(f"is longer than {MAX_PATTERN} characters")
    parser = import_module("re._parser")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            tree, pattern = parser.parse(text, re.ASCII), re.compile(text, re.ASCII)
    except (RecursionError, OverflowError):
        raise ValueError("is nested too deeply or counts too far") from None
    except (re.error, ValueError) as error:
        raise ValueError(f"is no regular expression: {shown(str(error), 200)}") from None
    except Warning as warning:
        raise ValueError(f"is not clear: {shown(str(warning), 200)}") from None
    try:
        ways = _Ways(tree).count
    except RecursionError:
        raise ValueError("is nested too deeply") from None
    if ways > MAX_WAYS:
        raise ValueError(_TOO_MANY)
    return pattern


class _Ways:
    """Counts the ways in which a parsed pattern may be tried (`count`, not exact above `MAX_WAYS`)."""

    def __init__(self, tree: Any) -> None:
        self._ignore_case = bool(tree.state.flags & re.IGNORECASE)
        self._dot_all = bool(tree.state.flags & re.DOTALL)
        self._universe = _universe(tree)
        self._members: dict[str, Characters] = {}
        self.count = self._sequence(tree, frozenset([_END]))[1]

    def _sequence(self, nodes: Sequence[Any], after: Characters) -> tuple[Characters, int]:
        """The characters that may come at its beginning (`after` included if it may be empty), and the ways."""
        ways = 1
        for node in reversed(list(nodes)):
            after, more = self._node(node, after)
            ways = min(ways * more, MAX_WAYS + 1)
        return after, ways

    def _node(self, node: Any, after: Characters) -> tuple[Characters, int]:
        name, detail = str(node[0]), node[1]
        if name in _REFUSED:
            raise ValueError(f"{_REFUSED[name]}, which may take too long")
        if name == "SUBPATTERN":
            if detail[1] or detail[2]:
                raise ValueError("changes its flags inside; write (?i) at its very beginning")
            return self._sequence(detail[3], after)
        if name == "ATOMIC_GROUP":
            return self._sequence(detail, after)
        if name == "BRANCH":
            return self._branch(detail[1], after)
        if name.endswith("_REPEAT"):
            return self._repeat(int(detail[0]), int(detail[1]), detail[2], after)
        if name == "AT":
            return after, 1
        return self._characters(node), 1

    def _branch(self, branches: Sequence[Any], after: Characters) -> tuple[Characters, int]:
        found = [self._sequence(branch, after) for branch in branches]
        every = frozenset().union(*(first for first, _ in found))
        settled = sum(len(first) for first, _ in found) == len(every)
        ways = [more for _, more in found]
        return every, max(ways) if settled else sum(ways)

    def _repeat(self, low: int, high: int, item: Any, after: Characters) -> tuple[Characters, int]:
        if high == 0:
            return after, 1
        if high > 1 and item.getwidth()[0] == 0:
            raise ValueError("repeats something that may be empty")
        first = self._first(item)
        again = after | first if high > 1 else after
        ways = self._sequence(item, again)[1]
        times = min(high, MAX_CHARACTERS)
        if ways > 1 and times > 1:
            ways = MAX_WAYS + 1 if times > 20 else ways**times
        if low < high and first & after:
            ways *= max(times - low, 0) + 1
        return first | after if low == 0 else first, min(ways, MAX_WAYS + 1)

    def _first(self, item: Any) -> Characters:
        """The characters that something may begin with, whatever follows."""
        found: set[str] = set()
        for node in item:
            name, detail = str(node[0]), node[1]
            if name == "BRANCH":
                found = found.union(*(self._first(branch) for branch in detail[1]))
            elif name in ("SUBPATTERN", "ATOMIC_GROUP"):
                found |= self._first(detail[3] if name == "SUBPATTERN" else detail)
            elif name.endswith("_REPEAT"):
                found |= self._first(detail[2])
            elif name != "AT" and name not in _REFUSED:
                found |= self._characters(node)
            if not _may_be_empty(node):
                break
        return frozenset(found)

    def _characters(self, node: Any) -> Characters:
        """The characters of the pattern's universe that one node takes."""
        key = repr(node)
        if key not in self._members:
            self._members[key] = frozenset(mark for mark in self._universe if self._takes(node, mark))
        return self._members[key]

    def _takes(self, node: Any, mark: str) -> bool:
        name, detail = str(node[0]), node[1]
        if name == "ANY":
            return self._dot_all or mark != "\n"
        marks = {mark, mark.swapcase()} if self._ignore_case and mark.isascii() else {mark}
        if name == "LITERAL":
            return chr(detail) in marks
        if name == "NOT_LITERAL":
            return marks != {chr(detail)}
        parts = [(str(part[0]), part[1]) for part in detail]
        if parts[0][0] == "NEGATE":
            return any(not _among(parts[1:], each) for each in marks)
        return any(_among(parts, each) for each in marks)


def _among(parts: Sequence[tuple[str, Any]], mark: str) -> bool:
    """True if a character is in a set such as [a-z.\\d]."""
    for name, detail in parts:
        if name == "LITERAL" and ord(mark) == detail:
            return True
        if name == "RANGE" and detail[0] <= ord(mark) <= detail[1]:
            return True
        if name == "CATEGORY" and re.match(_CLASSES[str(detail)], mark, re.ASCII):
            return True
    return False


def _may_be_empty(node: Any) -> bool:
    name, detail = str(node[0]), node[1]
    if name == "BRANCH":
        return any(branch.getwidth()[0] == 0 for branch in detail[1])
    if name in ("SUBPATTERN", "ATOMIC_GROUP"):
        return bool((detail[3] if name == "SUBPATTERN" else detail).getwidth()[0] == 0)
    if name.endswith("_REPEAT"):
        return bool(detail[0] == 0 or detail[2].getwidth()[0] == 0)
    return name == "AT" or name in _REFUSED


def _universe(tree: Any) -> Characters:
    """Characters enough to tell any two sets of the pattern apart: ASCII, every edge of a set, its neighbours."""
    edges = {code + step for code in _codes(tree) for step in (-1, 0, 1)} | set(range(129)) | {0x10FFFF}
    return frozenset(chr(code) for code in edges if 0 <= code <= 0x10FFFF)


def _codes(nodes: Any) -> Iterator[int]:
    """Every character code that a pattern names."""
    for node in nodes:
        name, detail = str(node[0]), node[1]
        if name in ("LITERAL", "NOT_LITERAL"):
            yield detail
        elif name == "RANGE":
            yield from detail
        elif name in ("IN", "ATOMIC_GROUP"):
            yield from _codes(detail)
        elif name == "SUBPATTERN":
            yield from _codes(detail[3])
        elif name == "BRANCH":
            for branch in detail[1]:
                yield from _codes(branch)
        elif name.endswith("_REPEAT"):
            yield from _codes(detail[2])
