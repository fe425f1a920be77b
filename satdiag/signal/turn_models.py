"""Models of what was received by path and heading: nothing, what stays with a path, what turns with the vehicle.

Paths always have a level each: satellites differ in power and distance, and that tells of neither place nor vehicle.
What turns with the vehicle is a first or second harmonic of the direction seen from it, or a sector of it in which
everything is weaker by the same (a roof box hides some width and nothing beside it). Weights of evidence are Bayes
factors of Zellner's g-prior with g = n (Liang, Paulo, Molina, Clyde and Berger 2008, Journal of the American
Statistical Association 103, 410), averaged over the shapes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import logsumexp

from satdiag.signal.pieces import Floats

FIRST, SECOND = 0.5, 0.2
"""Judgement, no source: how likely a pattern is a first harmonic, or takes a second; else it is a sector."""
SECTOR_WIDTHS_DEG = (45.0, 60.0, 75.0, 90.0, 105.0, 120.0, 150.0, 180.0)
_STEP_DEG = 5.0
_LEAST_IN_SECTOR = 2
TO_DB = 10.0 / float(np.log(10.0))
"""Natural logarithms as a weight of evidence in dB."""
_LEAST_UNEXPLAINED = 1e-6


def shapes(angle_deg: Floats) -> list[tuple[float, Floats]]:
    """Shapes over directions (n,) with their prior weights: columns (n, k) of each. Sectors that no direction tells
    apart are one shape with the weight of both; one that holds a single direction could be anything that passed by.
    """
    angle = np.radians(angle_deg)
    first = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    both = np.hstack([first, np.cos(2.0 * angle)[:, None], np.sin(2.0 * angle)[:, None]])
    found = [(FIRST, first), (SECOND, both)]
    sectors: dict[bytes, tuple[float, Floats]] = {}
    middles = np.arange(0.0, 360.0, _STEP_DEG)
    each = (1.0 - FIRST - SECOND) / (len(middles) * len(SECTOR_WIDTHS_DEG))
    for width_deg in SECTOR_WIDTHS_DEG:
        for middle in middles:
            inside = np.abs((angle_deg - middle + 180.0) % 360.0 - 180.0) < width_deg / 2.0
            if not _LEAST_IN_SECTOR <= inside.sum() <= len(inside) - _LEAST_IN_SECTOR:
                continue
            weight = sectors.get(inside.tobytes(), (0.0,))[0] + each
            sectors[inside.tobytes()] = (weight, inside.astype(float)[:, None])
    return [*found, *sectors.values()]


def gain_log(base: Floats, more: Floats, value: Floats) -> Floats:
    """Logarithm of the Bayes factor of columns `more` (n, k) beside those of `base` alone, for values (m, n)."""
    inner, _ = np.linalg.qr(base)
    left = value - (value @ inner) @ inner.T
    count, columns = len(base) - base.shape[1], more - inner @ (inner.T @ more)
    basis, size, _ = np.linalg.svd(columns, full_matrices=False)
    basis = basis[:, size > 1e-9]
    rank = basis.shape[1]
    whole = np.sum(left**2, axis=1)
    if rank == 0 or count <= rank:
        return np.zeros(len(value))
    rest = np.sum((left - (left @ basis) @ basis.T) ** 2, axis=1)
    part = np.clip(rest / np.where(whole > 1e-12, whole, 1.0), _LEAST_UNEXPLAINED, 1.0)
    g = float(len(base))
    log = 0.5 * (count - rank) * np.log1p(g) - 0.5 * count * np.log1p(g * part)
    return np.where(whole > 1e-12, log, 0.0)


def pattern_log(base: Floats, forms: Sequence[tuple[float, Floats]], value: Floats) -> Floats:
    """Logarithm of the Bayes factor of a pattern of any shape, averaged over the shapes, for values (m, n)."""
    logs = np.array([gain_log(base, columns, value) for _, columns in forms])
    return np.asarray(logsumexp(logs, axis=0, b=np.array([weight for weight, _ in forms])[:, None]))


def best_shape(base: Floats, forms: Sequence[tuple[float, Floats]], value: Floats) -> tuple[Floats, float]:
    """The columns of the likeliest shape, and how far the fitted pattern reaches from weakest to strongest."""
    weights = [np.log(weight) + float(gain_log(base, columns, value[None])[0]) for weight, columns in forms]
    columns = forms[int(np.argmax(weights))][1]
    fitted = np.linalg.lstsq(np.hstack([base, columns]), value, rcond=None)[0][base.shape[1] :]
    pattern = columns @ fitted
    return columns, float(pattern.max() - pattern.min())
