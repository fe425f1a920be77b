"""How much of a whole reflection comes back through the cable, as seen by the same transform."""

from __future__ import annotations

from satdiag.wiring.feedline.cable import Range, fits_of, spread
from satdiag.wiring.feedline.sweep import Sweep
from satdiag.wiring.feedline.transform import Response


def whole_reflection(sweep: Sweep, found: Response, cable: str | None, distance_m: float) -> Range:
    """|Gamma| that an open end at a distance would show, for the cables of a class (None: of any).

    The window's mean of 10^(-2 loss / 20) over the sweep: cables lose more at high frequencies, so no single one
    stands for all. Each joint on the way takes a little more, which is left out.
    """
    mhz, weights = sweep.frequency_hz / 1e6, found.weights
    length = max(0.0, distance_m)
    shares = [
        float((weights * 10.0 ** (-2.0 * factor * fit.db_per_m(mhz) * length / 20.0)).sum() / weights.sum())
        for fit, factor in fits_of(cable)
    ]
    return spread(shares)
