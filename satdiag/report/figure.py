"""What all figures of the report share: labels made safe, the plain look, and a table behind each.

A figure is a plain dict in plotly's JSON form: it is read by the page's script, not by Python, so that no figure
classes have to be loaded. The tests check each against plotly's own figure classes.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from satdiag.language import spoken, translated
from satdiag.report.palette import FAINT, GRID, INK

Spec = dict[str, Any]

LABEL_LENGTH = 60
FONT = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif"


@dataclass(frozen=True)
class Cell:
    """One cell of a table: its text, and the symbol drawn before it (see palette)."""

    text: str
    symbol: str = ""
    struck: bool = False


@dataclass(frozen=True)
class Table:
    """A table: caption in a sentence, column heads, rows of cells.

    `numeric` names the columns set to the right; a `quiet` caption is read out and not shown.
    """

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numeric: frozenset[str] = frozenset()
    quiet: bool = False


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str | Cell]], numeric: str = "") -> Table:
    """A table from texts and cells; `numeric` lists heads parted by '|', in English or as they stand in `heads`."""
    cells = tuple(tuple(part if isinstance(part, Cell) else Cell(part) for part in row) for row in rows)
    return Table(
        caption, tuple(heads), cells, frozenset(map(translated, numeric.split("|"))) if numeric else frozenset()
    )


@dataclass(frozen=True)
class Figure:
    """A figure: its name in the page, a caption and an alternative text in sentences, the drawing, the tables."""

    name: str
    caption: str
    alt: str
    spec: Spec
    tables: tuple[Table, ...]


def label(text: str, length: int = LABEL_LENGTH) -> str:
    """A text as plotly may print it: cut to a length, with &, < and > escaped, since plotly reads them as tags."""
    flat = " ".join(text.split())
    cut = flat if len(flat) <= length else flat[: length - 1] + "…"
    return html.escape(cut, quote=False)


def axis(title: str = "", **changes: Any) -> Spec:
    """A plain axis: thin grid, no frame, a title in words."""
    return {
        "title": {"text": title, "font": {"size": 13, "color": FAINT}, "standoff": 8},
        "gridcolor": GRID,
        "linecolor": FAINT,
        "tickcolor": FAINT,
        "tickfont": {"size": 12, "color": INK},
        "zeroline": False,
        "automargin": True,
        "fixedrange": True,
        **changes,
    }


def note(text: str, color: str = INK, **place: Any) -> Spec:
    """Words set into a figure, starting at a place and standing on it."""
    standing = {"text": text, "showarrow": False, "align": "left", "xanchor": "left", "yanchor": "bottom"}
    return {**standing, "font": {"size": 13, "color": color}, **place}


def layout(height_px: int, **changes: Any) -> Spec:
    """The layout of a figure: transparent, small margins, legend above, nothing to drag."""
    return {
        "height": height_px,
        "autosize": True,
        "margin": {"l": 48, "r": 14, "t": 28, "b": 44},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 13, "color": INK},
        "hoverlabel": {"font": {"family": FONT, "size": 13}},
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "xanchor": "left", "yanchor": "bottom", "tracegroupgap": 0},
        "showlegend": True,
        "dragmode": False,
        "template": None,
        **_separators(),
        **changes,
    }


_SEPARATORS = {"es": ",.", "fr": ",\u202f"}
"""Decimal sign and grouping of the numbers that the page's script writes itself."""


def _separators() -> Spec:
    return {} if spoken() == "en" else {"separators": _SEPARATORS[spoken()]}


def day_ticks(format_of_day: str = "%-d %b") -> str:
    """How the page's script writes a day beside an axis: by the month's name, which it knows in English only."""
    return format_of_day if spoken() == "en" else "%-d/%-m"
