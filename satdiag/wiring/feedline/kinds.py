"""What each reflection is: an open or a short end, a partial step, or not to be told."""

from __future__ import annotations

import numpy as np

from satdiag.findings.feedline import ReflectionKind
from satdiag.wiring.feedline.cable import Range
from satdiag.wiring.feedline.sweep import Array
from satdiag.wiring.feedline.transform import Response

WHOLE = 0.5
"""A reflection of this much and more is an end of the line, not a joint (judgement, no source)."""
SIGN_SHARE = 0.4
"""The step must show at least this share of the reflection for its sign to count (judgement, no source)."""
_NEAR, _FAR = 1.2, 2.2


def kind_of(gamma: float, corrected: Range, rise: float | None) -> ReflectionKind:
    """`gamma` as measured, `corrected` without the cable's loss, `rise` of the step response there, where known.

    Where the class of cable leaves open whether the reflection is whole, its kind is unknown.
    """
    if corrected.high < WHOLE:
        return "step"
    if corrected.low < WHOLE or rise is None or abs(rise) < SIGN_SHARE * gamma:
        return "unknown"
    return "open" if rise > 0 else "short"


def rise_at(step: tuple[Array, Array] | None, found: Response, delay_s: float) -> float | None:
    """By how much the step response rises across a delay; None without one or beyond its axis.

    Its axis, too, runs from -T/2 to T/2, so the farther half of the range lies at negative times. The response is the
    sum from the axis' start; over a jump it can be taken all the same, for only the difference counts.
    """
    if step is None:
        return None
    axis, level = step
    folded = delay_s if delay_s < 0.5 * found.range_s else delay_s - found.range_s
    width = found.width_s
    after = (axis >= folded + _NEAR * width) & (axis <= folded + _FAR * width)
    before = (axis <= folded - _NEAR * width) & (axis >= folded - _FAR * width)
    if not after.any() or not before.any():
        return None
    return float(np.median(level[after]) - np.median(level[before]))
