"""A skyline of the findings, read at any azimuth."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from satdiag.findings import Mask
from satdiag.sky.mask.looks import Floats


class EdgeAt(NamedTuple):
    """The skyline at azimuths (n,) and its 90 % band, deg."""

    edge_deg: Floats
    low_deg: Floats
    high_deg: Floats


def edge_at(mask: Mask, azimuth_deg: Floats) -> EdgeAt:
    """The skyline at azimuths (n,), straight between those of the mask."""
    at = np.asarray(mask.azimuth_deg)
    parts = (mask.edge_elevation_deg, mask.edge_p05_deg, mask.edge_p95_deg)
    return EdgeAt(*(np.interp(azimuth_deg, at, np.asarray(part), period=360.0) for part in parts))
