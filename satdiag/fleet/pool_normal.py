"""Numbers measured with known errors, pooled: each is its own truth plus an error, truths scatter about a mean.

y_j ~ N(theta_j, se_j^2), theta_j ~ N(mean, tau^2), as in meta-analysis. tau^2 by restricted maximum likelihood
(Viechtbauer 2005, J. Educ. Behav. Stat. 30:261) or by moments (DerSimonian and Laird 1986, Control. Clin. Trials
7:177). With groups the means of groups scatter too, about one mean with omega^2; each group's mean is then drawn
towards the others by as much as its own jobs leave open (Gelman et al. 2013, Bayesian Data Analysis, ch. 5).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]

DROP_90 = 1.3528
"""Half the 90 % quantile of chi-squared with one degree of freedom: where the log-likelihood's interval ends."""

WIDEST = 20.0
"""No tau beyond that many times the spread of what was measured is looked for."""


@dataclass(frozen=True)
class Pooled:
    """The mean with its standard error, the scatter of truths `tau` with its 90 % interval, and Cochran's Q."""

    mean: float
    mean_se: float
    tau: float
    tau_90: tuple[float, float]
    q: float
    number: int


@dataclass(frozen=True)
class Group:
    """One group: `raw` from its own jobs alone, `drawn` towards the other groups; standard errors of both means."""

    name: str
    number: int
    raw: float
    raw_se: float
    drawn: float
    drawn_se: float


@dataclass(frozen=True)
class Grouped:
    """Groups of measurements: scatter `tau` within a group, `omega` of the groups' means about `mean`."""

    mean: float
    mean_se: float
    tau: float
    tau_90: tuple[float, float]
    omega: float
    groups: tuple[Group, ...]

    def of(self, name: str) -> tuple[float, float]:
        """Mean and standard deviation of one more truth of a group; of an unknown one where it is not there.

        The upper end of tau's interval is taken for tau: to believe truths more alike than they are does harm, and
        errors that were stated too large make tau come out too small.
        """
        tau = self.tau_90[1]
        for group in self.groups:
            if group.name == name:
                return group.drawn, float(np.hypot(tau, group.drawn_se))
        return self.mean, float(np.sqrt(tau**2 + self.omega**2 + self.mean_se**2))


def pooled(y: Floats, se: Floats) -> Pooled:
    """The mean and the scatter by restricted maximum likelihood. Raises ValueError for fewer than two."""
    if len(y) < 2:
        raise ValueError("two measurements at least")
    alone = np.zeros(len(y), dtype=np.intp)
    tau, tau_90 = _tau(y, se, alone)
    mean, mean_se = _mean(y, se, tau)
    return Pooled(mean, mean_se, tau, tau_90, cochran_q(y, se), len(y))


def cochran_q(y: Floats, se: Floats) -> float:
    """Cochran's Q: squared distances from the common mean, each in its own standard errors."""
    mean, _ = _mean(y, se, 0.0)
    return float(np.sum(((y - mean) / se) ** 2))


def moments_tau(y: Floats, se: Floats) -> float:
    """tau by the method of moments (DerSimonian and Laird 1986)."""
    weight = 1.0 / se**2
    scale = weight.sum() - np.sum(weight**2) / weight.sum()
    return float(np.sqrt(max(0.0, (cochran_q(y, se) - (len(y) - 1)) / scale)))


def grouped(y: Floats, se: Floats, names: Sequence[str]) -> Grouped:
    """Groups, their means drawn together. Raises ValueError for fewer than two measurements.

    Groups of one are taken as they are: they tell nothing of tau, and their means are drawn the furthest.
    """
    if len(y) < 2:
        raise ValueError("two measurements at least")
    distinct = sorted(set(names))
    place = np.array([distinct.index(name) for name in names], dtype=np.intp)
    several = len(distinct) > 1 and len(y) > len(distinct)
    tau, tau_90 = _tau(y, se, place if several else np.zeros(len(y), dtype=np.intp))
    means = [_mean(y[place == k], se[place == k], tau) for k in range(len(distinct))]
    raw, raw_se = (np.array(part) for part in zip(*means, strict=True))
    omega = _tau(raw, raw_se, np.zeros(len(raw), dtype=np.intp))[0] if len(raw) > 1 else 0.0
    mean, mean_se = _mean(raw, raw_se, omega)
    groups = tuple(
        Group(
            name,
            int(np.sum(place == k)),
            float(raw[k]),
            float(raw_se[k]),
            *_drawn(raw[k], raw_se[k], mean, mean_se, omega),
        )
        for k, name in enumerate(distinct)
    )
    return Grouped(mean, mean_se, tau, tau_90, omega, groups)


def _drawn(raw: float, raw_se: float, mean: float, mean_se: float, omega: float) -> tuple[float, float]:
    """A group's mean drawn towards the others' mean, and its standard error, that of the others' mean included."""
    own = omega**2 / (omega**2 + raw_se**2)
    variance = own * raw_se**2 + (1.0 - own) ** 2 * mean_se**2
    return float(own * raw + (1.0 - own) * mean), float(np.sqrt(variance))


def _mean(y: Floats, se: Floats, tau: float) -> tuple[float, float]:
    weight = 1.0 / (se**2 + tau**2)
    return float(np.sum(weight * y) / weight.sum()), float(1.0 / np.sqrt(weight.sum()))


def restricted_log_likelihood(tau: float, y: Floats, se: Floats, place: Index) -> float:
    """The restricted log-likelihood of tau, a free mean for each group, without its constant."""
    variance = se**2 + tau**2
    weight = 1.0 / variance
    total = np.bincount(place, weight)
    mean = np.bincount(place, weight * y) / total
    return float(-0.5 * (np.log(variance).sum() + np.log(total).sum() + np.sum(weight * (y - mean[place]) ** 2)))


def _tau(y: Floats, se: Floats, place: Index) -> tuple[float, tuple[float, float]]:
    """The best tau and its 90 % interval by the profile of the likelihood."""
    widest = max(float(np.ptp(y)), float(se.max()), 1e-9) * WIDEST

    def lack(tau: float) -> float:
        return -restricted_log_likelihood(tau, y, se, place)

    grid = np.concatenate([[0.0], np.geomspace(widest * 1e-5, widest, 400)])
    values = np.array([lack(float(one)) for one in grid])
    best = int(values.argmin())
    near = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    closer = optimize.minimize_scalar(lack, bounds=near, method="bounded", options={"xatol": widest * 1e-10})
    least, tau = min((values[best], float(grid[best])), (float(closer.fun), float(closer.x)))
    if lack(0.0) <= least + 1e-9:
        least, tau = lack(0.0), 0.0
    inside = grid[values <= least + DROP_90]
    low, high = (float(inside.min()), float(inside.max())) if len(inside) else (tau, tau)
    return tau, (min(low, tau), max(high, tau))
