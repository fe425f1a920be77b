"""Low reflection smeared over a stretch of the lead instead of standing at one place: perhaps water in the cable."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from satdiag.findings import Interval
from satdiag.wiring.feedline.peaks import Peak
from satdiag.wiring.feedline.sweep import Array
from satdiag.wiring.feedline.transform import Response

LENGTH_M = 0.5
"""A stretch shorter than this, or than eight widths, is no smear (judgement, no source)."""
WIDTHS = 8.0
ABOVE_NOISE = 4.0
LEVEL = 0.005
"""Least |Gamma| of a smear, loss taken off: -46 dB, above what a dry cable scatters (judgement, no source)."""
ABOVE_SKIRTS = 3.0
SHARP = 0.04
"""A peak of this |Gamma| and more is a place of its own: its top and its skirts are no smear (judgement)."""


def quiet_gamma(found: Response) -> float:
    """The median |Gamma| of the quietest tenth of the range: noise, even where the whole lead is wet."""
    blocks = np.array_split(found.size[found.delay_s >= 0.0], 10)
    return min(float(np.median(block)) for block in blocks)


def smears_m(
    found: Response,
    peaks: Sequence[Peak],
    to_m: Callable[[Array], Array],
    until_m: float,
    share_left: Callable[[float], float],
) -> tuple[Interval, ...]:
    """Stretches (from, to) in metres where most of the response stands above noise and above every skirt.

    `to_m` turns delays into metres, `until_m` is where the lead ends, `share_left(delay_s)` the cable's loss.
    """
    cell_m = float(to_m(np.array([found.width_s]))[0] - to_m(np.array([0.0]))[0])
    length_m = max(LENGTH_M, WIDTHS * cell_m)
    metres = to_m(found.delay_s)
    high = _above(found, peaks, share_left)
    stretches: list[Interval] = []
    starts = np.arange(2.0 * cell_m, until_m - length_m, length_m / 4.0)
    for start in starts:
        inside = (metres >= start) & (metres < start + length_m)
        if inside.any() and high[inside].mean() > 0.6:
            joined = stretches and start <= stretches[-1][1]
            begin = stretches.pop()[0] if joined else float(start)
            stretches.append((begin, float(start + length_m)))
    return tuple(stretches)


def _above(found: Response, peaks: Sequence[Peak], share_left: Callable[[float], float]) -> Array:
    """Bins that count as smeared; the tops of peaks do not."""
    skirts = np.zeros(len(found.size))
    tops = np.zeros(len(found.size), dtype=bool)
    for one in peaks:
        if one.gamma < SHARP:
            continue
        x = np.abs(found.delay_s - one.delay_s) / found.width_s
        skirts += one.gamma / (math.pi * np.maximum(x, 1.2) * (np.maximum(x, 1.2) ** 2 - 1.0))
        tops |= x < 2.0
    nodes = found.delay_s[:: max(1, len(found.delay_s) // 64)]
    left = np.interp(found.delay_s, nodes, [share_left(float(node)) for node in nodes])
    floor = np.maximum(ABOVE_NOISE * quiet_gamma(found), LEVEL * left)
    result: Array = ((found.size > floor) & (found.size > ABOVE_SKIRTS * skirts) & ~tops).astype(np.float64)
    return result
