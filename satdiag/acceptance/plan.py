"""Wald's sequential test of pass or fail checks: its two lines, its counts, its exact error rates.

Source: A. Wald, Sequential Analysis (1947), chapter 5; the same lines stand in the NIST/SEMATECH e-Handbook of
Statistical Methods, 6.2.6. All weights are natural logarithms of likelihood ratios.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

ROUNDING = 1e-12  # a weight that equals a boundary has reached it
MOST_CHECKS = 100_000  # where the exact recursion gives up
SETTLED = 1e-14  # chance of being undecided below which the recursion ends


@dataclass(frozen=True)
class Plan:
    """A check passes with chance `p0` in a bad case and `p1` in a good one, 0 < p0 < p1 < 1.

    `alpha`: chance of taking bad for good; `beta`: chance of taking good for bad.
    """

    p0: float
    p1: float
    alpha: float
    beta: float

    def __post_init__(self) -> None:
        if not (0.0 < self.p0 < self.p1 < 1.0 and self.alpha > 0.0 and self.beta > 0.0):
            raise ValueError("a plan needs 0 < p0 < p1 < 1 and positive error rates")
        if self.alpha + self.beta >= 1.0:
            raise ValueError("the two error rates of a plan must add up to less than 1")

    @property
    def pass_weight(self) -> float:
        """What a passed check is worth for good."""
        return math.log(self.p1 / self.p0)

    @property
    def fail_weight(self) -> float:
        """What a failed check is worth for good; negative."""
        return math.log((1.0 - self.p1) / (1.0 - self.p0))

    @property
    def confirm_at(self) -> float:
        """The sum of weights from which on the case is taken for good (Wald's approximation)."""
        return math.log((1.0 - self.beta) / self.alpha)

    @property
    def reject_at(self) -> float:
        """The sum of weights down from which the case is taken for bad (Wald's approximation)."""
        return math.log(self.beta / (1.0 - self.alpha))

    @property
    def lines(self) -> tuple[float, float, float]:
        """(h1, h2, s): after n checks good if failures <= s n - h1, bad if failures >= s n + h2."""
        span = self.pass_weight - self.fail_weight
        return self.confirm_at / span, -self.reject_at / span, self.pass_weight / span

    @property
    def passes_in_a_row(self) -> int:
        """How many passes without a failure confirm."""
        return math.ceil(self.confirm_at / self.pass_weight - ROUNDING)

    @property
    def fails_in_a_row(self) -> int:
        """How many failures without a pass reject."""
        return math.ceil(self.reject_at / self.fail_weight - ROUNDING)

    def first_confirmation(self, failures: int) -> int:
        """The fewest checks after which a case with so many failures is taken for good."""
        h1, _, slope = self.lines
        return max(math.ceil((failures + h1) / slope - ROUNDING), failures)


@dataclass(frozen=True)
class Characteristic:
    """What a plan does where every check passes with one chance: chance to confirm, and mean number of checks."""

    confirms: float
    mean_checks: float


def characteristic(plan: Plan, p: float) -> Characteristic:
    """The exact chance that `plan` confirms, and its mean length, where each check passes with chance `p`.

    Recursion over the number of checks: the chance of every count of passes that is still undecided. Raises
    ValueError where the test does not end within `MOST_CHECKS`.
    """
    undecided = np.array([1.0])  # by number of passes so far
    confirms, mean = 0.0, 0.0
    for number in range(1, MOST_CHECKS):
        mean += float(undecided.sum())
        after = np.zeros(number + 1)
        after[1:] += p * undecided
        after[:-1] += (1.0 - p) * undecided
        passes = np.arange(number + 1)
        weight = passes * plan.pass_weight + (number - passes) * plan.fail_weight
        good, bad = weight >= plan.confirm_at - ROUNDING, weight <= plan.reject_at + ROUNDING
        confirms += float(after[good].sum())
        undecided = np.where(good | bad, 0.0, after)
        if undecided.sum() < SETTLED:
            return Characteristic(confirms, mean)
    raise ValueError(f"the test does not end within {MOST_CHECKS} checks")


def wald_mean_checks(plan: Plan, confirms: float, p: float) -> float:
    """Wald's approximation to the mean number of checks, given the chance that the plan confirms at `p`."""
    drift = p * plan.pass_weight + (1.0 - p) * plan.fail_weight
    return (confirms * plan.confirm_at + (1.0 - confirms) * plan.reject_at) / drift


def faultless_needed(confidence: float, reliability: float) -> int:
    """How many trials without a failure show at `confidence` that a trial succeeds with `reliability` or more.

    n = ceil(ln(1 - C) / ln R): R^n <= 1 - C.
    """
    return math.ceil(math.log1p(-confidence) / math.log(reliability) - ROUNDING)
