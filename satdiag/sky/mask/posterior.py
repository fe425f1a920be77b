"""The skyline behind the looks: the elevation of the sky's edge at even azimuths, with its covariance.

The edge runs straight between `KNOTS` knots round the circle. A direction is clear with a logistic chance in its
height above the edge, over a width that is small behind walls and large under trees (see canopy). The most probable
edge is found by expectation-maximisation (which looks were clear, and above the edge, given the edge; then the edge
given those), each step a penalised logistic Newton step (textbook), with an edge that is made soft at first. The
covariance is the inverse of the observed information (Louis 1982, JRSS B 44, 226).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from satdiag.sky.mask.looks import Floats, Integers
from satdiag.sky.mask.thinning import Cells

KNOTS = 72
HARD_EDGE_DEG = 2.0
SOFT_WIDTHS_DEG = (12.0, 7.0, 4.0)
# Clear far below the edge (a gap in a crown), and far above it (a wire, a branch), before any look, and how many
# looks that is worth; judgement, the number settled on the first hour of a forest and on a drive.
SURPRISE_LOW, SURPRISE_HIGH = 0.01, 0.9
SURPRISE_LOOKS = 30.0
MOST_LOW, LEAST_HIGH = 0.4, 0.6
LOW_START_DEG = 3.0
LOWEST_EDGE_DEG, HIGHEST_EDGE_DEG = -5.0, 90.0
MOST_ROUNDS = 12
SMALL_STEP_DEG = 0.1
Z_90 = 1.6448536269514722

# judgement, settled on made skies: how far a skyline goes up or down in 5 deg of azimuth, and where it lies at all.
STEP_SD_DEG = 12.0
LEVEL_DEG, LEVEL_SD_DEG = 18.0, 20.0

KNOT_AZIMUTH_DEG = np.arange(KNOTS) * 360.0 / KNOTS


@dataclass(frozen=True)
class EdgePrior:
    """What is held of the edge at the knots before any look: mean (KNOTS,) in deg and precision (KNOTS, KNOTS)."""

    mean_deg: Floats
    precision: Floats


@dataclass(frozen=True)
class EdgePosterior:
    """The edge at the knots: most probable elevation (KNOTS,) in deg, and covariance (KNOTS, KNOTS) in deg^2.

    `width_deg` is how far above the edge the chance has risen from a half to about three quarters; `low` and `high`
    are the chances far below and far above it.
    """

    edge_deg: Floats
    covariance: Floats
    width_deg: float = HARD_EDGE_DEG
    low: float = SURPRISE_LOW
    high: float = SURPRISE_HIGH

    def at(self, azimuth_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Elevation of the edge at azimuths (n,), within 0 to 90 deg, and its standard deviation."""
        left, right, share = _between(azimuth_deg)
        edge = (1.0 - share) * self.edge_deg[left] + share * self.edge_deg[right]
        own = (1.0 - share) ** 2 * self.covariance[left, left] + share**2 * self.covariance[right, right]
        variance = own + 2.0 * share * (1.0 - share) * self.covariance[left, right]
        return np.clip(edge, 0.0, 90.0), np.sqrt(np.maximum(variance, 0.0))

    def p_clear(self, azimuth_deg: ArrayLike, elevation_deg: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Chance that directions are clear with the edge integrated out, and with it at its 95 and 5 % quantile.

        The logistic-normal integral is that of MacKay 1992 (Neural Computation 4, 720).
        """
        edge, sd = self.at(azimuth_deg)
        above = (np.asarray(elevation_deg, dtype=float) - edge) / self.width_deg
        wide = sd / self.width_deg
        value = above / np.sqrt(1.0 + np.pi / 8.0 * wide**2)
        steps = (value, above - Z_90 * wide, above + Z_90 * wide)
        value, low, high = (np.asarray(self.low + (self.high - self.low) * expit(each)) for each in steps)
        return value, low, high

    def with_edge(self, edge_deg: Floats) -> EdgePosterior:
        """A skyline that is known exactly, shape (KNOTS,), as soft as this one."""
        return EdgePosterior(edge_deg, np.zeros((KNOTS, KNOTS)), self.width_deg, self.low, self.high)

    def drawn(self, number: int, random: np.random.Generator) -> Floats:
        """Whole edges at the knots, shape (number, KNOTS), drawn from the posterior, within 0 to 90 deg."""
        root = np.linalg.cholesky(self.covariance + 1e-6 * np.eye(KNOTS))
        return np.clip(self.edge_deg + random.normal(size=(number, KNOTS)) @ root.T, 0.0, 90.0)


def walking_prior(level_deg: float = LEVEL_DEG, level_sd_deg: float = LEVEL_SD_DEG) -> EdgePrior:
    """An edge that walks at random round the circle about a level."""
    step = 1.0 / STEP_SD_DEG**2
    each, after = np.arange(KNOTS), (np.arange(KNOTS) + 1) % KNOTS
    precision = np.zeros((KNOTS, KNOTS))
    precision[each, each] = 2.0 * step + 4.0 / (level_sd_deg**2 * KNOTS)
    precision[each, after] -= step
    precision[after, each] -= step
    return EdgePrior(np.full(KNOTS, level_deg), precision)


def fit_edge(
    cells: Cells, prior: EdgePrior, width_deg: float = HARD_EDGE_DEG, rounds: int = MOST_ROUNDS
) -> EdgePosterior:
    """The edge behind the evidence of cells. Without a cell it is the prior.

    The climb starts once at the prior and once at a low edge, and the better end counts: what is weak high up may be
    a branch over an open sky as well as a wall.
    """
    where = _between(cells.azimuth_deg)
    starts = (prior.mean_deg, np.minimum(prior.mean_deg, LOW_START_DEG))
    ends = [_climbed(cells, where, start, prior, width_deg, rounds) for start in starts]
    now = max(ends, key=lambda end: _height(cells, where, end, prior))
    state = _state(cells, where, now)
    seen = np.maximum(state.open * (1.0 - state.open) - state.above * (1.0 - state.above), 0.0)
    information = _gram(where, cells.weight * seen / width_deg**2) + prior.precision
    return replace(now, covariance=np.asarray(np.linalg.inv(information), dtype=float))


def _climbed(
    cells: Cells, where: _Where, start: Floats, prior: EdgePrior, width_deg: float, rounds: int
) -> EdgePosterior:
    """The edge that is reached from a start, at first with a soft edge."""
    now = EdgePosterior(start.copy(), np.zeros((KNOTS, KNOTS)), width_deg)
    for width in (*(soft for soft in SOFT_WIDTHS_DEG if soft > width_deg), width_deg):
        for _ in range(rounds):
            now, moved = _round(cells, where, replace(now, width_deg=width), prior)
            if moved < SMALL_STEP_DEG:
                break
    return now


def _height(cells: Cells, where: _Where, now: EdgePosterior, prior: EdgePrior) -> float:
    """The log posterior of an edge, up to a constant."""
    chance = now.low + (now.high - now.low) * _state(cells, where, now).open
    likely = cells.weight @ np.logaddexp(np.log(chance) + cells.evidence, np.log1p(-chance))
    off = now.edge_deg - prior.mean_deg
    told = ((SURPRISE_LOW, now.low), (SURPRISE_HIGH, now.high))
    surprise = sum(mean * np.log(held) + (1.0 - mean) * np.log1p(-held) for mean, held in told)
    return float(likely + SURPRISE_LOOKS * surprise - 0.5 * off @ prior.precision @ off)


_Where = tuple[Integers, Integers, Floats]


def _between(azimuth_deg: ArrayLike) -> _Where:
    """The knots left and right of azimuths, and how far from the left one, 0 to 1."""
    place = np.atleast_1d(np.asarray(azimuth_deg, dtype=float)) % 360.0 * KNOTS / 360.0
    left = np.floor(place).astype(np.int64)
    return left % KNOTS, (left + 1) % KNOTS, place - left


class _State(NamedTuple):
    """Of each cell: the logistic of its height above the edge; after its look, the chance that it is above the edge,
    that it is clear, and that it is both."""

    open: Floats
    above: Floats
    clear: Floats
    both: Floats


def _state(cells: Cells, where: _Where, now: EdgePosterior) -> _State:
    left, right, share = where
    edge = (1.0 - share) * now.edge_deg[left] + share * now.edge_deg[right]
    open_ = expit((cells.elevation_deg - edge) / now.width_deg)
    before = now.low + (now.high - now.low) * open_
    clear = expit(np.log(before) - np.log1p(-before) + cells.evidence)
    both = clear * now.high * open_ / before
    return _State(open_, both + (1.0 - clear) * (1.0 - now.high) * open_ / (1.0 - before), clear, both)


def _round(cells: Cells, where: _Where, now: EdgePosterior, prior: EdgePrior) -> tuple[EdgePosterior, float]:
    """One step of expectation-maximisation, and how far the edge moved."""
    from scipy.linalg import cho_factor, cho_solve  # dear to import

    left, right, share = where
    state = _state(cells, where, now)
    curvature = np.maximum(cells.weight * state.open * (1.0 - state.open), 1e-6) / now.width_deg**2
    pull = cells.weight * (state.above - state.open) / now.width_deg
    gradient = np.bincount(left, pull * (1.0 - share), KNOTS) + np.bincount(right, pull * share, KNOTS)
    slope = -gradient - prior.precision @ (now.edge_deg - prior.mean_deg)
    step = np.clip(cho_solve(cho_factor(_gram(where, curvature) + prior.precision), slope), -10.0, 10.0)
    edge = np.clip(now.edge_deg + step, LOWEST_EDGE_DEG, HIGHEST_EDGE_DEG)
    above, below = cells.weight @ state.above, cells.weight @ (1.0 - state.above)
    high = (cells.weight @ state.both + SURPRISE_LOOKS * SURPRISE_HIGH) / (above + SURPRISE_LOOKS)
    low = (cells.weight @ (state.clear - state.both) + SURPRISE_LOOKS * SURPRISE_LOW) / (below + SURPRISE_LOOKS)
    new = replace(now, edge_deg=edge, low=min(float(low), MOST_LOW), high=max(float(high), LEAST_HIGH))
    return new, float(np.abs(step).max())


def _gram(where: _Where, weight: Floats) -> Floats:
    left, right, share = where
    each, after = np.arange(KNOTS), (np.arange(KNOTS) + 1) % KNOTS
    gram = np.zeros((KNOTS, KNOTS))
    own = np.bincount(left, weight * (1.0 - share) ** 2, KNOTS) + np.bincount(right, weight * share**2, KNOTS)
    gram[each, each] = own
    beside = np.bincount(left, weight * share * (1.0 - share), KNOTS)
    gram[each, after] += beside
    gram[after, each] += beside
    return gram


def tied_prior(mean_deg: Floats, covariance: Floats) -> EdgePrior:
    """A prior at the knots from a mean (KNOTS,) and a covariance (KNOTS, KNOTS)."""
    return EdgePrior(mean_deg, np.asarray(np.linalg.inv(covariance), dtype=float))
