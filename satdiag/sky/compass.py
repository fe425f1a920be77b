"""Compass words for azimuths from true north."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from satdiag.language import mark, tell, translated

Floats = NDArray[np.float64]

COMPASS = (
    mark("north"),
    mark("north-northeast"),
    mark("northeast"),
    mark("east-northeast"),
    mark("east"),
    mark("east-southeast"),
    mark("southeast"),
    mark("south-southeast"),
    mark("south"),
    mark("south-southwest"),
    mark("southwest"),
    mark("west-southwest"),
    mark("west"),
    mark("west-northwest"),
    mark("northwest"),
    mark("north-northwest"),
)


def compass_word(azimuth_deg: float) -> str:
    """The nearest of 16 compass points: 0 is north, 157 south-southeast."""
    return translated(COMPASS[round(azimuth_deg / 22.5) % 16])


def sides_text(azimuths_deg: Floats) -> str:
    """The directions that azimuths fill, as one arc clockwise: all but the widest gap between them."""
    ordered = np.sort(np.unique(np.round(azimuths_deg, 1)))
    gaps = np.diff(np.append(ordered, ordered[0] + 360.0))
    widest = int(np.argmax(gaps))
    if gaps[widest] < 45.0:
        return tell("on every side in turn")
    begin, finish = compass_word(float(ordered[(widest + 1) % len(ordered)])), compass_word(float(ordered[widest]))
    if begin == finish:
        return tell("in the {side}", side=begin)
    return tell("between the {begin} and, clockwise, the {finish}", begin=begin, finish=finish)
