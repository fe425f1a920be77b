"""Jobs worth a look: what was planted is found, and chance alone names few (Benjamini and Hochberg 1995)."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from satdiag.fleet import report_outliers as odd
from satdiag.fleet.report_data import fleet_in
from satdiag.fleet.report_times import Times
from tests.fleet_report import made_fleet as made


def test_medians_of_others_are_medians():
    rng = np.random.default_rng(1)
    for number in (2, 3, 8, 9):
        values = rng.integers(0, 5, number).astype(float)
        own = [np.median(np.delete(values, k)) for k in range(number)]
        assert odd.medians_of_others(values).tolist() == own


def drawn(seed, number=120, tau=0.5, moved=()):
    rng = np.random.default_rng(seed)
    se = rng.uniform(0.05, 0.4, number)
    log_h = np.hypot(tau, se) * rng.standard_normal(number)
    for place in moved:
        log_h[place] += 4.0
    packages = np.array(["a", "b"])[np.arange(number) % 2]
    return Times(pd.RangeIndex(number), log_h, se, 0), packages


def test_the_robust_scatter_is_that_of_most_jobs():
    """Normal scatter comes back, and a tenth of wild jobs hardly moves it."""
    rng = np.random.default_rng(2)
    se = rng.uniform(0.05, 0.3, 4000)
    away = np.hypot(0.5, se) * rng.standard_normal(4000)
    assert odd.robust_tau(away, se) == pytest.approx(0.5, abs=0.03)
    away[:400] += 10.0
    assert odd.robust_tau(away, se) == pytest.approx(0.55, abs=0.06)
    assert odd.robust_tau(se * 0.1, se) == pytest.approx(0.0, abs=1e-6)


def test_chance_names_few_and_the_planted_ones_are_named():
    """Our own model: without a planted job most fleets name none; of four planted each fleet finds at least three."""
    named, found = 0, 0
    for seed in range(30):
        tails, _ = odd.tail_chances(*drawn(seed))
        named += bool((stats.false_discovery_control(tails) <= odd.FALSE_SHARE).any())
        tails, _ = odd.tail_chances(*drawn(seed, moved=(0, 1, 2, 3)))
        chosen = stats.false_discovery_control(tails) <= odd.FALSE_SHARE
        found += chosen[:4].sum() >= 3
    assert named <= 6  # binomial(30, 0.05) exceeds 6 once in a thousand times
    assert found == 30


def test_the_chance_of_a_tail_is_even_where_nothing_is_odd():
    tails = np.concatenate([odd.tail_chances(*drawn(seed))[0] for seed in range(40)])
    assert np.mean(tails < 0.1) == pytest.approx(0.1, abs=0.02)


def test_a_package_of_five_says_nothing():
    times, _ = drawn(1, 10)
    assert np.isnan(odd.tail_chances(times, np.array(["a", "b"] * 5))[0]).all()


def test_every_sort_is_found_with_its_reason_and_its_place(tmp_path):
    rows = [made.job(k, **made.times(0.2 * np.exp(0.1 * (k % 5)), 0.1)) for k in range(40)]
    rows[3] |= {"confirmed_fault": ["antenna-open"]}  # sure that nothing was wrong
    rows[4] |= {"confirmed_fault": []}
    rows[8] |= {"confirmed_fault": ["ring-broken"], "earlier": ["ring-broken"]}  # found, and put right since
    rows[5] |= {"conflict_bits": 9.5}
    rows[6] |= made.times(20.0, 0.1)
    rows[7] |= {"cpu_s": 30.0}
    rows[9] |= {**made.times(30.0, 0.1), "wait_prior_jobs": 40}  # other jobs' waits, not its own
    fleet = fleet_in(made.write(tmp_path, [*rows, made.bad(50)]))
    only = {
        find.__name__: find(fleet)
        for find in (odd.turned_out_otherwise, odd.contradictory, odd.far_fill_in, odd.slow, odd.unreadable)
    }
    assert {name: [one.source for one in found] for name, found in only.items()} == {
        "turned_out_otherwise": ["fleet/demo-3.satjob"],
        "contradictory": ["fleet/demo-5.satjob"],
        "far_fill_in": ["fleet/demo-6.satjob"],
        "slow": ["fleet/demo-7.satjob"],
        "unreadable": ["fleet/demo-50.satjob"],
    }
    why = {name: found[0].why for name, found in only.items()}
    assert (
        why["turned_out_otherwise"] == "The verdict was sure of “no fault” (97\u202f%); found was: antenna lead open."
    )
    assert "9.5 bits; the middle of all jobs is 0.5" in why["contradictory"]
    assert "take 20\u202fh; the middle of the other jobs of its package is 15\u202fmin" in why["far_fill_in"]
    assert "It took 30\u202fs" in why["slow"]
    assert why["unreadable"] == "observations.csv:1: the header is missing a column"
