"""What no skyline can say: gaps in a crown, gantries, bridges. Local evidence beside the skyline's chance.

Looks close by count as throws of a coin: the skyline's chance is worth some of them beforehand. How many, and how
soft the skyline's edge is, is settled by cross-validation over satellites: hard and many behind walls, soft and few
under trees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, expit, ndtr

from satdiag.sky.mask.looks import Flags, Floats, Integers, unit_vectors
from satdiag.sky.mask.posterior import HARD_EDGE_DEG, EdgePosterior, EdgePrior, fit_edge
from satdiag.sky.mask.thinning import Cells

NEAR_DEG = 6.0  # how far a look reaches, as the width of a bell
EDGE_WIDTHS_DEG = (HARD_EDGE_DEG, 5.0, 12.0)
HORIZON_LOOKS = (0.7, 2.0, 6.0, 20.0, 60.0)
FOLDS = 4
FOLD_ROWS = 400
FOLD_ROUNDS = 6
LEAST_CHANCE = 0.01


@dataclass(frozen=True)
class Chances:
    """Chance that n directions are clear, its 90 % interval, and how many looks close by support it; arrays (n,)."""

    value: Floats
    low: Floats
    high: Floats
    support: Floats


def nearness(from_: Floats, to: Floats) -> Floats:
    """Weight of each unit vector of `to` (m, 3) at each of `from_` (n, 3): 1 at none apart, shape (n, m)."""
    return np.asarray(np.exp((from_ @ to.T - 1.0) / np.radians(NEAR_DEG) ** 2))


def chances(
    edge: EdgePosterior, cells: Cells, horizon_looks: float, azimuth_deg: Floats, elevation_deg: Floats
) -> Chances:
    """Skyline and local evidence together.

    The interval joins two parts: the skyline's own 5 and 95 % quantile as far as local looks leave it, and the beta
    distribution of the local ones. The deviations of both are added in squares, on each side.
    """
    middle, low, high = (_kept(part) for part in edge.p_clear(azimuth_deg, elevation_deg))
    for_, all_ = _local(cells, azimuth_deg, elevation_deg)
    whole = horizon_looks + all_
    value = (horizon_looks * middle + for_) / whole
    a, b = horizon_looks * middle + for_, horizon_looks * (1.0 - middle) + all_ - for_
    kept = horizon_looks / whole
    down = np.hypot(kept * (middle - np.minimum(low, middle)), value - betaincinv(a, b, 0.05))
    up = np.hypot(kept * (np.maximum(high, middle) - middle), betaincinv(a, b, 0.95) - value)
    return Chances(value, np.maximum(value - down, 0.0), np.minimum(value + up, 1.0), all_)


def drawn_chances(
    edge: EdgePosterior,
    cells: Cells,
    horizon_looks: float,
    azimuth_deg: Floats,
    elevation_deg: Floats,
    draws: int,
    random: np.random.Generator,
) -> Floats:
    """Chances of directions (n,) under skies drawn from what is known, shape (draws, n).

    A whole skyline is drawn, and about its chance the local evidence from its beta distribution: alike for directions
    that are near, by a Gaussian copula with their nearness.
    """
    skylines = edge.drawn(draws, random)
    given = np.stack([edge.with_edge(one).p_clear(azimuth_deg, elevation_deg)[0] for one in skylines])
    for_, all_ = _local(cells, azimuth_deg, elevation_deg)
    way = unit_vectors(azimuth_deg, elevation_deg)
    root = np.linalg.cholesky(nearness(way, way) + 1e-6 * np.eye(len(way)))
    level = ndtr(random.normal(size=(draws, len(way))) @ root.T)
    middle = _kept(given)
    return np.asarray(betaincinv(horizon_looks * middle + for_, horizon_looks * (1.0 - middle) + all_ - for_, level))


@dataclass(frozen=True)
class Settings:
    """How soft the skyline's edge is, deg, and what its chance is worth against looks close by."""

    edge_width_deg: float = HARD_EDGE_DEG
    horizon_looks: float = 2.0


def settle(cells: Cells, prior: EdgePrior) -> Settings:
    """The settings that foretell best what satellites left out of the fit show; the first ones where none can tell.

    `cells.fold` must hold 0 to `FOLDS` - 1, each satellite in one fold.
    """
    score = np.zeros((len(EDGE_WIDTHS_DEG), len(HORIZON_LOOKS)))
    for fold in range(FOLDS):
        train, test = cells.fold != fold, np.flatnonzero(cells.fold == fold)
        if len(test) >= 3 and train.sum() >= 10:
            score += _scores(_picked(cells, train), _picked(cells, test[:: max(1, len(test) // FOLD_ROWS)]), prior)
    if not score.any():
        return Settings()
    width, looks = np.unravel_index(int(score.argmax()), score.shape)
    return Settings(EDGE_WIDTHS_DEG[width], HORIZON_LOOKS[looks])


def _scores(known: Cells, left_out: Cells, prior: EdgePrior) -> Floats:
    """Log score of the cells left out, of each edge width and worth of the skyline."""
    score = np.zeros((len(EDGE_WIDTHS_DEG), len(HORIZON_LOOKS)))
    for_, all_ = _local(known, left_out.azimuth_deg, left_out.elevation_deg)
    half = left_out.evidence / 2.0
    for row, width in enumerate(EDGE_WIDTHS_DEG):
        edge = fit_edge(known, prior, width, FOLD_ROUNDS)
        middle = _kept(edge.p_clear(left_out.azimuth_deg, left_out.elevation_deg)[0])
        for column, looks in enumerate(HORIZON_LOOKS):
            chance = (looks * middle + for_) / (looks + all_)
            score[row, column] = left_out.weight @ np.logaddexp(np.log(chance) + half, np.log1p(-chance) - half)
    return score


def _kept(chance: Floats) -> Floats:
    return np.asarray(np.clip(chance, LEAST_CHANCE, 1.0 - LEAST_CHANCE))


def _local(cells: Cells, azimuth_deg: Floats, elevation_deg: Floats) -> tuple[Floats, Floats]:
    """Looks close by that speak for a clear way, and all of them."""
    clear = expit(cells.evidence)
    worth = np.abs(2.0 * clear - 1.0) * cells.weight
    near = nearness(unit_vectors(azimuth_deg, elevation_deg), unit_vectors(cells.azimuth_deg, cells.elevation_deg))
    return near @ (worth * clear), near @ worth


def _picked(cells: Cells, keep: Flags | Integers) -> Cells:
    return Cells(
        cells.azimuth_deg[keep],
        cells.elevation_deg[keep],
        cells.evidence[keep],
        cells.weight[keep],
        cells.fold[keep],
    )
