"""The statistics of a comparison against published examples and reference libraries."""

import math
from itertools import product

import numpy as np
import pytest
from scipy import stats

from satdiag.acceptance.effects import (
    garwood,
    holm,
    p_higher,
    rank_effect,
    rate_ratio,
    share_difference,
    square_and_add,
    wilson,
)

# Newcombe, Statist. Med. 17 (1998) 873-890, table II, method 10, 95 %: from memory, and each figure agrees to its
# four digits, which chance would not bring about.
NEWCOMBE = [
    ((56, 70), (48, 80), 0.0524, 0.3339),
    ((9, 10), (3, 10), 0.1705, 0.8090),
    ((6, 7), (2, 7), 0.0582, 0.8062),
    ((5, 56), (0, 29), -0.0381, 0.1926),
    ((0, 10), (0, 20), -0.1611, 0.2775),
    ((0, 10), (0, 10), -0.2775, 0.2775),
    ((10, 10), (0, 20), 0.6791, 1.0000),
    ((10, 10), (0, 10), 0.6075, 1.0000),
]


@pytest.mark.parametrize(("first", "second", "low", "high"), NEWCOMBE)
def test_difference_of_shares_is_that_of_the_published_table(first, second, low, high):
    found = share_difference(second, first, 0.95)
    assert found.low == pytest.approx(low, abs=5.1e-5)
    assert found.high == pytest.approx(high, abs=5.1e-5)


@pytest.mark.parametrize(("count", "of"), [(0, 5), (3, 5), (5, 5), (17, 90)])
def test_wilson_limits_are_those_of_scipy(count, of):
    reference = stats.binomtest(count, of).proportion_ci(0.90, method="wilson")
    assert wilson(count, of) == pytest.approx((reference.low, reference.high), abs=1e-12)


@pytest.mark.parametrize(("before", "after"), [((12, 10.0), (3, 9.0)), ((0, 4.0), (5, 4.0)), ((7, 2.5), (0, 3.0))])
def test_rate_ratio_is_the_exact_conditional_one_of_scipy(before, after):
    found = rate_ratio(before, after)
    (x, s), (y, t) = before, after
    limits = stats.binomtest(y, x + y).proportion_ci(0.90, method="exact")
    odds = [math.inf if limit == 1 else limit / (1 - limit) * s / t for limit in (limits.low, limits.high)]
    assert (found.low, found.high) == pytest.approx(odds)
    tails = [stats.binomtest(y, x + y, t / (s + t), side).pvalue for side in ("less", "greater")]
    assert found.p_value == pytest.approx(min(1.0, 2 * min(tails)))


def test_rate_ratio_agrees_about_with_the_other_test_of_scipy():
    reference = stats.poisson_means_test(12, 10.0, 3, 9.0).pvalue  # the E-test is a little less strict
    assert reference < rate_ratio((12, 10.0), (3, 9.0)).p_value < 2 * reference


def test_no_events_say_nothing_of_a_ratio():
    found = rate_ratio((0, 3.0), (0, 4.0))
    assert (found.low, found.high, found.p_value) == (0.0, math.inf, 1.0)


def test_poisson_limits_are_the_exact_ones():
    # Garwood, Biometrika 28 (1936) 437: by the chi-square law, here by scipy
    for events in (0, 1, 7):
        low = stats.chi2.ppf(0.05, 2 * events) / 2 if events else 0.0
        assert garwood(events, 2.0) == pytest.approx((low / 2, stats.chi2.ppf(0.95, 2 * events + 2) / 4))


def test_chance_of_the_higher_reading_is_mann_whitneys_u():
    random = np.random.default_rng(5)
    before, after = random.integers(0, 6, 12), random.integers(1, 6, 9)
    u = stats.mannwhitneyu(after, before).statistic
    assert p_higher(before, after) == pytest.approx(u / (12 * 9))


def test_rank_variance_is_that_of_hanley_and_mcneil():
    """At equal numbers method 5 is the variance of Hanley and McNeil, Radiology 143 (1982) 29-36, put otherwise."""
    n, theta = 14, 0.73
    found = rank_effect(theta, n, n)
    for end in (found.low, found.high):
        q1, q2 = end / (2 - end), 2 * end**2 / (1 + end)
        variance = (end * (1 - end) + (n - 1) * (q1 + q2 - 2 * end**2)) / n**2
        assert abs(theta - end) == pytest.approx(stats.norm.ppf(0.95) * math.sqrt(variance), rel=1e-6)


def test_rank_limits_hold_where_all_readings_after_are_higher():
    found = rank_effect(1.0, 6, 6)
    assert found.low < 0.85
    assert found.high == pytest.approx(1.0)
    assert found.p_value < 0.05


def test_holm_is_that_of_the_published_procedure():
    # Holm, Scand. J. Stat. 6 (1979) 65-70: the k-th smallest of n times n - k + 1, never falling; worked by hand
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([0.9]) == [0.9]
    assert holm([]) == []


def test_square_and_add_covers_as_promised():
    """Two normal means of known spread: then the rule is exact (simulated)."""
    random, z, inside = np.random.default_rng(7), stats.norm.ppf(0.95), 0
    for _ in range(4000):
        a, b = random.normal(0.0, 1.0), random.normal(0.7, 2.0)
        found = square_and_add(a, (a - z, a + z), b, (b - 2 * z, b + 2 * z))
        inside += found.low <= 0.7 <= found.high
    assert inside / 4000 == pytest.approx(0.90, abs=0.015)


def test_share_differences_cover_about_as_promised():
    """Exact coverage over all outcomes; Newcombe reports a mean near nominal and dips of a few percent."""
    coverages = []
    for p, q in product((0.1, 0.3, 0.6, 0.9), repeat=2):
        n, m, covered = 12, 15, 0.0
        for x, y in product(range(n + 1), range(m + 1)):
            found = share_difference((x, n), (y, m))
            if found.low - 1e-12 <= q - p <= found.high + 1e-12:
                covered += stats.binom.pmf(x, n, p) * stats.binom.pmf(y, m, q)
        coverages.append(covered)
    assert np.mean(coverages) == pytest.approx(0.90, abs=0.03)
    assert min(coverages) > 0.83
