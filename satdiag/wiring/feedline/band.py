"""Return loss over the band of the service: of the lead from its near end, and of what hangs at its far end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from satdiag.wiring.feedline.peaks import Peak, noise_gamma
from satdiag.wiring.feedline.sweep import Complex, Sweep
from satdiag.wiring.feedline.transform import Response, gated

GATE_DB = 0.5
"""A gate is good to this much (checked against computed joints)."""
OWN_WIDTHS = 4.0
"""Reflections so near to the end, in units of 1 / span, belong to what hangs there (judgement, no source)."""
EDGE = 0.05
"""In this share of the span at either end of the sweep a gate bends too much to be used (judgement, no source)."""
UNGATED_DB = 1.0
"""Where all that reflects in front can change the band by no more than this, no gate is put there (judgement)."""
LEAST_DB = 0.2
"""A calibration leaves this much in the return loss at least (judgement, no source)."""
LITTLE = 0.1
"""A gate is put behind reflections of this share of the highest in front; the rest stays in (judgement)."""
MOST_SHARE = 0.5
"""Where noise and later reflections may make up this share of the end's, nothing is said (judgement, no source)."""


def points_in(sweep: Sweep, band_mhz: tuple[float, float]) -> NDArray[np.intp] | None:
    """Indices of the measured points in the band, else of the one nearest to its middle if within a step of the band.

    Nothing is interpolated: the phase turns too far between points. None if the sweep does not reach the band.
    """
    mhz = sweep.frequency_hz / 1e6
    inside = np.flatnonzero((mhz >= band_mhz[0]) & (mhz <= band_mhz[1]))
    if len(inside):
        return inside
    nearest = int(np.abs(mhz - 0.5 * sum(band_mhz)).argmin())
    step = float(np.diff(mhz).max()) if len(mhz) > 1 else 0.0
    near = band_mhz[0] - step <= mhz[nearest] <= band_mhz[1] + step
    return np.array([nearest]) if near else None


def return_loss_db(s: Complex) -> float:
    """Return loss of the mean reflected power."""
    return float(-10.0 * np.log10(max(float((np.abs(s) ** 2).mean()), 1e-30)))


def band_return_loss_db(sweep: Sweep, band_mhz: tuple[float, float]) -> float | None:
    """Of the whole lead as measured, nothing gated; None if the sweep does not reach the band."""
    points = points_in(sweep, band_mhz)
    return None if points is None else return_loss_db(sweep.s[points])


class EndLoss(NamedTuple):
    """A return loss as measured, and by how much it may be off either way (dB)."""

    value_db: float
    doubt_db: float


def end_return_loss_db(
    sweep: Sweep, found: Response, band_mhz: tuple[float, float], end: Peak, others: Sequence[Peak]
) -> EndLoss | None:
    """As measured, of what hangs at the end of the lead; `others` are the other reflections that are no echoes.

    An antenna is narrow: its reflection goes on for long behind the end, and a gate around the end alone would blur
    the band with all that lies beside it. So everything from the end on is kept, and a gate is only put in front of
    it where something else reflects. None where the sweep does not reach the band, where the band lies at the edge of
    a sweep that needs a gate, and where the rest and the noise leave nothing to be said.
    """
    points = points_in(sweep, band_mhz)
    if points is None:
        return None
    own_s = OWN_WIDTHS * found.width_s
    before = [one for one in others if one.delay_s < end.delay_s - own_s]
    behind = sum(one.gamma for one in others if one.delay_s > end.delay_s + own_s)
    noise = 2.0 * _point_noise(found) / math.sqrt(len(points))
    whole = _with_doubt(sweep.s[points], sum(one.gamma for one in before) + behind + noise, LEAST_DB)
    if not before or (whole is not None and whole.doubt_db <= UNGATED_DB):
        return whole
    if _at_the_edge(sweep, points):
        return None
    highest = max(one.gamma for one in before)
    barred = [one for one in before if one.gamma >= LITTLE * highest]
    left = sum(one.gamma for one in before if one not in barred)
    return _with_doubt(_behind(sweep, found, end, barred)[points], left + behind + noise, GATE_DB)


def _with_doubt(part: Complex, others: float, more_db: float) -> EndLoss | None:
    """The return loss where so much |Gamma| of it may be something else."""
    value_db = return_loss_db(part)
    share = others * 10.0 ** (value_db / 20.0)
    return EndLoss(value_db, more_db - 20.0 * math.log10(1.0 - share)) if share < MOST_SHARE else None


def _behind(sweep: Sweep, found: Response, end: Peak, before: Sequence[Peak]) -> Complex:
    """S11 of all that lies behind the middle between the end and the last reflection in front of it."""
    middle_s = 0.5 * (end.delay_s + max(one.delay_s for one in before))
    return gated(sweep, middle_s - found.width_s, found.range_s - OWN_WIDTHS * found.width_s, 2.0 * found.width_s)


def _at_the_edge(sweep: Sweep, points: NDArray[np.intp]) -> bool:
    room = EDGE * sweep.span_hz
    first, last = (float(sweep.frequency_hz[points[end]]) for end in (0, -1))
    return bool(first < sweep.frequency_hz[0] + room or last > sweep.frequency_hz[-1] - room)


def _point_noise(found: Response) -> float:
    """Root mean square noise of one measured point, from that of the response behind its window."""
    of_window = math.sqrt(float((found.weights**2).sum())) / float(found.weights.sum())
    return math.sqrt(2.0) * noise_gamma(found) / of_window
