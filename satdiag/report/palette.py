"""Colours and shapes of the report: eight colours that colour-blind people tell apart, each with a shape or pattern.

Colours after Okabe and Ito, "Color Universal Design" (2002, revised 2008). Figures are made with the light colours;
the page's script replaces each by its dark partner where a reader prefers dark. No meaning hangs on colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass

INK = "#1d2126"
FAINT = "#5b636d"
GRID = "#d9dbd6"
PAPER = "#fcfbf8"
HATCH = "#101316"
"""Lines over a fill: dark on dark paper too, since the fills stay bright there."""

ORANGE = "#e69f00"
SKY_BLUE = "#56b4e9"
GREEN = "#009e73"
YELLOW = "#f0e442"
BLUE = "#0072b2"
VERMILLION = "#d55e00"
PURPLE = "#cc79a7"

DARK = {
    INK: "#e9e7e1",
    FAINT: "#a6adb5",
    GRID: "#3b4047",
    PAPER: "#171a1e",
    BLUE: "#5aaee0",
    VERMILLION: "#f0863c",
    GREEN: "#2bc295",
}
"""Light colour -> its partner on dark paper. What is not named stays as it is."""


@dataclass(frozen=True)
class Mark:
    """How one state is drawn: a fill, a pattern over it (plotly's names), and the symbol that stands in tables."""

    fill: str
    pattern: str
    symbol: str


STRETCHES = {
    "clear": Mark(SKY_BLUE, "", "disc"),
    "received": Mark(YELLOW, ".", "disc"),
    "shadowed": Mark(ORANGE, "/", "triangle"),
    "blocked": Mark(VERMILLION, "x", "cross"),
}
"""States of a path over time."""

CHANNELS = {
    "authorised": Mark(GREEN, "", "disc"),
    "refused": Mark(VERMILLION, "x", "cross"),
    "missing": Mark(PURPLE, "", "ring"),
    "no-signal": Mark(ORANGE, "/", "triangle"),
    "unchecked": Mark(PAPER, "", "dash"),
}
"""States of a channel."""

VERDICTS = {
    "works": "disc",
    "filling": "half",
    "explained": "ring",
    "fault": "cross",
    "cannot-tell": "dash",
}
"""Symbol of a verdict."""
