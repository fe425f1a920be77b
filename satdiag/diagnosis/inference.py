"""Exact posterior over nothing, every fault, every pair, and 'other'; weights of evidence; how firmly it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from satdiag.diagnosis.model import HYPOTHESES, NONE, OTHER, Floats, Model
from satdiag.sheet import Sheet
from satdiag.vocabulary import CLASS_OF, FAULT_CLASSES, FAULTS

HOLDS: NDArray[np.bool_] = np.array([[fault in hypothesis for fault in FAULTS] for hypothesis in HYPOTHESES])
IN_CLASS: NDArray[np.bool_] = np.array(
    [
        [any(CLASS_OF.get(fault) == name for fault in hypothesis) for name in FAULT_CLASSES]
        for hypothesis in HYPOTHESES
    ]
)
EXPLANATION = "partial-package"
LIKELIER_THAN_NOT = 0.5
IN_REAL_SUBSCRIPTION: NDArray[np.bool_] = np.array(
    [any(CLASS_OF.get(f) == "subscription" for f in hypothesis - {EXPLANATION}) for hypothesis in HYPOTHESES]
)
CLASSES: tuple[str, ...] = (*FAULT_CLASSES, "none", "other")


@dataclass(frozen=True, eq=False)
class Posterior:
    """P(hypothesis | evidence) over `HYPOTHESES`, and log P(evidence)."""

    p: Floats
    log_evidence: float

    def faults(self) -> dict[str, float]:
        """Marginal probability that each fault is present."""
        return dict(zip(FAULTS, (self.p @ HOLDS).tolist(), strict=True))

    def classes(self) -> dict[str, float]:
        """Marginal probability of each class, of 'none' and of 'other'."""
        values = [*(self.p @ IN_CLASS).tolist(), float(self.p[NONE]), float(self.p[OTHER])]
        return dict(zip(CLASSES, values, strict=True))

    def top(self) -> tuple[str, str]:
        """The most probable class and the most probable fault in it ('none' and 'other' are their own fault).

        `partial-package` explains refused channels and hides nothing else: where another fault is more likely than
        not, it does not lead.
        """
        classes, faults = self.classes(), self.faults()
        real = {name: classes[name] for name in FAULT_CLASSES}
        real["subscription"] = float(self.p[IN_REAL_SUBSCRIPTION].sum())
        likely = max(real, key=lambda name: real[name])
        if real[likely] >= LIKELIER_THAN_NOT:
            classes, faults = real, {**faults, EXPLANATION: 0.0}
        best = max(classes, key=lambda name: classes[name])
        return best, max(FAULT_CLASSES.get(best, (best,)), key=lambda name: faults.get(name, 0.0))

    def probability_of(self, name: str) -> float:
        """Marginal probability of a fault, of 'none' or of 'other'."""
        return float(self.p[mask_of(name)].sum())


def mask_of(name: str) -> NDArray[np.bool_]:
    """The hypotheses that hold a fault, or the one that is 'none' or 'other'."""
    if name in FAULTS:
        return HOLDS[:, FAULTS.index(name)]
    found = np.zeros(len(HYPOTHESES), dtype=bool)
    found[{"none": NONE, "other": OTHER}[name]] = True
    return found


def log_prior(priors: Mapping[str, float], other: float, none_factor: float) -> Floats:
    """log P(hypothesis): faults independent, 'other' apart, and 'nothing wrong' weighed by how often it comes."""
    p = np.array([priors[fault] for fault in FAULTS])
    weights = (np.where(HOLDS, np.log(p), np.log1p(-p))).sum(axis=1) + np.log1p(-other)
    weights[NONE] += np.log(none_factor)
    weights[OTHER] = np.log(other)
    normalised: Floats = weights - logsumexp(weights)
    return normalised


def priors_for(model: Model, sheet: Sheet) -> dict[str, float]:
    """The prior of each fault, for the reason why the person is here and for what the job sheet says of the parts."""
    lead, used = sheet.receiver.antenna_lead, sheet.receiver.second_hand
    return {
        name: scale_odds(
            fault.prior[sheet.reason],
            (fault.second_hand_factor if used else 1.0) * fault.lead_factor.get(lead, 1.0),
        )
        for name, fault in model.faults.items()
    }


def scale_odds(p: float, factor: float) -> float:
    """A probability with its odds multiplied."""
    return factor * p / (1 - p + factor * p)


def exponents(model: Model, items: Sequence[str]) -> dict[str, float]:
    """How much each item counts: m items of one family count as m / (1 + (m - 1) rho) independent ones."""
    families = [model.items[name].family for name in items]
    size = {family: families.count(family) for family in families}
    return {name: 1 / (1 + (size[model.items[name].family] - 1) * model.family_correlation) for name in items}


def log_terms(model: Model, seen: Mapping[str, str], repeats: Mapping[str, int] | None = None) -> dict[str, Floats]:
    """The tempered log-likelihood of each item's seen state, over the hypotheses.

    `repeats`: how many readings in a row said the same, where that is more than one.
    """
    weight = exponents(model, list(seen))
    often = repeats or {}
    received = seen.get("any-path") == "good"
    return {
        name: weight[name]
        * model.log_likelihood(name, often.get(name, 1), received)[:, model.items[name].states.index(state)]
        for name, state in seen.items()
    }


def posterior(prior: Floats, terms: Mapping[str, Floats]) -> Posterior:
    """Bayes' theorem in logarithms."""
    joint = prior + sum(terms.values(), np.zeros(len(prior)))
    total = float(logsumexp(joint))
    return Posterior(np.exp(joint - total), total)


def decibans(p: float) -> float:
    """10 log10 of the odds (Good 1950), held within +-100."""
    bounded = min(max(p, 1e-10), 1 - 1e-10)
    return float(10 * np.log10(bounded / (1 - bounded)))


def weight_of(name: str, target: NDArray[np.bool_], prior: Floats, terms: Mapping[str, Floats]) -> float:
    """What an item is worth on its own for a target (a mask over the hypotheses), in decibans.

    The posterior odds with the item less those without it; such leave-one-out weights do not add up to the total.
    """
    without = posterior(prior, {other: term for other, term in terms.items() if other != name})
    return decibans(float(posterior(prior, terms).p[target].sum())) - decibans(float(without.p[target].sum()))


def conflict_bits(prior: Floats, terms: Mapping[str, Floats], whole: Posterior) -> float:
    """log2 of prod P(e_j) / P(e) (Jensen, Chamberlain, Nordahl, Jensen 1991): above 0 the items disagree."""
    alone = sum(float(logsumexp(prior + term)) for term in terms.values())
    return (alone - whole.log_evidence) / float(np.log(2))


def stands_firm(
    model: Model, priors: Mapping[str, float], other: float, none_factor: float, terms: Mapping[str, Floats]
) -> bool:
    """True if no single prior or likelihood, moved within its stated range, changes the most probable fault."""
    base = log_prior(priors, other, none_factor)
    first = posterior(base, terms).top()
    joint = base + sum(terms.values(), np.zeros(len(base)))
    for prior in _moved_priors(model, priors, other, none_factor):
        if posterior(prior, terms).top() != first:
            return False
    shift = np.log(model.likelihood_range)
    groups = [HOLDS[:, number] for number in range(len(FAULTS))]
    groups += [np.arange(len(base)) == NONE, np.arange(len(base)) == OTHER]
    for group in groups:
        for term in terms.values():
            for sign in (-1.0, 1.0):
                moved = joint + np.where(group, _odds_shift(term, sign * shift), 0.0)
                p = np.exp(moved - logsumexp(moved))
                if Posterior(p, 0.0).top() != first:
                    return False
    return True


def _odds_shift(term: Floats, shift: float) -> Floats:
    """Change of log p when the odds of p are multiplied by exp(shift)."""
    p = np.exp(term)
    change: Floats = shift - np.log1p(p * np.expm1(shift))
    return change


def _moved_priors(model: Model, priors: Mapping[str, float], other: float, none_factor: float) -> list[Floats]:
    moved = []
    for factor in (model.prior_range, 1 / model.prior_range):
        for name in priors:
            moved.append(log_prior({**priors, name: scale_odds(priors[name], factor)}, other, none_factor))
        moved.append(log_prior(priors, scale_odds(other, factor), none_factor))
        moved.append(log_prior(priors, other, none_factor * factor))
    return moved
