"""Shares with intervals, and how probabilities fare against what was found in the end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

Floats = npt.NDArray[np.float64]

BINS = 10
NULL_DRAWS = 1000
LEVEL = 0.9
"""All intervals of the page hold 90 %."""


def wilson(hits: int, number: int, level: float = LEVEL) -> tuple[float, float]:
    """Wilson's score interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209). Raises ValueError without any."""
    if number < 1:
        raise ValueError("a share of nothing")
    found = stats.binomtest(hits, number).proportion_ci(confidence_level=level, method="wilson")
    return float(found.low), float(found.high)


@dataclass(frozen=True)
class Bin:
    """Jobs whose probability lay between two ends: how many, their mean, how many were right, Wilson's interval."""

    low: float
    high: float
    number: int
    mean: float
    hits: int
    share_90: tuple[float, float]


@dataclass(frozen=True)
class Calibration:
    """Probabilities against the truth.

    `error`: the mean distance of share and probability over the bins, weighted by jobs; `null_mean`, `null_95`: the
    same were every probability true (mean, 95th percentile), since few jobs give an error by chance alone.
    `brier`: mean squared distance; `brier_constant`: that of always saying the share of hits.
    """

    number: int
    hits: int
    bins: tuple[Bin, ...]
    error: float
    null_mean: float
    null_95: float
    brier: float
    brier_constant: float


def calibration(p: Floats, hit: Floats) -> Calibration | None:
    """How probabilities `p` fare against 0 and 1 in `hit`; None without any."""
    if not len(p):
        return None
    place = bins_of(p)
    rows = []
    for k in range(BINS):
        inside = place == k
        if inside.any():
            number, hits = int(inside.sum()), int(hit[inside].sum())
            ends = wilson(hits, number)
            rows.append(Bin(k / BINS, (k + 1) / BINS, number, float(p[inside].mean()), hits, ends))
    drawn = null_errors(p)
    share = float(hit.mean())
    return Calibration(
        number=len(p),
        hits=int(hit.sum()),
        bins=tuple(rows),
        error=calibration_error(p, hit),
        null_mean=float(drawn.mean()),
        null_95=float(np.quantile(drawn, 0.95)),
        brier=float(np.mean((p - hit) ** 2)),
        brier_constant=share * (1.0 - share),
    )


def bins_of(p: Floats) -> npt.NDArray[np.intp]:
    """Which of ten bins of equal width each probability falls into; 1 belongs to the last."""
    return np.asarray(np.clip((p * BINS).astype(np.intp), 0, BINS - 1))


def calibration_error(p: Floats, hit: Floats) -> float:
    """The expected calibration error over ten bins of equal width."""
    return float(np.abs(np.bincount(bins_of(p), hit - p, BINS)).sum() / len(p))


def null_errors(p: Floats, draws: int = NULL_DRAWS, seed: int = 1) -> Floats:
    """That error of the same probabilities with hits drawn from them."""
    rng = np.random.default_rng(seed)
    return np.array([calibration_error(p, (rng.random(len(p)) < p).astype(float)) for _ in range(draws)])
