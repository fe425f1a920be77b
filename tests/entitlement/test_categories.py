"""Whole categories that may be outside the account: weak groups of channels.

Simulated data: they prove the code against our own model only; the exact sums are an independent computation.
"""

import numpy as np
import pytest

from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.entitlement.families import EXPONENTIAL
from satdiag.entitlement.fill_in import FillIn, compress
from satdiag.entitlement.grid import Priors, first_look, log_likelihood, outside_chance
from satdiag.entitlement.posterior import posterior_of
from satdiag.entitlement.predict import predict
from satdiag.exposure import exposure_clock
from tests.entitlement.made import checked_every, draw_waits
from tests.helpers import make_job

OUTSIDE = Priors(category_outside=0.1)


def grouped(silent=(12, 8), late=5, seed=1):
    """40 channels that came or are late, and categories of which nothing came."""
    waits = draw_waits(EXPONENTIAL, 1.0, np.log(200.0), 0.0, 40, np.random.default_rng(seed))
    base = checked_every(waits, 60.0, 600.0)
    group = [-1] * (len(base.unseen_s) + late)
    for number, size in enumerate(silent):
        group += [number] * size
    unseen = np.concatenate([base.unseen_s, np.full(late + sum(silent), 600.0)])
    return FillIn(base.seen_lower_s, base.seen_upper_s, unseen, 600.0, unseen_group=np.array(group))


def test_the_likelihood_is_the_mixture_of_outside_and_late():
    fill = grouped()
    rows = compress(fill)
    assert rows.group_count.sum() == 20
    come, scale = np.array([0.3, 0.9]), np.log(np.array([100.0, 400.0]))
    found = log_likelihood(EXPONENTIAL, rows, come, scale, np.zeros(2), 0.1)
    for i, pi in enumerate(come):
        for j, tau in enumerate(np.exp(scale)):
            by_hand = np.sum(np.log(pi) + np.log(np.exp(-fill.seen_lower_s / tau) - np.exp(-fill.seen_upper_s / tau)))
            silent = 1 - pi + pi * np.exp(-fill.unseen_s / tau)
            by_hand += np.sum(np.log(silent[fill.unseen_group < 0]))
            for group in (0, 1):
                by_hand += np.log(0.1 + 0.9 * np.prod(silent[fill.unseen_group == group]))
            assert found[i, j] == pytest.approx(by_hand, rel=1e-9)


def test_without_categories_nothing_changes():
    fill = grouped()
    plain = FillIn(fill.seen_lower_s, fill.seen_upper_s, fill.unseen_s, fill.now_s)
    none = np.full(len(plain.unseen_s), -1)
    alone = FillIn(plain.seen_lower_s, plain.seen_upper_s, plain.unseen_s, 600.0, unseen_group=none)
    assert posterior_of(alone, OUTSIDE).log_evidence == pytest.approx(posterior_of(plain, OUTSIDE).log_evidence)


def test_a_silent_category_is_outside_and_the_rest_is_judged_without_it():
    fill = grouped()
    found = posterior_of(fill, OUTSIDE)
    assert np.all(found.outside > 0.95)
    assert found.mean_come() > 0.75
    prediction = predict(fill, found, 0.0, outside=0.1)
    single = fill.unseen_group < 0
    assert np.all(prediction.p_will_come[~single] < 0.05)
    blind = FillIn(fill.seen_lower_s, fill.seen_upper_s, fill.unseen_s, fill.now_s)
    unaware = posterior_of(blind, OUTSIDE)
    assert unaware.mean_come() < found.mean_come() - 0.05
    assert predict(blind, unaware, 0.0).p_will_come[single].mean() < prediction.p_will_come[single].mean()


def test_the_chance_of_outside_is_bayes_rule_on_the_grid():
    fill = grouped(silent=(3,), late=0)
    rows = compress(fill)
    grid = first_look(EXPONENTIAL, rows, OUTSIDE)
    come, scale, _ = grid.points()
    silent = 1 - come[:, None] + come[:, None] * np.exp(-600.0 / np.exp(scale))
    by_hand = np.sum(grid.mass.reshape(silent.shape) * 0.1 / (0.1 + 0.9 * silent**3))
    assert outside_chance(grid, rows, 0.1)[0] == pytest.approx(by_hand, rel=1e-9)


def test_in_a_job_a_category_that_stays_dark_is_named():
    lineup = "\n".join(
        [f"{n},one {n},music,all" for n in range(1, 21)] + [f"{n},two {n},sport,all" for n in range(21, 31)]
    )
    rows = ["0:00 account service confirmed", *(f"{m}:00 lock any yes" for m in range(21))]
    for minute, first, last in ((2, 1, 8), (5, 8, 14), (10, 14, 18), (20, 18, 20)):
        rows += [f"{minute}:00 channel {n} authorised" for n in range(first, last)]
        rows += [f"{minute}:00 channel {n} refused" for n in range(last, 31)]
    job = make_job("\n".join(rows), '[service]\npackage = "all"\n', lineup)
    found = estimate_entitlement(job, exposure_clock(job))
    assert found.outside_categories["sport"] > 0.9
    reasons = {c.channel: c.reason for c in found.channels}
    assert {reasons[n] for n in range(21, 31)} == {"not-in-package"}
    assert reasons[20] == "late" or reasons[20] == "cannot-tell"
    assert "Channels 21-30 are most likely outside the account, though the line-up has them in it." in found.text


def test_a_category_with_one_arrival_is_never_taken_as_outside():
    fill = grouped(silent=())
    assert fill.groups == 0
    assert len(posterior_of(fill, OUTSIDE).outside) == 0
