"""The chance that a satellite is clear along its way in the sky: `along`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from satdiag.findings import Interval
from satdiag.sky.mask.looks import Floats
from satdiag.sky.stay import Stay
from satdiag.sky.together import chances_now, drawn_chances, interval_of, matched


class Along(NamedTuple):
    """Chances of directions (n,), and the mean with its 90 % interval: the share of the way expected to be clear."""

    each: Floats
    mean: float
    mean_90: Interval


def along(stay: Stay, azimuth_deg: Floats, elevation_deg: Floats, weight: Floats | None = None) -> Along | None:
    """The chances of directions (n,) that a satellite takes one after another; None where one is unknown, or none.

    The whole way lies under one sky, so skies are drawn (see `together`) and the mean under each makes the interval.
    Below the horizon the chance is 0. `weight` (n,): how long each direction stands for, by default all alike.
    """
    if not len(azimuth_deg):
        return None
    each = chances_now(stay, azimuth_deg, elevation_deg)
    if np.isnan(each).any():
        return None
    up = elevation_deg > 0.0
    if not up.any():
        return Along(each, 0.0, (0.0, 0.0))
    drawn = matched(drawn_chances(stay, azimuth_deg[up], elevation_deg[up]), each[up])
    part = np.ones(len(each)) if weight is None else weight
    part = part / part.sum()
    return Along(each, float(each @ part), interval_of(drawn @ part[up]))
