"""What a report says and draws, as lines that a person can compare: no looks, no versions, no script."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from typing import Any

from tests.report.reading import VOID

SAID = {"h1", "h2", "h3", "p", "li", "dt", "dd", "summary", "figcaption", "caption"}
LONGEST_TABLE = 12
ENDS = 4
UNSTEADY = ("What this report was made with and from.",)
"""Tables that differ from computer to computer: the versions."""


class _Outline(HTMLParser):
    """Collects a line for each element that says something, and one for each row of a table."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self.drawings: dict[str, Any] = {}
        self._open: list[tuple[str, str]] = []
        self._said: list[str] = []
        self._row: list[str] = []
        self._table: list[str] = []
        self._caption = ""
        self._script = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in VOID:
            return
        self._open.append((tag, dict(attrs).get("id") or ""))
        if tag in SAID or tag in ("td", "th"):
            self._said = []
        elif tag == "table":
            self._table, self._caption = [], ""
        elif tag == "tr":
            self._row = []

    def handle_data(self, data: str) -> None:
        tag, name = self._open[-1] if self._open else ("", "")
        if tag == "script" and name == "drawings":
            self._script += data
        elif tag not in ("script", "style"):
            self._said.append(data)

    def handle_endtag(self, tag: str) -> None:
        self._open.pop()
        said = re.sub(r"\s+", " ", "".join(self._said)).strip() if tag in SAID or tag in ("td", "th") else ""
        if tag in ("td", "th"):
            self._row.append(said)
        elif tag == "tr":
            self._table.append(" | ".join(self._row))
        elif tag == "caption":
            self._caption = said
        elif tag == "table":
            self._end_table()
        elif said:
            self.lines.append(f"{tag}: {said}")
        elif tag == "script" and self._script:
            self.drawings, self._script = json.loads(self._script), ""

    def _end_table(self) -> None:
        rows = self._table
        self.lines.append(f"table: {self._caption}")
        if self._caption in UNSTEADY:
            return
        if len(rows) > LONGEST_TABLE:
            rows = [*rows[: ENDS + 1], f"... {len(rows) - 2 * ENDS - 1} more", *rows[-ENDS:]]
        self.lines += [f"  {row}" for row in rows]


def outline_of(text: str) -> list[str]:
    """The outline of a report's HTML; at the end of it a line for each trace of each drawing, with its points."""
    reader = _Outline()
    reader.feed(text)
    reader.close()
    traces = [
        f"drawing {name}: {trace['type']}, {trace.get('name', '')}, {_points(trace)} points"
        for name, drawing in reader.drawings.items()
        for trace in drawing["data"]
    ]
    return [*reader.lines, *traces]


def _points(trace: dict[str, Any]) -> int:
    return max((len(trace[key]) for key in ("x", "y", "r", "theta") if isinstance(trace.get(key), list)), default=0)
