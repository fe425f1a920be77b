"""From frequency to delay: the transform of scikit-rf, with what its result needs before distances are read off.

The library's delay axis runs from -T/2 to T/2 (T = 1 / step), so the farther half of the range shows at negative
times, and its values shrink with padding. Both are mended here. Between measured points nothing is interpolated: the
phase turns too far from one point to the next.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from satdiag.wiring.feedline.sweep import Array, Complex, Sweep

WINDOW = "hann"
PADDED = 8192
"""Length of the padded transform; longer for sweeps with more than a quarter of it in points."""
BEFORE_WIDTHS = 4.0
"""So many widths before the plane of calibration still belong to reflections at the plane itself."""
HANN_WIDTH = 1.98
"""Width at half height of a reflection behind a Hann window, in units of 1 / span."""
HARMONIC = 0.02
MOST_MISSING = 10
"""The lowest frequencies are made up by the library; of more than so many the sign would be a guess (judgement)."""


@dataclass(frozen=True, eq=False)
class Response:
    """|Gamma| and phase against round-trip delay, evenly spaced. A whole reflection without loss has height 1.

    `weights` are those of the window over the measured points; `range_s` is the delay beyond which all folds back,
    `width_s` 1 / span, `bin_s` the spacing of `delay_s`.
    """

    delay_s: Array
    gamma: Complex
    weights: Array
    range_s: float
    width_s: float
    bin_s: float

    @property
    def size(self) -> Array:
        """|Gamma|."""
        return np.asarray(np.abs(self.gamma), dtype=np.float64)


def response(sweep: Sweep, window: str = WINDOW, padded: int | None = None) -> Response:
    """The reflection against delay of an evenly spaced sweep, from a little before nought up to the range."""
    from scipy.signal import get_window

    if sweep.step_hz is None:
        raise ValueError("the grid is not even")
    points = len(sweep.s)
    length = padded or max(PADDED, 1 << (4 * points - 1).bit_length())
    # Band-pass whatever the first frequency is: the library would change its scale by itself where that is 0 Hz.
    _, folded = sweep.network.impulse_response(window=window, pad=length - points, bandpass=True)
    weights = np.asarray(get_window(window, points), dtype=np.float64)
    scaled: Complex = np.asarray(np.fft.ifftshift(folded) * length / weights.sum(), dtype=np.complex128)
    range_s, width_s = 1.0 / sweep.step_hz, 1.0 / sweep.span_hz
    bin_s = range_s / length
    before = min(int(BEFORE_WIDTHS * width_s / bin_s), length // 8)
    delay = np.asarray((np.arange(length) - before) * bin_s, dtype=np.float64)
    return Response(delay, np.roll(scaled, before), weights, range_s, width_s, bin_s)


def peak_delay_s(found: Response, at: int) -> float:
    """The delay of the peak at a bin: the top of a parabola through the logarithms of three bins."""
    size = found.size
    if not 0 < at < len(size) - 1:
        return float(found.delay_s[at])
    left, top, right = np.log(np.maximum(size[at - 1 : at + 2], 1e-300))
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(found.delay_s[at] + np.clip(shift, -0.5, 0.5) * found.bin_s)


def is_harmonic(sweep: Sweep) -> bool:
    """True if every frequency is a whole multiple of the step and few are missing below the first.

    Only then can the response from 0 Hz on be made without interpolating.
    """
    if sweep.step_hz is None:
        return False
    multiple = float(sweep.frequency_hz[0]) / sweep.step_hz
    return abs(multiple - round(multiple)) <= HARMONIC and round(multiple) <= MOST_MISSING


def step_response(sweep: Sweep, padded: int = PADDED // 2) -> tuple[Array, Array] | None:
    """Delay in s and the response to a step, or None where the grid does not allow it.

    It rises by Gamma at each reflection: upwards for an open end, downwards for a short one. The value at 0 Hz is
    left to the library to extend: a value given to it would leave a gap below the first frequency that it fills with
    nonsense.
    """
    if not is_harmonic(sweep):
        return None
    from_zero: Any = sweep.network.extrapolate_to_dc()
    delay, level = from_zero.step_response(window=WINDOW, pad=max(padded, 2 * len(from_zero)) - len(from_zero))
    return np.asarray(delay, dtype=np.float64), np.asarray(level, dtype=np.float64)


def gated(sweep: Sweep, start_s: float, stop_s: float, edge_s: float) -> Complex:
    """S11 of what lies between two delays, flat within edges of that length; less exact at the sweep's ends.

    The delays may lie anywhere in one range, folded or not: the sweep is turned so that their middle is nought.
    """
    middle_s, span_s = 0.5 * (start_s + stop_s), stop_s - start_s
    turn = np.exp(2j * np.pi * sweep.frequency_hz * middle_s)
    turned = sweep.network.copy()
    turned.s = sweep.s[:, None, None] * turn[:, None, None]
    window = ("tukey", min(1.0, 2.0 * edge_s / span_s))
    inside = turned.time_gate(center=0.0, span=span_s * 1e9, t_unit="ns", window=window)
    return np.asarray(inside.s[:, 0, 0] / turn, dtype=np.complex128)
