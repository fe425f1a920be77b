"""On which side of its mark the words of a satellite stand, so that they touch no mark and no other words.

Sizes are those on a telephone, where the figure is smallest and its words are largest against it; on a wider page
everything lies farther apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product
from typing import NamedTuple

# Pixels a degree of the drawing on a telephone; the height of a line; widths of a letter: bold name, plain chance.
PX_A_DEGREE = 1.4
LINE_PX, BOLD_PX, PLAIN_PX = 17.0, 8.6, 7.0
# From the middle of a mark: how far it reaches itself, and where words beside it begin.
MARK_REACH_PX, WORDS_FROM_PX = 10.0, 14.0
RIM_DEG = 90.0
# Of so many satellites all arrangements are tried; of more, one after another gets the best that is left.
ALL_TRIED = 3

Point = tuple[float, float]

# How the words stand to the mark: right (1) or left (-1), up (1) or down (-1). The first ones are liked best.
SIDES: dict[str, Point] = {
    "middle right": (1.0, 0.0),
    "middle left": (-1.0, 0.0),
    "bottom center": (0.0, -1.0),
    "top center": (0.0, 1.0),
    "bottom right": (1.0, -1.0),
    "bottom left": (-1.0, -1.0),
    "top right": (1.0, 1.0),
    "top left": (-1.0, 1.0),
}


class Words(NamedTuple):
    """What stands beside a mark: the mark's place in degrees right of and above the zenith, name and chance."""

    at: Point
    name: str
    chance: str


class Box(NamedTuple):
    """A box in the drawing, degrees from the zenith."""

    left: float
    low: float
    right: float
    high: float


def words_box(words: Words, side: str) -> Box:
    """Where words on that side of their mark lie."""
    x, y = words.at
    right, up = SIDES[side]
    width = max(BOLD_PX * len(words.name), PLAIN_PX * len(words.chance)) / PX_A_DEGREE
    height = LINE_PX * (2 if words.chance else 1) / PX_A_DEGREE
    away = WORDS_FROM_PX / PX_A_DEGREE
    middle_x, middle_y = x + right * (away + width / 2.0), y + up * (away + height / 2.0)
    return Box(middle_x - width / 2.0, middle_y - height / 2.0, middle_x + width / 2.0, middle_y + height / 2.0)


def mark_box(at: Point) -> Box:
    """Where a mark lies."""
    reach = MARK_REACH_PX / PX_A_DEGREE
    return Box(at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach)


def sides_of(words: Sequence[Words], lines: Sequence[Point]) -> list[str]:
    """For each mark the side for its words. `lines` are points of lines that words should not cover if it can be."""
    marks = [mark_box(one.at) for one in words]
    if len(words) <= ALL_TRIED:
        best = min(product(SIDES, repeat=len(words)), key=lambda sides: _cost(words, sides, marks, lines))
        return list(best)
    sides: list[str] = []
    for number in range(len(words)):
        costs = {side: _cost(words[: number + 1], (*sides, side), marks, lines) for side in SIDES}
        sides.append(min(costs, key=lambda side: costs[side]))
    return sides


def _cost(words: Sequence[Words], sides: Sequence[str], marks: Sequence[Box], lines: Sequence[Point]) -> float:
    """What is wrong with an arrangement: words over marks or words first, beyond the rim next, over lines last."""
    boxes = [words_box(one, side) for one, side in zip(words, sides, strict=True)]
    over = 0.0
    for number, box in enumerate(boxes):
        over += sum(_shared(box, mark) for mark in marks)
        over += sum(_shared(box, other) for other in boxes[:number])
    beyond = sum(max(0.0, _reach(box) - RIM_DEG) for box in boxes)
    covered = sum(box.left <= x <= box.right and box.low <= y <= box.high for box in boxes for x, y in lines)
    liked = sum(list(SIDES).index(side) for side in sides)
    return 1000.0 * over + 10.0 * beyond + covered + 0.1 * liked


def _shared(one: Box, other: Box) -> float:
    """The area that two boxes share, degrees squared."""
    wide = min(one.right, other.right) - max(one.left, other.left)
    high = min(one.high, other.high) - max(one.low, other.low)
    return wide * high if wide > 0.0 and high > 0.0 else 0.0


def _reach(box: Box) -> float:
    """How far the farthest corner is from the zenith."""
    return max(math.hypot(x, y) for x in (box.left, box.right) for y in (box.low, box.high))
