"""The sequential plan against published numbers, and against a recursion of the tests' own."""

from fractions import Fraction

import numpy as np
import pytest

from satdiag.acceptance.plan import Plan, characteristic, faultless_needed, wald_mean_checks

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6 "What is a sequential sampling plan?": p1 = .01, p2 = .10,
# alpha = .05, beta = .10 (its printed numbers are given here from memory). There p1, p2 are chances of a defect in
# good and bad lots, alpha the chance to refuse a good lot, beta to accept a bad one; so our alpha is their beta.
NIST = Plan(p0=0.90, p1=0.99, alpha=0.10, beta=0.05)
# D. C. Montgomery, Introduction to Statistical Quality Control: .01, .06, .05, .10 (from memory).
MONTGOMERY = Plan(p0=0.94, p1=0.99, alpha=0.10, beta=0.05)


def test_lines_of_the_handbook():
    assert NIST.lines == pytest.approx((0.939, 1.205, 0.0397), abs=6e-4)


def test_acceptance_numbers_of_the_handbook():
    """The table there: 14 items, refuse at 2; 24: accept at 0, refuse at 3; 49: accept at 1 (from memory)."""
    assert [NIST.first_confirmation(failures) for failures in (0, 1)] == [24, 49]
    _, h2, slope = NIST.lines
    first_refusal = {n: int(np.ceil(slope * n + h2)) for n in (14, 24)}
    assert first_refusal == {14: 2, 24: 3}
    assert NIST.passes_in_a_row == 24


def test_lines_of_the_textbook():
    """h1 1.22, h2 1.57, s 0.028; first acceptance after 44 (from memory)."""
    assert MONTGOMERY.lines == pytest.approx((1.22, 1.57, 0.028), abs=4e-3)
    assert MONTGOMERY.first_confirmation(0) == 44


def test_mean_length_by_walds_formula_and_exactly():
    """Numbers worked out apart from this code with the same definitions, kept as a second reckoning."""
    for plan, p, wald, exact in (
        (NIST, 0.99, 27.957021, 30.212726),
        (NIST, 0.90, 16.446679, 22.369155),
        (MONTGOMERY, 0.99, 59.726117, 63.583491),
        (MONTGOMERY, 0.94, 40.418527, 50.508083),
    ):
        nominal = 1.0 - plan.beta if p == plan.p1 else plan.alpha
        assert wald_mean_checks(plan, nominal, p) == pytest.approx(wald, abs=1e-5)
        assert characteristic(plan, p).mean_checks == pytest.approx(exact, abs=1e-5)
    assert characteristic(NIST, 0.90).confirms == pytest.approx(0.099579, abs=1e-6)
    assert 1.0 - characteristic(NIST, 0.99).confirms == pytest.approx(0.022047, abs=1e-6)


def ruin(up, down, p):
    """Gambler's ruin: chance of `up` net steps up before `down` net steps down, each up with chance p, exactly.

    Feller, An Introduction to Probability Theory, vol. 1, XIV.2.
    """
    ratio = (1 - p) / p
    return (1 - ratio**down) / (1 - ratio ** (up + down))


def test_the_exact_chance_of_a_false_confirmation():
    """.1 / .9, alpha .001, beta .01: four net passes confirm, three net failures reject: 728 / 4782968."""
    plan = Plan(0.1, 0.9, 0.001, 0.01)
    assert (plan.passes_in_a_row, plan.fails_in_a_row) == (4, 3)
    exact = ruin(4, 3, Fraction(1, 10))
    assert exact == Fraction(728, 4782968)
    assert characteristic(plan, 0.1).confirms == pytest.approx(float(exact), rel=1e-9)
    assert characteristic(plan, 0.9).confirms == pytest.approx(float(ruin(4, 3, Fraction(9, 10))), rel=1e-12)
    means = characteristic(plan, 0.1).mean_checks, characteristic(plan, 0.9).mean_checks
    assert means == pytest.approx((3.7487, 4.9880), abs=1e-4)


def chain(plan, p):
    """Chance to confirm and mean length by solving the linear equations of the walk, not by stepping through it.

    Only for p0 = 1 - p1: then both weights are one step.
    """
    up, down = plan.passes_in_a_row, plan.fails_in_a_row
    size = up + down - 1
    step = np.zeros((size, size))
    for k in range(size):
        if k + 1 < size:
            step[k, k + 1] = p
        if k:
            step[k, k - 1] = 1.0 - p
    confirm = np.linalg.solve(np.eye(size) - step, np.eye(size)[-1] * p)
    length = np.linalg.solve(np.eye(size) - step, np.ones(size))
    return confirm[down - 1], length[down - 1]


@pytest.mark.parametrize("p", [0.05, 0.2, 0.5, 0.7, 0.95])
@pytest.mark.parametrize("rates", [(0.001, 0.01), (0.05, 0.05), (1e-6, 0.1)])
def test_the_recursion_agrees_with_linear_equations(p, rates):
    plan = Plan(0.2, 0.8, *rates)
    found = characteristic(plan, p)
    assert (found.confirms, found.mean_checks) == pytest.approx(chain(plan, p), rel=1e-8)


@pytest.mark.parametrize(
    ("p0", "p1", "passes", "fails"),
    [
        (0.50, 0.95, (8, 11, 15), 2),
        (0.20, 0.95, (3, 5, 6), 2),
        (0.10, 0.90, (3, 4, 5), 3),
        (0.05, 0.90, (2, 3, 4), 3),
        (0.05, 0.98, (2, 3, 4), 2),
        (0.01, 0.90, (2, 2, 3), 3),
    ],
)
def test_runs_that_settle_it(p0, p1, passes, fails):
    """Worked out by hand from the weights: ceil(ln((1 - beta) / alpha) / ln(p1 / p0)), beta = .01."""
    plans = [Plan(p0, p1, alpha, 0.01) for alpha in (1e-2, 1e-3, 1e-4)]
    assert tuple(plan.passes_in_a_row for plan in plans) == passes
    assert plans[1].fails_in_a_row == fails


@pytest.mark.parametrize(
    ("confidence", "reliability", "trials"),
    [
        # Zero-failure demonstration, n = ceil(ln(1 - C) / ln R): the 95/95 plan of 59 and the 95/99 plan of 299 are
        # standard in the literature of tolerance limits (S. S. Wilks, 1941: first order, one-sided, 95/95 gives 59).
        (0.90, 0.90, 22),
        (0.95, 0.90, 29),
        (0.90, 0.95, 45),
        (0.95, 0.95, 59),
        (0.95, 0.99, 299),
        (0.99, 0.99, 459),
    ],
)
def test_faultless_trials(confidence, reliability, trials):
    assert faultless_needed(confidence, reliability) == trials
    assert reliability**trials <= 1.0 - confidence < reliability ** (trials - 1)


@pytest.mark.parametrize("wrong", [(0.9, 0.1, 0.05, 0.05), (0.1, 0.9, 0.6, 0.6), (0.0, 0.9, 0.05, 0.05)])
def test_a_plan_that_is_none(wrong):
    with pytest.raises(ValueError, match="plan"):
        Plan(*wrong)


def test_walds_bound_on_the_rates_together():
    """Wald (1947): true alpha + beta is at most stated alpha + beta."""
    for p0, p1 in ((0.1, 0.9), (0.5, 0.95), (0.05, 0.6)):
        plan = Plan(p0, p1, 0.05, 0.05)
        errors = characteristic(plan, p0).confirms + 1.0 - characteristic(plan, p1).confirms
        assert errors <= 0.1
