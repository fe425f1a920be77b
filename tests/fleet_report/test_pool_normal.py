"""Pooling of numbers with known errors, against published meta-analyses; the groups against our own model."""

import numpy as np
import pytest

from satdiag.fleet.pool_normal import cochran_q, grouped, moments_tau, pooled, restricted_log_likelihood

# Eight schools (Rubin 1981; Gelman et al. 2013, Bayesian Data Analysis, table 5.2): effect, standard error.
SCHOOLS = np.array([[28, 15], [8, 10], [-3, 16], [7, 11], [-1, 9], [1, 11], [18, 10], [12, 18]], dtype=float)

# Thirteen trials of a vaccine (Colditz et al. 1994): ill and well, treated and not. From memory.
TRIALS = np.array(
    [
        [4, 119, 11, 128],
        [6, 300, 29, 274],
        [3, 228, 11, 209],
        [62, 13536, 248, 12619],
        [33, 5036, 47, 5761],
        [180, 1361, 372, 1079],
        [8, 2537, 10, 619],
        [505, 87886, 499, 87892],
        [29, 7470, 45, 7232],
        [17, 1699, 65, 1600],
        [186, 50448, 141, 27197],
        [5, 2493, 3, 2338],
        [27, 16886, 29, 17825],
    ],
    dtype=float,
)


def trials():
    """Log relative risks of the thirteen trials and their standard errors."""
    ill, well, ill_not, well_not = TRIALS.T
    y = np.log(ill / (ill + well)) - np.log(ill_not / (ill_not + well_not))
    return y, np.sqrt(1 / ill - 1 / (ill + well) + 1 / ill_not - 1 / (ill_not + well_not))


def test_eight_schools():
    """Pooled 7.7 with standard error 4.1, and the scatter's best value is nought (Gelman et al. 2013, 5.5)."""
    found = pooled(*SCHOOLS.T)
    assert found.mean == pytest.approx(7.7, abs=0.05)
    assert found.mean_se == pytest.approx(4.1, abs=0.05)
    assert found.tau == 0.0
    assert found.tau_90[0] == 0.0
    assert moments_tau(*SCHOOLS.T) == 0.0


def test_thirteen_trials():
    """REML: tau^2 0.3132, mean -0.7145 (0.1798); moments: tau^2 0.3088; Q 152.2330 (Viechtbauer 2010, J. Stat. Softw.
    36:3, the package's worked example; from memory)."""
    y, se = trials()
    found = pooled(y, se)
    assert found.tau**2 == pytest.approx(0.3132, abs=5e-5)
    assert found.mean == pytest.approx(-0.7145, abs=5e-5)
    assert found.mean_se == pytest.approx(0.1798, abs=5e-5)
    assert moments_tau(y, se) ** 2 == pytest.approx(0.3088, abs=5e-5)
    assert cochran_q(y, se) == pytest.approx(152.2330, abs=5e-5)


def test_the_interval_of_the_scatter_ends_where_the_profile_says():
    """Half of chi-squared's 90 % quantile below the top; the grid's step is 2.5 %."""
    y, se = trials()
    found, alone = pooled(y, se), np.zeros(len(y), dtype=np.intp)
    top = restricted_log_likelihood(found.tau, y, se, alone)
    for end in found.tau_90:
        assert top - restricted_log_likelihood(end, y, se, alone) == pytest.approx(1.353, abs=0.15)


def test_equal_errors_have_a_closed_form():
    """With equal errors REML is the sample variance less the error's, or nought."""
    y = np.array([1.0, 4.0, 6.0, 9.0])
    assert pooled(y, np.full(4, 1.5)).tau ** 2 == pytest.approx(y.var(ddof=1) - 1.5**2, rel=1e-5)
    assert pooled(y, np.full(4, 15.0)).tau == 0.0


def test_one_measurement_is_too_few():
    with pytest.raises(ValueError, match="two"):
        pooled(np.ones(1), np.ones(1))
    with pytest.raises(ValueError, match="two"):
        grouped(np.ones(1), np.ones(1), ["a"])


def simulated(seed, groups=12, each=25, tau=0.5, omega=0.4):
    """Truths and measurements of our own model."""
    rng = np.random.default_rng(seed)
    means = 2.0 + omega * rng.standard_normal(groups)
    names = [f"g{k:02d}" for k in range(groups) for _ in range(each)]
    se = rng.uniform(0.1, 0.7, groups * each)
    y = np.repeat(means, each) + np.hypot(tau, se) * rng.standard_normal(groups * each)
    return means, y, se, names


def test_hyper_parameters_of_made_up_fleets_come_back():
    """Our own model, 300 jobs each: the interval of tau holds it in about 9 of 10 fleets; the mean is unbiased."""
    found = [grouped(*simulated(seed)[1:]) for seed in range(40)]
    held = sum(one.tau_90[0] <= 0.5 <= one.tau_90[1] for one in found)
    assert 31 <= held <= 40  # binomial(40, 0.9): 99 % of its mass and more
    assert np.mean([one.tau for one in found]) == pytest.approx(0.5, abs=0.02)
    assert np.mean([one.mean for one in found]) == pytest.approx(2.0, abs=0.06)  # 3 x 0.4 / sqrt(12 x 40)
    assert np.mean([one.omega for one in found]) == pytest.approx(0.4, abs=0.06)


def test_means_drawn_together_lie_nearer_to_the_truth_than_raw_ones():
    """Our own model with few jobs in a group: that is what drawing is for (Efron and Morris 1975)."""
    raw, drawn, covered = [], [], []
    for seed in range(25):
        means, y, se, names = simulated(seed, groups=10, each=4, omega=0.15)
        for mean, group in zip(means, grouped(y, se, names).groups, strict=True):
            raw.append((group.raw - mean) ** 2)
            drawn.append((group.drawn - mean) ** 2)
            covered.append(abs(group.raw - mean) <= 1.645 * group.raw_se)
    assert np.mean(drawn) < 0.7 * np.mean(raw)
    assert np.mean(covered) == pytest.approx(0.9, abs=0.06)


def test_a_group_is_drawn_by_as_much_as_its_own_jobs_leave_open():
    _, y, se, names = simulated(3, groups=6, each=20)
    found = grouped(np.append(y, y[0] + 2.0), np.append(se, 0.5), [*names, "lone"])
    lone = next(group for group in found.groups if group.name == "lone")
    others = [group for group in found.groups if group.name != "lone"]
    pull = [(group.raw - group.drawn) / (group.raw - found.mean) for group in (lone, *others)]
    assert all(0.0 <= one <= 1.0 for one in pull)
    assert pull[0] > max(pull[1:])
    assert found.of("lone")[0] == lone.drawn
    unknown = found.tau_90[1] ** 2 + found.omega**2 + found.mean_se**2
    assert found.of("never seen") == (found.mean, pytest.approx(unknown**0.5))
    assert found.of("g00")[1] < unknown**0.5


def test_one_group_and_groups_of_one_are_no_trouble():
    y, se = trials()
    one = grouped(y, se, ["a"] * len(y))
    assert (one.omega, one.tau) == (0.0, pytest.approx(pooled(y, se).tau))
    each = grouped(y, se, [str(k) for k in range(len(y))])
    assert each.tau == pytest.approx(pooled(y, se).tau)
