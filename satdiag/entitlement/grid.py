"""The posterior of one waiting-time family on a grid over (share that comes, log scale, shape).

Mixture cure model with interval censoring (Maller and Zhou, Survival Analysis with Long-Term Survivors, 1996): a
channel comes with probability pi, and then after a wait T. One refused at exposure L and authorised at R contributes
pi (S(L) - S(R)); one still refused at L contributes 1 - pi + pi S(L).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from satdiag.entitlement.families import Array, Family
from satdiag.entitlement.fill_in import Rows
from satdiag.entitlement.wait_prior import WaitPrior

Cells = tuple[int, int, int]
"""Grid cells of pi, log scale and shape."""

FIRST_LOOK: Cells = (16, 32, 12)
FINE: Cells = (28, 48, 20)
TAIL = 5e-4  # marginal mass cut off on either side when the grid closes in
NARROW_CELLS = 1.5  # close in again when a marginal's standard deviation is less than this many cells
MOST_ZOOMS = 4
_TINY = 1e-300


@dataclass(frozen=True)
class Priors:
    """What is assumed before any channel was checked (judgements, all of them).

    The share that comes is Beta(come_a, come_b); the logarithm of the scale is uniform between `shortest_s` and
    `longest_s`; `account_dead` is the chance that the account as a whole gives nothing, `category_outside` that a
    whole category is not part of it though it was thought to be. `wait`: what other jobs say of the typical wait, in
    the place of the uniform scale for most of the prior.
    """

    come_a: float = 1.0
    come_b: float = 1.0
    shortest_s: float = 10.0
    longest_s: float = 4 * 3600.0
    account_dead: float = 0.15
    category_outside: float = 0.05
    wait: WaitPrior | None = None


def log_likelihood(
    family: Family, rows: Rows, come: Array, log_scale: Array, shape: Array, outside: float = 0.0
) -> Array:
    """Log-likelihood on the product of `come` (the pi values, length P) and parameter points (length G): (P, G).

    A silent category is outside with probability `outside`, or all of its channels are late:
    outside + (1 - outside) prod(1 - pi + pi S(L)).
    """
    seen = rows.is_seen
    come_column = np.asarray(come, dtype=float)[:, None]
    arrived = float(rows.count[seen].sum()) + rows.held
    total = arrived * np.log(come_column) + np.zeros((1, len(log_scale)))
    if seen.any():
        ends, index = np.unique(np.concatenate([rows.lower_s[seen], rows.upper_s[seen]]), return_inverse=True)
        survival = family.survival(ends[:, None], log_scale, shape)
        half = int(seen.sum())
        inside = survival[index[:half]] - survival[index[half:]]
        total += rows.count[seen] @ np.log(np.maximum(inside, _TINY))
    late = np.zeros((len(rows.group_count), *total.shape))
    for k, (exposure_s, count) in enumerate(zip(rows.lower_s[~seen], rows.count[~seen], strict=True)):
        arrived_by_then = 1.0 - family.survival(np.asarray(exposure_s), log_scale, shape)
        silent = np.log(1.0 - come_column * arrived_by_then)
        total += count * silent
        for group, counts in enumerate(rows.group_count):
            if counts[k]:
                late[group] += counts[k] * silent
    for one in late:
        total += np.logaddexp(np.log(outside), np.log1p(-outside) + one) if outside > 0.0 else one
    return np.asarray(total)


def outside_chance(grid: GridPosterior, rows: Rows, outside: float) -> Array:
    """P(a silent category is outside | its checks), one for each, averaged over the posterior."""
    come, scale, shape = grid.points()
    nodes = rows.lower_s[~rows.is_seen]
    silent = [
        np.log(1.0 - come[:, None] * (1.0 - grid.family.survival(np.asarray(at_s), scale, shape))) for at_s in nodes
    ]
    mass = grid.mass.reshape(len(come), -1)
    chances = []
    for counts in rows.group_count:
        late = sum((count * part for count, part in zip(counts, silent, strict=True) if count), np.zeros(mass.shape))
        odds = outside / (outside + (1.0 - outside) * np.exp(late))
        chances.append(float(np.sum(mass * odds)))
    return np.array(chances)


@dataclass(frozen=True)
class Draws:
    """Equally likely parameter points of one member of the posterior; see `GridPosterior`."""

    family: Family
    together: bool
    before_s: float
    come: Array
    log_scale: Array
    shape: Array


@dataclass(frozen=True)
class GridPosterior:
    """The posterior of one family on its grid: `mass` has shape (pi, log scale, shape) and sums to 1.

    `together` marks the reading in which every channel waits for one and the same message. `before_s` is the
    listening before the log began that this member assumes; times handed to it are on the log's clock.
    """

    family: Family
    come_edges: Array
    scale_edges: Array
    shape_edges: Array
    mass: Array
    log_evidence: float
    together: bool = False
    before_s: float = 0.0

    def points(self) -> tuple[Array, Array, Array]:
        """Cell centres: pi (P,), and log scale and shape of the G = scale x shape parameter points."""
        scale, shape = np.meshgrid(_middle(self.scale_edges), _middle(self.shape_edges), indexing="ij")
        return _middle(self.come_edges), scale.ravel(), shape.ravel()

    def marginals(self) -> list[Array]:
        """Marginal masses of pi, log scale, shape."""
        return [self.mass.sum(axis=axes) for axes in ((1, 2), (0, 2), (0, 1))]

    def mean_come(self) -> float:
        """Posterior mean of pi."""
        return float(self.marginals()[0] @ _middle(self.come_edges))

    def come_survival(self, t_s: Array) -> Array:
        """Posterior mean of pi S(t) at each time."""
        come, scale, shape = self.points()
        weight = np.tensordot(come, self.mass, axes=1).ravel()
        return np.asarray(self.family.survival(self._own(t_s)[:, None], scale, shape) @ weight)

    def _own(self, t_s: Array | float) -> Array:
        return np.maximum(np.asarray(t_s, dtype=float) + self.before_s, 0.0)

    def p_still_coming(self, exposure_s: float) -> float:
        """P(a channel comes | not by this exposure), averaged over the posterior."""
        come, scale, shape = self.points()
        late = come[:, None] * self.family.survival(self._own(exposure_s), scale, shape)
        return float(np.sum(self.mass.reshape(late.shape) * late / (1.0 - come[:, None] + late)))

    def last_arrival_cdf(self, channels: int, exposure_s: float, after_s: float) -> float:
        """P(none of these unseen channels comes later than `after_s` from now); at 0: nothing more comes."""
        come, scale, shape = self.points()
        now = self.family.survival(self._own(exposure_s), scale, shape)
        later = self.family.survival(self._own(exposure_s + after_s), scale, shape)
        column = come[:, None]
        done = (1.0 - column * later / (1.0 - column + column * now)) ** channels
        return float(np.sum(self.mass.reshape(done.shape) * done))

    def draw(self, number: int, rng: np.random.Generator) -> Draws:
        """Systematic sample of cells with a uniform place inside each: less noise than independent draws."""
        cumulative = np.cumsum(self.mass.ravel())
        at = (np.arange(number) + rng.random()) / max(number, 1) * cumulative[-1]
        cell = np.minimum(np.searchsorted(cumulative, at), self.mass.size - 1)
        index = np.unravel_index(cell, self.mass.shape)
        place = [
            edges[i] + rng.random(number) * (edges[i + 1] - edges[i])
            for edges, i in zip((self.come_edges, self.scale_edges, self.shape_edges), index, strict=True)
        ]
        return Draws(self.family, self.together, self.before_s, *place)


def _middle(edges: Array) -> Array:
    return np.asarray((edges[1:] + edges[:-1]) / 2)


Edges = tuple[Array, Array, Array]


def _full_edges(family: Family, priors: Priors, cells: Cells) -> Edges:
    shape_low, shape_high = family.shape_range or (0.0, 1.0)
    return (
        np.linspace(0.0, 1.0, cells[0] + 1),
        np.linspace(np.log(priors.shortest_s), np.log(priors.longest_s), cells[1] + 1),
        np.linspace(shape_low, shape_high, (cells[2] if family.shape_range else 1) + 1),
    )


def _closer_edges(grid: GridPosterior, cells: Cells) -> Edges:
    """Edges over the part of each axis that holds nearly all the mass, one old cell added on either side."""
    closer = []
    for edges, mass, number in zip(
        (grid.come_edges, grid.scale_edges, grid.shape_edges), grid.marginals(), cells, strict=True
    ):
        cumulative = np.cumsum(mass) / mass.sum()
        first = max(int(np.searchsorted(cumulative, TAIL)) - 1, 0)
        last = min(int(np.searchsorted(cumulative, 1.0 - TAIL)) + 1, len(mass) - 1)
        closer.append(np.linspace(edges[first], edges[last + 1], (number if len(mass) > 1 else 1) + 1))
    return closer[0], closer[1], closer[2]


def _is_narrow(grid: GridPosterior) -> bool:
    for mass in grid.marginals():
        if len(mass) == 1:
            continue
        cell = np.arange(len(mass))
        mean = mass @ cell
        if np.sqrt(mass @ (cell - mean) ** 2) < NARROW_CELLS:
            return True
    return False


def _evaluate(
    family: Family, rows: Rows, priors: Priors, dispersion: float, edges: Edges, together: bool
) -> GridPosterior:
    """The posterior on one grid; its evidence is that of the whole prior as far as the grid holds it."""
    come, scale, shape = (_middle(edge) for edge in edges)
    scale_grid, shape_grid = (x.ravel() for x in np.meshgrid(scale, shape, indexing="ij"))
    span = np.log(priors.longest_s / priors.shortest_s)
    log_prior = [
        np.log(np.maximum(np.diff(special.betainc(priors.come_a, priors.come_b, edges[0])), _TINY)),
        np.log(np.diff(edges[1]) / span),
        np.log(np.maximum(np.diff(family.shape_cdf(edges[2])), _TINY)),
    ]
    if together:
        last_look = np.asarray(rows.lower_s.max(initial=0.0))
        survival = family.survival(last_look, scale_grid, shape_grid)
        likelihood = np.log(np.maximum(survival, _TINY)) + np.zeros((len(come), 1))
    else:
        likelihood = log_likelihood(family, rows, come, scale_grid, shape_grid, priors.category_outside) / dispersion
    log_mass = likelihood.reshape(len(come), len(scale), len(shape))
    of_scale = log_prior[1][:, None]
    if priors.wait is not None:
        of_scale = priors.wait.log_mass(family, edges[1], shape, priors.shortest_s, priors.longest_s)
    log_mass = log_mass + log_prior[0][:, None, None] + of_scale + log_prior[2]
    top = log_mass.max()
    mass = np.exp(log_mass - top)
    total = float(mass.sum())
    return GridPosterior(family, *edges, mass / total, float(top + np.log(total)), together)


def first_look(
    family: Family,
    rows: Rows,
    priors: Priors,
    dispersion: float = 1.0,
    together: bool = False,
    cells: Cells = FIRST_LOOK,
) -> GridPosterior:
    """A coarse posterior over the whole prior: quick, good enough to compare members."""
    return _evaluate(family, rows, priors, dispersion, _full_edges(family, priors, cells), together)


def family_posterior(
    family: Family,
    rows: Rows,
    priors: Priors,
    dispersion: float = 1.0,
    cells: Cells = FINE,
    together: bool = False,
) -> GridPosterior:
    """The posterior of one family: a first look over the whole prior, then a grid closed in on the mass.

    The likelihood is raised to the power 1/dispersion. The evidence stays that of the whole prior.
    """
    grid = first_look(family, rows, priors, dispersion, together)
    for _ in range(MOST_ZOOMS):
        grid = _evaluate(family, rows, priors, dispersion, _closer_edges(grid, cells), together)
        if not _is_narrow(grid):
            break
    return grid
