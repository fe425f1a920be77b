"""Is a channel's chance of coming a frequency? Over all made worlds (see worlds.py), none of them a fitted law.

Simulated worlds: they show how much the chances bear, not that real fill-ins are so. The table is printed
(pytest -s). The bounds are judgements.
"""

from typing import NamedTuple

import numpy as np
import pytest
from scipy import stats

from tests.entitlement.judging import ALL, EVERYDAY, FEWEST_JOBS, LONG, jobs_of


class Bin(NamedTuple):
    """Channels with a chance in one tenth of [0, 1]; `low`, `high`: 95 % interval of their share, by jobs."""

    channels: int
    jobs: int
    said: float
    came: float
    low: float
    high: float


def reliability(jobs, rng) -> list[Bin]:
    """Ten bins. Channels of one job stand or fall together, so the intervals come from resampling whole jobs."""
    place = [np.minimum((10 * job.chance).astype(int), 9) for job in jobs]
    count = np.array([np.bincount(at, minlength=10) for at in place])
    came = np.array([np.bincount(at, job.came, 10) for at, job in zip(place, jobs, strict=True)])
    said = np.array([np.bincount(at, job.chance, 10) for at, job in zip(place, jobs, strict=True)])
    draws = rng.integers(0, len(jobs), (2000, len(jobs)))
    shares = came[draws].sum(axis=1) / np.maximum(count[draws].sum(axis=1), 1)
    bins = []
    for k in range(10):
        channels = max(int(count[:, k].sum()), 1)
        low, high = np.quantile(shares[:, k], [0.025, 0.975])
        parts = (said[:, k].sum() / channels, came[:, k].sum() / channels, low, high)
        bins.append(Bin(int(count[:, k].sum()), int(np.count_nonzero(count[:, k])), *(float(x) for x in parts)))
    return bins


def area_under_curve(chance, came):
    """Probability that a channel that comes had the larger chance of two (Mann-Whitney)."""
    found = stats.mannwhitneyu(chance[came], chance[~came]).statistic
    return float(found / (came.sum() * (~came).sum()))


def show_chances(number, seed=7):
    """Print the reliability table over all worlds; returns it with the chances and outcomes."""
    jobs = [job for name in ALL for job in jobs_of(name, number) if len(job.chance)]
    chance, came = (np.concatenate(parts) for parts in zip(*((job.chance, job.came) for job in jobs), strict=True))
    bins = reliability(jobs, np.random.default_rng(seed))
    print(f"\n{len(chance)} channels in {len(jobs)} jobs of {len(ALL)} worlds; chance said and share that came")
    for k, (channels, of_jobs, said, share, low, high) in enumerate(bins):
        shares = f"{said:.2f}  {share:.2f} ({low:.2f}-{high:.2f})"
        print(f"  {k / 10:.1f}-{(k + 1) / 10:.1f}  {shares}  {channels} in {of_jobs}")
    area = area_under_curve(chance, came)
    print(f"  all      {chance.mean():.2f}  {came.mean():.2f}; area under the curve {area:.3f}")
    return bins, chance, came, area


def assert_chances_are_frequencies(number, apart, least_area):
    bins, chance, came, area = show_chances(number)
    assert abs(chance.mean() - came.mean()) < apart
    for each in bins:
        if each.jobs >= FEWEST_JOBS:
            assert each.low - apart <= each.said <= each.high + apart, each
    assert area >= least_area


def test_the_chances_are_frequencies():
    assert_chances_are_frequencies(EVERYDAY, 0.10, 0.80)


@pytest.mark.long
def test_the_chances_are_frequencies_in_a_hundred_jobs():
    assert_chances_are_frequencies(LONG, 0.06, 0.83)
