"""The posterior of a fill-in: what share of the channels ever comes, how fast, and by which law.

Five families of waiting times, each on a grid, averaged by their evidence. Grid, not maximum likelihood: with a
follow-up of less than two typical waits the likelihood hardly tells late from never, and intervals from a Gaussian
approximation or from plugged-in estimates are far too narrow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import special

from satdiag.entitlement.dispersion import Fit, dispersion_of
from satdiag.entitlement.families import EXPONENTIAL, Array, Family, all_families
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
    outside_chance,
)


@dataclass(frozen=True)
class Start:
    """When authorisations may have begun to be sent: exposure on the log's clock, below 0 before it began.

    `weight`: how likely that is beforehand.
    """

    at_s: float
    weight: float


AT_THE_ORIGIN = (Start(0.0, 1.0),)
# Where the log does not hold the start of the account: listening before its first row, each as likely (judgement).
BEFORE_LOG_S = (0.0, 300.0, 1800.0, 6 * 3600.0)
BEFORE_THE_LOG = tuple(Start(-before_s, 1.0 / len(BEFORE_LOG_S)) for before_s in BEFORE_LOG_S)
HOPELESS = 1e-4  # a start whose exponential explains the checks so much worse than the best is left out
COARSE: Cells = (12, 24, 6)
LEAST_WEIGHT = 3e-3  # members below this weight at a first look are left out


@dataclass(frozen=True)
class Posterior:
    """The average over members, each a family's grid with its weight. `dispersion` is 1 without sign of groups.

    `log_evidence` is log P(data | the account is alive), not weakened by the dispersion. `outside`: for each silent
    category the chance that all of it is outside the account.
    """

    members: tuple[GridPosterior, ...]
    weights: Array
    dispersion: float
    log_evidence: float
    outside: Array = field(default_factory=lambda: np.zeros(0))

    def p_begun_after(self, exposure_s: float) -> float:
        """P(authorisations began to be sent after this exposure)."""
        return float(sum(w for w, m in zip(self.weights, self.members, strict=True) if -m.before_s > exposure_s))

    def start_quantile(self, p: Sequence[float]) -> Array:
        """Quantiles of the exposure at which authorisations began to be sent."""
        at_s = np.array([-member.before_s for member in self.members])
        order = np.argsort(at_s)
        reached = np.cumsum(self.weights[order])
        place = np.searchsorted(reached, np.asarray(p) * reached[-1])
        return np.asarray(at_s[order][np.minimum(place, len(at_s) - 1)])

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
    prior: float

    def look(self, priors: Priors, dispersion: float, cells: Cells = FIRST_LOOK) -> GridPosterior:
        found = first_look(self.family, self.rows, priors, dispersion, self.together, cells)
        return replace(found, before_s=self.before_s, log_evidence=found.log_evidence + np.log(self.prior))

    def fit(self, priors: Priors, dispersion: float, cells: Cells) -> GridPosterior:
        found = family_posterior(self.family, self.rows, priors, dispersion, cells, self.together)
        return replace(found, before_s=self.before_s, log_evidence=found.log_evidence + np.log(self.prior))


def _members(fill: FillIn, priors: Priors, wake_ups_s: Sequence[float], starts: Sequence[Start]) -> list[_Member]:
    """All readings with what they are worth beforehand.

    While no channel has come, nothing tells whether channels are authorised one by one or all in one message: both,
    as likely. Once one has come, 'all in one message' is ruled out, but its share of the prior is not.
    """
    kinds = (False, True) if fill.is_silent else (False,)
    members = []
    for start in _plausible(fill, priors, starts):
        before_s = -start.at_s
        rows = compress(fill.after(before_s))
        families = all_families([before_s, *(before_s + wake_up_s for wake_up_s in wake_ups_s)])
        whole = 2.0 * sum(family.weight for family in families)
        members += [
            _Member(family, rows, kind, before_s, start.weight * family.weight / whole)
            for kind in kinds
            for family in families
        ]
    return members


def _plausible(fill: FillIn, priors: Priors, starts: Sequence[Start]) -> list[Start]:
    """The starts that the checks leave open, by a quick look with the simplest family."""
    if not fill.origin_known:
        starts = BEFORE_THE_LOG
    possible = [start for start in starts if fill.allows(-start.at_s)] or [Start(0.0, 1.0)]
    if len(possible) == 1 or not fill.origin_known:
        return possible
    looks = [first_look(EXPONENTIAL, compress(fill.after(-start.at_s)), priors, cells=COARSE) for start in possible]
    worth = np.array([look.log_evidence for look in looks]) + np.log([start.weight for start in possible])
    keep = worth > worth.max() + np.log(HOPELESS)
    return [start for start, is_kept in zip(possible, keep, strict=True) if is_kept]


def quick_posterior(
    fill: FillIn, priors: Priors, wake_ups_s: Sequence[float] = (), starts: Sequence[Start] = AT_THE_ORIGIN
) -> Posterior:
    """The average on coarse grids, without regard to groups: to weigh readings of the data against each other."""
    members = _members(fill, priors, wake_ups_s, starts)
    return _average([member.look(priors, 1.0, COARSE) for member in members], 1.0)


def posterior_of(
    fill: FillIn,
    priors: Priors,
    wake_ups_s: Sequence[float] = (),
    cells: Cells = FINE,
    starts: Sequence[Start] = AT_THE_ORIGIN,
) -> Posterior:
    """The posterior average given what was seen.

    `wake_ups_s`: exposures at which listening was taken up again; `starts`: when sending may have begun, for a log
    that holds the start of the account. Groups of channels authorised by one message are allowed for by the
    dispersion of the counts.
    """
    members = _members(fill, priors, wake_ups_s, starts)
    looks = [member.look(priors, 1.0) for member in members]
    quick = _average(looks, 1.0)
    outside = _outside(members, quick, priors)
    spread = _dispersion(likely_inside(fill, outside), quick)
    if spread > 1.0:
        looks = [member.look(priors, spread) for member in members]
    weights = _average(looks, spread).weights
    kept = [member for member, weight in zip(members, weights, strict=True) if weight >= LEAST_WEIGHT]
    fitted = _average([member.fit(priors, spread, cells) for member in kept], spread)
    return replace(fitted, log_evidence=quick.log_evidence, outside=outside)


def likely_inside(fill: FillIn, outside: Array) -> FillIn:
    """The fill-in without the channels of silent categories that are more likely outside the account than late."""
    if not len(outside):
        return fill
    return fill.without(np.append(outside > 0.5, False)[fill.unseen_group])


def _outside(members: Sequence[_Member], average: Posterior, priors: Priors) -> Array:
    """P(outside) of each silent category."""
    groups = len(members[0].rows.group_count)
    chance = np.zeros(groups)
    if groups:
        for member, grid, weight in zip(members, average.members, average.weights, strict=True):
            chance += weight * outside_chance(grid, member.rows, priors.category_outside)
    return chance


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
    """Members weighted by evidence, which holds what they are worth beforehand."""
    evidence = np.array([grid.log_evidence for grid in grids])
    total = float(special.logsumexp(evidence))
    return Posterior(tuple(grids), np.exp(evidence - total), dispersion, total)
