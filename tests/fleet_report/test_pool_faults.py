"""Counts of closed jobs and the strength of the packaged priors, against scipy, by hand, and on our own model."""

import numpy as np
import pytest
from scipy import special, stats

from satdiag.diagnosis import learning
from satdiag.diagnosis.counts import ROW_JOBS, FaultCounts, marginals, moved_model, prior_of, rows_of
from satdiag.diagnosis.learning import PRIOR_JOBS, reading_of, weights_of
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.pooled import Pool, id_digest, pool_from
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.errors import BadInput
from satdiag.fleet import pool_faults
from satdiag.fleet.pool_jobs import Closed


def lesson(number, fault="antenna-open", reason="complaint", evidence=None):
    faults = frozenset() if fault == "none" else frozenset(fault.split())
    return Lesson(f"demo-{number}", "h", reason, faults, {"bias": "open"} if evidence is None else evidence)


def test_the_marginal_likelihood_is_that_of_scipy():
    """scipy.stats.dirichlet_multinomial counts the orders of the jobs too: the multinomial coefficient."""
    rng = np.random.default_rng(1)
    shares, counts = rng.dirichlet(np.ones(5)), np.array([3.0, 0.0, 7.0, 1.0, 2.0])
    orders = special.gammaln(counts.sum() + 1) - special.gammaln(counts + 1).sum()
    for strength in (0.7, 30.0, 900.0):
        theirs = stats.dirichlet_multinomial.logpmf(counts.astype(int), strength * shares, int(counts.sum()))
        assert pool_faults.log_marginal(strength, [(shares, counts)]) == pytest.approx(theirs - orders)


def test_the_strength_that_fleets_were_drawn_with_comes_back():
    """Our own model: 40 kinds of fleets drawn about the same shares with strength 100."""
    rng = np.random.default_rng(2)
    shares = rng.dirichlet(np.ones(8))
    table = [(shares, rng.multinomial(200, rng.dirichlet(100.0 * shares)).astype(float)) for _ in range(40)]
    assert pool_faults.likeliest_strength(table) == pytest.approx(100.0, rel=0.25)


def test_a_fleet_like_the_packaged_figures_makes_them_count_for_much_and_one_unlike_for_little():
    shares = np.array([0.5, 0.3, 0.2])
    assert pool_faults.likeliest_strength([(shares, 1000 * shares)]) == pool_faults.MOST_STRENGTH
    assert pool_faults.likeliest_strength([(shares, np.array([0.0, 0.0, 400.0]))]) == pool_faults.LEAST_STRENGTH


def test_few_closed_jobs_tell_nothing_of_the_strength():
    few = [lesson(k) for k in range(pool_faults.FEWEST_FOR_STRENGTH - 1)]
    assert pool_faults.strength_of(load_model(), few) == PRIOR_JOBS
    assert pool_faults.strength_of(load_model(), [*few, lesson(99)]) < PRIOR_JOBS
    assert pool_faults.strength_of(load_model(), [*few, lesson(99, "antenna-open indoors")]) == PRIOR_JOBS


def test_counts_add_up_to_what_lessons_weigh():
    model = load_model()
    lessons = [lesson(1), lesson(2), lesson(3, "none", evidence={"bias": "normal"}), lesson(4, "indoors feed-lossy")]
    counts = pool_faults.counts_of(model, lessons)
    read = [reading_of(model, one) for one in lessons]
    weights = weights_of(model, lessons, read)
    assert counts.jobs == 4
    assert counts.weight == pytest.approx(sum(weights))
    assert counts.comes["complaint"]["antenna-open"] == pytest.approx(weights[0] + weights[1])
    assert (
        counts.comes["complaint"]["indoors"] == counts.comes["complaint"]["feed-lossy"] == pytest.approx(weights[3])
    )
    kinds = read[0].kinds["antenna-open"]
    assert counts.rows["bias"] == {
        "antenna-open/steady": {"open": pytest.approx((weights[0] + weights[1]) * kinds["steady"])},
        "antenna-open/at-times": {"open": pytest.approx((weights[0] + weights[1]) * kinds["at-times"])},
        "none": {
            "open": pytest.approx((weights[0] + weights[1]) * kinds["resting"]),
            "normal": pytest.approx(weights[2]),
        },
    }
    assert counts.kinds["antenna-open"]["steady"] == pytest.approx((weights[0] + weights[1]) * kinds["steady"])
    assert sum(counts.kinds["feed-lossy"].values()) == pytest.approx(weights[3])
    assert pool_faults.counts_of(model, []) is None


def test_a_rare_fault_that_many_jobs_had_is_not_held_down():
    """A lone job of a rare fault counts for little. Many count in full: their share goes to what it is."""
    model = load_model()
    alone = learning.weight_of(model, lesson(1, "ring-order", evidence={}))
    assert alone < 0.3
    many = [lesson(k, "ring-order" if k % 5 == 0 else "obstructed", evidence={}) for k in range(100)]
    weights = weights_of(model, many, [reading_of(model, one) for one in many])
    assert weights == pytest.approx([learning.RIGHT] * 100)
    counts = pool_faults.counts_of(model, many)
    assert counts.comes["complaint"]["ring-order"] / counts.closed["complaint"] == pytest.approx(0.2)


def test_no_job_moves_more_beside_the_others_than_a_lesson_may():
    model = load_model()
    lessons = [lesson(k, "ring-order", evidence={"bias": "normal"}) for k in range(3)]
    read = [reading_of(model, one) for one in lessons]
    weights = weights_of(model, lessons, read)
    stakes = learning.stakes_of(model, lessons[0], read[0].kinds)
    assert learning.weight_of(model, lessons[0]) < weights[0] < learning.RIGHT
    moved = dict.fromkeys([None, *(("ring-order", kind) for kind in read[0].kinds["ring-order"])], 0.0)
    for one in stakes:
        beside = one.worth + (weights[1] + weights[2]) * one.part
        moved[one.of] += one.counted * np.log1p(weights[0] * one.part / beside)
    common = moved.pop(None)
    assert min(moved.values()) > 0
    assert common + max(moved.values()) == pytest.approx(learning.MOST_SHIFT, abs=1e-3)


def test_the_pooled_model_is_beta_binomial_by_hand():
    """(A p + n) / (A + N) for a prior, (160 p + n) / (160 + n) for a row (Gelman et al. 2013, ch. 3)."""
    model = load_model()
    counts = FaultCounts(
        50,
        80.0,
        {"complaint": 50.0},
        {"complaint": {"antenna-open": 40.0, "none": 10.0}},
        {"bias": {"antenna-short": {"short": 40.0}}},
    )
    now = moved_model(model, counts)

    def comes(of, name):
        return marginals(space_of(), prior_of(of, "complaint"))[name]

    for name, seen in (("antenna-open", 40.0), ("none", 10.0), ("indoors", 0.0)):
        assert comes(now, name) == pytest.approx((80.0 * comes(model, name) + seen) / 130.0, rel=1e-3)
    at = model.items["bias"].states.index("short")
    before = model.items["bias"].given["antenna-short"][at]
    assert now.items["bias"].given["antenna-short"][at] == pytest.approx(
        (ROW_JOBS * before + 40.0) / (ROW_JOBS + 40.0)
    )
    assert now.items["bias"].healthy is model.items["bias"].healthy
    assert prior_of(now, "check") == prior_of(model, "check")


def test_the_score_is_the_posterior_of_what_was_found():
    """By hand with one item: prior times row, over all sets of at most two faults in all their kinds."""
    from satdiag.diagnosis import inference
    from satdiag.diagnosis.weighing import log_terms

    model, space = load_model(), load_model().space()
    seen = (Seen("bias", "open"),)
    jobs = [Closed("k", lesson(1), seen), Closed("l", lesson(2, "none"), seen)]
    prior = prior_of(model, "complaint").log(space)
    whole = inference.posterior(model, space, prior, log_terms(model, space, seen))
    alone = np.array([one == {"antenna-open"} for one in space.hypotheses])
    wanted = [np.log(whole.p[alone].sum()), np.log(whole.p[space.none])]
    assert pool_faults.log_scores(model, jobs) == pytest.approx(wanted)


# --- the file ----------------------------------------------------------------------------------------------------


def pool():
    counts = pool_faults.counts_of(load_model(), [lesson(1), lesson(2, "none")])
    return Pool(
        counts, {"": WaitPrior(6.5, 0.4, 30), "demo-talk": WaitPrior(7.0, 0.3, 30)}, frozenset([id_digest("demo-1")])
    )


def test_a_pool_comes_back_from_its_text():
    import json

    text = pool().text()
    back = pool_from(json.loads(text), "fleet.json")
    assert back.text() == text
    assert back.holds("demo-1")
    assert not back.holds("demo-9")
    assert back.wait_of("demo-talk").mean_log_s == 7.0
    assert back.wait_of("never seen").mean_log_s == 6.5
    assert "demo-1" not in text  # ids are not listed


def test_a_file_from_before_kinds_were_counted_is_parted_by_what_each_state_says_of_them():
    """Bayes' theorem by hand: of 40 open feeds a kind has its share times its chance of that over the mean chance."""
    model = load_model()
    counts = {
        "jobs": 40,
        "strength": 100.0,
        "closed": {"complaint": 40.0},
        "comes": {"complaint": {"antenna-open": 40.0}},
        "rows": {"bias": {"antenna-open": {"open": 40.0}}},
    }
    pool = pool_from({"form": 1, "faults": counts, "waits": {}, "known": [], "said": {}}, "fleet.json")
    now = moved_model(model, pool.faults)
    item, kinds = model.items["bias"], model.faults["antenna-open"].kinds
    assert now.faults["antenna-open"].kinds == kinds
    at = item.states.index("open")
    for kind in ("steady", "at-times"):
        before, after = (rows_of(one.items["bias"])[f"antenna-open/{kind}"][at] for one in (model, now))
        worth, part = ROW_JOBS * kinds[kind], 40.0 * kinds[kind] * before / item.given["antenna-open"][at]
        assert after == pytest.approx((worth * before + part) / (worth + part))


@pytest.mark.parametrize(
    "change",
    [
        {"form": 9},
        {"faults": {"jobs": 3}},
        {"faults": 7},
        {"waits": {"": {"mean_log_s": 6.0, "sd_log": 0.0, "jobs": 3}}},
        {"waits": {"": {"mean_log_s": float("nan"), "sd_log": 1.0, "jobs": 3}}},
        {"known": None},
        {"faults": {"jobs": 1, "strength": 20, "closed": {"never": 1.0}, "comes": {}, "rows": {}}},
        {"faults": {"jobs": 1, "strength": 20, "closed": {"check": -1.0}, "comes": {}, "rows": {}}},
        {
            "faults": {
                "jobs": 1,
                "strength": 20,
                "closed": {"check": 1.0},
                "comes": {"check": {"none": 2}},
                "rows": {},
            }
        },
        {"faults": {"jobs": float("inf"), "strength": 20, "closed": {}, "comes": {}, "rows": {}}},
    ],
)
def test_a_broken_pool_is_one_clear_error(change):
    import json

    whole = json.loads(pool().text()) | change
    with pytest.raises(BadInput, match="fleet learn") as caught:
        pool_from(whole, "fleet.json")
    assert len(caught.value.problems) == 1
