"""Testing until it is sure: the rule against the best policy, on small problems solved exactly."""

from functools import cache

import numpy as np
import pytest

from satdiag.diagnosis.proof import SURE_AT, bits_open, closing_rate

PROBLEMS = 120
TESTS = 6
CAP_MINUTES = 40.0
"""What it costs not to become sure, or to become so later."""


class Problem:
    """Five causes of which one is there, six yes/no tests, drawn at random; minutes until one cause is sure."""

    def __init__(self, seed):
        rng = np.random.default_rng(seed)
        self.p = rng.dirichlet(np.full(5, 0.8))
        self.tables = [np.column_stack([q, 1 - q]) for q in rng.beta(0.3, 0.3, (TESTS, 5)).clip(0.02, 0.98)]
        self.cost = rng.uniform(1.0, 12.0, TESTS)

    def mass(self, answers):
        found = self.p.copy()
        for test, answer in enumerate(answers):
            if answer is not None:
                found = found * self.tables[test][:, answer]
        return found

    def end(self, answers):
        """Minutes times the chance to be here, if it ends here; None where there is more to do."""
        mass = self.mass(answers)
        spent = sum(self.cost[test] for test, answer in enumerate(answers) if answer is not None)
        if mass.max() >= SURE_AT * mass.sum():
            return float(mass.sum()) * min(spent, CAP_MINUTES)
        return float(mass.sum()) * CAP_MINUTES if None not in answers or spent >= CAP_MINUTES else None

    def branches(self, answers, test):
        return [(*answers[:test], answer, *answers[test + 1 :]) for answer in (0, 1)]

    def spend(self, choose):
        """Expected minutes of a policy."""

        def cost(answers):
            if (end := self.end(answers)) is not None:
                return end
            return sum(cost(branch) for branch in self.branches(answers, choose(answers)))

        return cost((None,) * TESTS)

    def best(self):
        """Expected minutes of the best policy, by dynamic programming over all sets of answers."""

        @cache
        def cost(answers):
            if (end := self.end(answers)) is not None:
                return end
            left = [test for test in range(TESTS) if answers[test] is None]
            return min(sum(cost(branch) for branch in self.branches(answers, test)) for test in left)

        return cost((None,) * TESTS)

    def open(self, answers):
        mass = self.mass(answers)
        p = (mass / mass.sum())[None]
        return float(bits_open(p, p.max(axis=1))[0])

    def look(self, answers, test):
        """Chance of each answer, what is open after it, and where it leads."""
        after = self.branches(answers, test)
        chance = np.array([self.mass(one).sum() for one in after]) / self.mass(answers).sum()
        return chance, np.array([self.open(one) for one in after]), after

    def by_rate(self, answers):
        """The rule."""
        rates = {}
        for test in (test for test in range(TESTS) if answers[test] is None):
            chance, left, after = self.look(answers, test)
            further = [
                (p, *self.seconds(branch, open_))
                for p, open_, branch in zip(chance, left, after, strict=True)
                if open_ > 0
            ]
            further = [one for one in further if len(one[1])]
            rates[test] = closing_rate(self.open(answers) - chance @ left, self.cost[test], further)
        return max(rates, key=lambda test: rates[test])

    def seconds(self, answers, now):
        left = [test for test in range(TESTS) if answers[test] is None]
        falls = [now - chance @ after for chance, after, _ in (self.look(answers, test) for test in left)]
        return np.array(falls), self.cost[left]

    def in_turn(self, answers):
        """A fixed order: the tests as they come."""
        return answers.index(None)


def judged(seeds):
    problems = [Problem(seed) for seed in seeds]
    best = np.array([one.best() for one in problems])
    kept = best > 0  # a few are sure before the first test
    rule, fixed = (
        np.array([one.spend(getattr(one, name)) for one in problems])[kept] for name in ("by_rate", "in_turn")
    )
    return rule / best[kept], fixed / best[kept]


@pytest.mark.long
def test_the_rule_costs_hardly_more_than_the_best_policy():
    """Own random problems, each solved exactly: expected minutes over the optimum, and those of a fixed order."""
    rule, fixed = judged(range(PROBLEMS))
    print(f"rule {rule.mean():.4f} of the optimum, worst {rule.max():.3f}; a fixed order {fixed.mean():.3f}")
    assert (rule >= 1 - 1e-9).all()
    assert rule.mean() <= 1.05
    assert fixed.mean() > 1.15


def test_the_rule_is_near_the_best_policy_on_a_few_problems():
    rule, _ = judged(range(4))
    assert (rule >= 1 - 1e-9).all()
    assert rule.max() < 1.25


def test_what_is_open_by_hand():
    """One fault at one half, one at one quarter: 1 bit and 0.811 bits (binary entropy); nothing once it is sure."""
    chances = np.array([[0.5, 0.25], [0.96, 0.25]])
    assert bits_open(chances, chances.max(axis=1)) == pytest.approx([1.811278, 0.0], abs=1e-6)


def test_the_rate_of_two_tests_by_hand():
    """The first closes 1 bit in 4 minutes; after one answer in two a second one closes 1 bit more in 2: 1.5 in 5."""
    second = (0.5, np.array([1.0, 0.2]), np.array([2.0, 4.0]))
    assert closing_rate(1.0, 4.0, [second]) == pytest.approx(1.5 / 5.0)
    assert closing_rate(1.0, 4.0, [(0.5, np.array([0.2]), np.array([4.0]))]) == pytest.approx(0.25)
    assert closing_rate(0.0, 4.0, [(1.0, np.array([2.0]), np.array([1.0]))]) == pytest.approx(0.4)
