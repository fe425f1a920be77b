"""The posterior of a fill-in: what share of the channels ever comes, how fast, and by which law.

Four families of waiting times, each on a grid, averaged by their evidence. Grid, not maximum likelihood: with a
follow-up of less than two typical waits the likelihood hardly tells late from never, and intervals from a Gaussian
approximation or from plugged-in estimates are far too narrow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from satdiag.entitlement.dispersion import Fit, dispersion_of
from satdiag.entitlement.families import Array, Family, all_families
from satdiag.entitlement.fill_in import FillIn, Rows, compress
from satdiag.entitlement.grid import (
    FINE,
    FIRST_LOOK,
    Cells,
    Draws,
    GridPosterior,
    Priors,
    family_posterior,
    first_look,
)

# Where the log does not hold the start of the account: listening before its first row, each as likely (judgement).
BEFORE_LOG_S = (0.0, 300.0, 1800.0, 6 * 3600.0)
COARSE: Cells = (12, 24, 6)
LEAST_WEIGHT = 3e-3  # members below this weight at a first look are left out


@dataclass(frozen=True)
class Posterior:
    """The average over members, each a family's grid with its weight. `dispersion` is 1 without sign of groups.

    `log_evidence` is log P(data | the account is alive), not weakened by the dispersion.
    """

    members: tuple[GridPosterior, ...]
    weights: Array
    dispersion: float
    log_evidence: float

    def p_still_coming(self, exposure_s: float) -> float:
        """P(a channel comes | not by this exposure), averaged over families and parameters."""
        return float(sum(w * m.p_still_coming(exposure_s) for w, m in zip(self.weights, self.members, strict=True)))

    def come_survival(self, t_s: Array) -> Array:
        """Average of pi S(t) at each time."""
        parts = [w * m.come_survival(t_s) for w, m in zip(self.weights, self.members, strict=True)]
        return np.asarray(np.sum(parts, axis=0))

    def mean_come(self) -> float:
        """Average of pi."""
        return float(sum(w * m.mean_come() for w, m in zip(self.weights, self.members, strict=True)))

    def parameters(self) -> float:
        """Fitted parameters, averaged over the families."""
        return float(sum(w * m.family.parameters for w, m in zip(self.weights, self.members, strict=True)))

    def come_quantile(self, p: Sequence[float]) -> Array:
        """Quantiles of pi under the average."""
        return _mixture_quantile([m.come_edges for m in self.members], self._marginals(0), self.weights, p)

    def scale_quantile(self, p: Sequence[float]) -> Array:
        """Quantiles of the scale [s] (tau, tau, exp(mu), P by family) under the average."""
        edges = [m.scale_edges for m in self.members]
        return np.exp(_mixture_quantile(edges, self._marginals(1), self.weights, p))

    def _marginals(self, axis: int) -> list[Array]:
        return [member.marginals()[axis] for member in self.members]

    def draw(self, number: int, rng: np.random.Generator) -> tuple[Draws, ...]:
        """About `number` equally likely points, shared out over the members by weight (every sum is `number`)."""
        stops = np.floor(np.cumsum(self.weights) / self.weights.sum() * number + 0.5).astype(int)
        shares = np.diff(stops, prepend=0)
        return tuple(m.draw(int(n), rng) for m, n in zip(self.members, shares, strict=True) if n > 0)


def _mixture_quantile(edges: Sequence[Array], masses: Sequence[Array], weights: Array, p: Sequence[float]) -> Array:
    places = np.unique(np.concatenate(list(edges)))
    cdf = np.zeros(len(places))
    for edge, mass, weight in zip(edges, masses, weights, strict=True):
        cdf += weight * np.interp(places, edge, np.concatenate([[0.0], np.cumsum(mass)]))
    return np.asarray(np.interp(np.asarray(p), cdf / cdf[-1], places))


@dataclass(frozen=True)
class _Member:
    """One reading of the data: a family, whether all wait for one message, the listening before the log."""

    family: Family
    rows: Rows
    together: bool
    before_s: float

    def look(self, priors: Priors, dispersion: float, cells: Cells = FIRST_LOOK) -> GridPosterior:
        found = first_look(self.family, self.rows, priors, dispersion, self.together, cells)
        return replace(found, before_s=self.before_s)

    def fit(self, priors: Priors, dispersion: float, cells: Cells) -> GridPosterior:
        found = family_posterior(self.family, self.rows, priors, dispersion, cells, self.together)
        return replace(found, before_s=self.before_s)


def _members(fill: FillIn, wake_ups_s: Sequence[float]) -> list[_Member]:
    """All readings, equally likely beforehand.

    While no channel has come, nothing tells whether channels are authorised one by one or all in one message: both.
    """
    kinds = (False, True) if fill.is_silent else (False,)
    members = []
    for before_s in (0.0,) if fill.origin_known else BEFORE_LOG_S:
        rows = compress(fill.after(before_s))
        families = all_families([before_s, *(before_s + wake_up_s for wake_up_s in wake_ups_s)])
        members += [_Member(family, rows, kind, before_s) for kind in kinds for family in families]
    return members


def quick_posterior(fill: FillIn, priors: Priors, wake_ups_s: Sequence[float] = ()) -> Posterior:
    """The average on coarse grids, without regard to groups: to weigh readings of the data against each other."""
    return _average([member.look(priors, 1.0, COARSE) for member in _members(fill, wake_ups_s)], 1.0)


def posterior_of(fill: FillIn, priors: Priors, wake_ups_s: Sequence[float] = (), cells: Cells = FINE) -> Posterior:
    """The posterior average given what was seen.

    `wake_ups_s`: exposures at which listening was taken up again. Groups of channels authorised by one message are
    allowed for by the dispersion of the counts.
    """
    members = _members(fill, wake_ups_s)
    looks = [member.look(priors, 1.0) for member in members]
    quick = _average(looks, 1.0)
    spread = _dispersion(fill, quick)
    if spread > 1.0:
        looks = [member.look(priors, spread) for member in members]
    weights = _average(looks, spread).weights
    kept = [member for member, weight in zip(members, weights, strict=True) if weight >= LEAST_WEIGHT]
    fitted = _average([member.fit(priors, spread, cells) for member in kept], spread)
    return replace(fitted, log_evidence=quick.log_evidence)


def _dispersion(fill: FillIn, quick: Posterior) -> float:
    """The dispersion of the counts, on the clock of the likeliest listening before the log."""
    before_s = quick.members[int(np.argmax(quick.weights))].before_s
    here = [k for k, member in enumerate(quick.members) if member.before_s == before_s]
    on_clock = _average([replace(quick.members[k], before_s=0.0) for k in here], 1.0)
    plain = on_clock.members[0]
    return dispersion_of(
        fill.after(before_s),
        flexible=Fit(on_clock.come_survival, on_clock.parameters()),
        plain=Fit(plain.come_survival, plain.family.parameters),
    )


def _average(grids: Sequence[GridPosterior], dispersion: float) -> Posterior:
    """Members weighted by evidence. Once a channel has come, 'all in one message' is ruled out, but its share of the
    prior is not: it lowers the evidence by half.
    """
    evidence = np.array([grid.log_evidence for grid in grids])
    total = float(special.logsumexp(evidence))
    beforehand = len(grids) if any(grid.together for grid in grids) else 2 * len(grids)
    return Posterior(tuple(grids), np.exp(evidence - total), dispersion, total - float(np.log(beforehand)))
