"""The measured curve for drawing, thinned so that every peak stays."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from satdiag.findings import LeadProfile
from satdiag.wiring.feedline.sweep import Array
from satdiag.wiring.feedline.transform import Response

MOST_POINTS = 400
LOWEST_DB = -90.0


def profile_of(found: Response, last_s: float, to_m: Callable[[Array], Array] | None) -> LeadProfile:
    """At most 400 points from just before the plane of calibration up to a delay: the highest of each few bins."""
    inside = np.flatnonzero((found.delay_s >= -found.width_s) & (found.delay_s <= last_s))
    group = -(-len(inside) // MOST_POINTS)
    size = found.size
    tops = [part[size[part].argmax()] for part in np.split(inside, range(group, len(inside), group)) if len(part)]
    delay = found.delay_s[tops]
    level = np.maximum(20.0 * np.log10(np.maximum(size[tops], 1e-12)), LOWEST_DB)
    return LeadProfile(
        delay_ns=tuple((1e9 * delay).tolist()),
        distance_m=None if to_m is None else tuple(to_m(delay).tolist()),
        level_db=tuple(level.tolist()),
    )
