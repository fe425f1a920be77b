"""Reads a report's HTML the way a strict reader would: every tag closed, every attribute seen."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

VOID = frozenset(
    {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
)


@dataclass
class Element:
    """A tag with its attributes and the text inside it, that of its children included."""

    tag: str
    attributes: dict[str, str | None]
    parts: list[str] = field(default_factory=list)
    parents: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        return "".join(self.parts)


class Reader(HTMLParser):
    """Collects all elements in their order; raises AssertionError on a tag that is closed out of turn."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[Element] = []
        self._open: list[Element] = []
        self.feed(text)
        self.close()
        assert not self._open, f"never closed: {[element.tag for element in self._open]}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, dict(attrs), parents=tuple(parent.tag for parent in self._open))
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(Element(tag, dict(attrs), parents=tuple(parent.tag for parent in self._open)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open, f"</{tag}> closes nothing"
        assert self._open[-1].tag == tag, f"</{tag}> closes <{self._open[-1].tag}>"
        self._open.pop()

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element.parts.append(data)

    def all(self, tag: str) -> list[Element]:
        """Every element of a tag."""
        return [element for element in self.elements if element.tag == tag]

    def by_id(self, name: str) -> Element:
        """The element with an id."""
        return next(element for element in self.elements if element.attributes.get("id") == name)

    @property
    def words(self) -> str:
        """The text that a person reads, blanks made single."""
        inside = "".join(part for element in self.all("main") for part in element.parts)
        return re.sub(r"[ \n\t]+", " ", inside)

    @property
    def drawings(self) -> dict[str, Any]:
        """The figures' drawings by name."""
        drawings: dict[str, Any] = json.loads(self.by_id("drawings").text)
        return drawings


def without_plotly(text: str) -> str:
    """The report's HTML with plotly's own script cut out: everything that this project wrote."""
    from plotly.offline import get_plotlyjs

    assert get_plotlyjs() in text
    return text.replace(get_plotlyjs(), "")
