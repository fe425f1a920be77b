"""Exact posterior over sets of faults; what each piece of evidence is worth; where the evidence disagrees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.diagnosis.model import Fault, Model
from satdiag.diagnosis.space import EXPLANATION, Flags, Floats, Space
from satdiag.diagnosis.weighing import combined
from satdiag.sheet import Sheet
from satdiag.vocabulary import FAULT_CLASSES, FAULTS

LIKELIER_THAN_NOT = 0.5
CLASSES: tuple[str, ...] = (*FAULT_CLASSES, "none", "other")
NAMES: tuple[str, ...] = (*FAULTS, "none", "other")
_OF_CLASS = np.array([[name in FAULT_CLASSES.get(class_, (class_,)) for name in NAMES] for class_ in CLASSES])
Numbers = NDArray[np.int64]


def logsumexp(values: Floats) -> float:
    """log of the sum of exponentials of a row, the largest taken out first; scipy's costs ten times as much here."""
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))


@dataclass(frozen=True, eq=False)
class Posterior:
    """P(hypothesis | evidence) over the hypotheses of a space, and log P(evidence)."""

    space: Space
    p: Floats
    log_evidence: float

    def faults(self) -> dict[str, float]:
        """Marginal probability that each fault is present."""
        return dict(zip(FAULTS, (self.p @ self.space.holds).tolist(), strict=True))

    def classes(self) -> dict[str, float]:
        """Marginal probability of each class, of 'none' and of 'other'."""
        ends = [float(self.p[self.space.none]), float(self.p[self.space.outside].sum())]
        return dict(zip(CLASSES, [*(self.p @ self.space.in_class).tolist(), *ends], strict=True))

    def top(self) -> tuple[str, str]:
        """The most probable class and the most probable fault in it ('none' and 'other' are their own fault)."""
        class_, fault = leaders(self.space, self.p[None])
        return CLASSES[class_[0]], NAMES[fault[0]]

    def likely(self, above: float) -> Flags:
        """The hypotheses worth reckoning with: those above a probability, and always 'nothing' and 'other'."""
        kept: Flags = self.p > above
        kept[self.space.none] = kept[self.space.outside] = True
        return kept

    def probability_of(self, name: str) -> float:
        """Marginal probability of a fault, of 'none' or of 'other'."""
        return float(self.p[self.space.mask_of(name)].sum())


def leaders(space: Space, p: Floats) -> tuple[Numbers, Numbers]:
    """The leading class and fault of each row of p (rows, hypotheses), as places in CLASSES and NAMES.

    The most probable class, and the most probable fault in it. `partial-package` explains refused channels and hides
    nothing else: where another fault is more likely than not, it does not lead. Nor does the account where a fault of
    the vehicle or of its place is more likely than not: no authorisation arrives before that is mended.
    """
    faults, classes = p @ space.holds, p @ space.in_class
    real, account = classes.copy(), CLASSES.index("subscription")
    real[:, account] = p @ space.real_subscription
    yields = real.max(axis=1) >= LIKELIER_THAN_NOT
    classes[yields] = real[yields]
    faults[yields, FAULTS.index(EXPLANATION)] = 0.0
    classes[np.delete(classes, account, axis=1).max(axis=1) >= LIKELIER_THAN_NOT, account] = 0.0
    ends = np.column_stack([p[:, space.none], p[:, space.outside].sum(axis=1)])
    class_: Numbers = np.hstack([classes, ends]).argmax(axis=1)
    inside = np.where(_OF_CLASS[class_], np.hstack([faults, ends]), -1.0)
    return class_, inside.argmax(axis=1)


@dataclass(frozen=True)
class Prior:
    """What is believed before anything is seen: each fault, 'other', and how much rarer 'nothing wrong' comes.

    `second_factor`: how much rarer each fault beside a first one is than if faults came independently.
    """

    faults: Mapping[str, float]
    other: float
    none_factor: float
    second_factor: float = 1.0

    def log(self, space: Space) -> Floats:
        """log P(hypothesis): products of the faults' chances, 'other' apart, 'nothing wrong' and several weighed.

        A person comes for a reason, so P(nothing wrong) is not the product of the faults' absences. And one fault is
        reason enough to come: several are rarer than their product.
        """
        p = np.array([self.faults[fault] for fault in FAULTS])
        weights = space.holds @ (np.log(p) - np.log1p(-p)) + np.log1p(-p).sum() + np.log1p(-self.other)
        weights[space.none] += np.log(self.none_factor)
        weights[space.outside] = np.log(self.other)
        weights += np.maximum(space.holds.sum(axis=1) - 1, 0) * np.log(self.second_factor)
        weights += space.log_share
        normalised: Floats = weights - logsumexp(weights)
        return normalised


def prior_for(model: Model, sheet: Sheet) -> Prior:
    """The prior for the reason why the person is here and for what the job sheet says of the parts."""
    lead = sheet.receiver.antenna_lead
    faults = {
        name: scale_odds(fault.prior[sheet.reason], _of_the_receiver(fault, sheet) * fault.lead_factor.get(lead, 1.0))
        for name, fault in model.faults.items()
    }
    return Prior(faults, model.other_prior[sheet.reason], model.none_factor[sheet.reason], model.second_factor)


def _of_the_receiver(fault: Fault, sheet: Sheet) -> float:
    """What it does to the odds that the receiver was used before, or was not; 1 where the sheet does not say."""
    used = sheet.receiver.second_hand
    if used is None:
        return 1.0
    return fault.second_hand_factor if used else fault.new_factor


def scale_odds(p: float, factor: float) -> float:
    """A probability with its odds multiplied."""
    return factor * p / (1 - p + factor * p)


def posterior(model: Model, space: Space, log_prior: Floats, terms: Mapping[str, Floats]) -> Posterior:
    """Bayes' theorem in logarithms, families of evidence held within their caps."""
    return normalised(space, log_prior + combined(model, terms))


def normalised(space: Space, joint: Floats) -> Posterior:
    """The posterior of log P(hypothesis, evidence)."""
    total = float(logsumexp(joint))
    return Posterior(space, np.exp(joint - total), total)


def decibans(p: float) -> float:
    """10 log10 of the odds (Good 1950), held within +-100."""
    bounded = min(max(p, 1e-10), 1 - 1e-10)
    return float(10 * np.log10(bounded / (1 - bounded)))


def weight_of(
    name: str, target: Flags, model: Model, whole: Posterior, prior: Floats, terms: Mapping[str, Floats]
) -> float:
    """What an item is worth on its own for a target (a mask over the hypotheses), in decibans.

    The posterior odds with the item less those without it; such leave-one-out weights do not add up to the total.
    """
    rest = posterior(model, whole.space, prior, {other: term for other, term in terms.items() if other != name})
    return decibans(float(whole.p[target].sum())) - decibans(float(rest.p[target].sum()))


def conflict_bits(prior: Floats, terms: Mapping[str, Floats], log_evidence: float) -> float:
    """log2 of prod P(e_j) / P(e) (Jensen, Chamberlain, Nordahl, Jensen 1991): above 0 the items disagree."""
    alone = sum(float(logsumexp(prior + term)) for term in terms.values())
    return (alone - log_evidence) / float(np.log(2))


@dataclass(frozen=True)
class Odd:
    """The reading that fits worst with the rest: by how many bits the conflict falls without it, and its chance.

    `chance`: P(what it was seen as | all other evidence).
    """

    item: str
    bits: float
    chance: float


def odd_ones(model: Model, whole: Posterior, prior: Floats, terms: Mapping[str, Floats]) -> list[Odd]:
    """Every item with how it fits the others, the one whose removal lowers the conflict most first."""
    alone = {name: logsumexp(prior + term) for name, term in terms.items()}
    together = sum(alone.values())
    all_bits = (together - whole.log_evidence) / float(np.log(2))
    found = []
    for name, term in terms.items():
        without = posterior(
            model, whole.space, prior, {other: part for other, part in terms.items() if other != name}
        )
        bits = all_bits - (together - alone[name] - without.log_evidence) / float(np.log(2))
        found.append(Odd(name, bits, float(without.p @ np.exp(term))))
    return sorted(found, key=lambda odd: -odd.bits)
