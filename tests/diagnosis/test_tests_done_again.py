"""A test done once more: what it may say, what two readings add, and when it is offered.

Bayes' rule by hand is the reference; worlds prove the code against our own model only.
"""

from dataclasses import replace

import numpy as np
import pytest

from satdiag.analysis import _known
from satdiag.diagnosis.again import Shown, adds, said_again, shown, worth_again
from satdiag.diagnosis.estimate import diagnose, weigh
from satdiag.diagnosis.evidence import collect
from satdiag.diagnosis.model import LEAST_LEFT, SAME_AGAIN, load_model
from satdiag.diagnosis.plan import Bench
from satdiag.diagnosis.proof import trials
from satdiag.diagnosis.proof_chance import chance_of_proof
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.standing import Standing
from satdiag.diagnosis.waiting import WAIT, Wait, waiting_option
from satdiag.diagnosis.weighing import log_terms
from satdiag.signal.estimate import estimate_signal
from satdiag.sky.estimate import estimate_sky
from tests.helpers import make_job

MODEL, SPACE = load_model(), space_of()
BIAS = MODEL.items["bias"]
SHORT, OPEN = BIAS.states.index("short"), BIAS.states.index("open")
HEALTHY, SHORTED = SPACE.none, SPACE.index_of("antenna-short")


def known_of_job(job):
    sky = estimate_sky(job)
    return _known(job, sky, estimate_signal(job, sky))


def standing(seen, faults, twice=True):
    """Where the work stands with this evidence, only these faults (and 'none', 'other') being possible."""
    log_prior = np.full(len(SPACE.hypotheses), -40.0)
    for fault, p in faults.items():
        log_prior[SPACE.index_of(fault)] = np.log(p)
    log_prior[SPACE.none], log_prior[SPACE.other] = np.log(0.1), np.log(0.01)
    terms = log_terms(MODEL, SPACE, seen)
    bench = Bench(MODEL, tuple(terms), False, None, shown=shown(MODEL, seen), twice=twice)
    return Standing(bench, SPACE, log_prior, terms)


def test_a_second_like_reading_leaves_little_of_what_is_misread():
    """By hand: from each entry goes what a misread one gives it, but for the share that comes out alike again."""
    once, twice = (adds(MODEL, SPACE, "bias", Shown(SHORT, times)) for times in (1, 2))
    spread, floor, count = BIAS.misread / 6, MODEL.error_floor, 6
    left = max(BIAS.healthy[SHORT] - (1 - SAME_AGAIN) * spread, LEAST_LEFT * BIAS.healthy[SHORT])
    assert np.exp(twice[HEALTHY]) == pytest.approx((1 - floor / 2) * left + floor / 2 / count)
    assert twice[SHORTED] - twice[HEALTHY] > once[SHORTED] - once[HEALTHY] + 0.4


def test_an_item_that_is_not_misread_gains_only_by_the_floor():
    once, twice = (MODEL.log_likelihood("listing", SPACE, times) for times in (1, 2))
    assert np.abs(np.exp(once) - np.exp(twice)).max() < MODEL.error_floor


def test_what_is_said_again_is_a_distribution_and_mostly_the_same():
    table = said_again(MODEL, SPACE, "bias", Shown(SHORT))
    assert table.shape == (len(SPACE.hypotheses), 6)
    assert np.allclose(table.sum(axis=1), 1.0)
    assert table.min() > 0.0
    assert table[SHORTED, SHORT] > 0.95
    assert table[HEALTHY, SHORT] < table[SHORTED, SHORT]


def test_a_reading_told_in_part_is_judged_by_its_likelihoods():
    """Open or short alike by the first reading: under a short the second one says short."""
    soft = tuple(1.0 if state in (SHORT, OPEN) else 0.0 for state in range(6))
    table = said_again(MODEL, SPACE, "bias", Shown(SHORT, soft=soft))
    assert table[SHORTED, SHORT] > 0.9
    assert table[SPACE.index_of("antenna-open"), OPEN] > 0.9


@pytest.mark.parametrize(
    ("one", "again"),
    [
        (Seen("bias", "short"), True),
        (Seen("bias", "short", repeats=3), False),
        (Seen("bias", "short", soft={"short": 1.0, "open": 0.1}), False),
        (Seen("bias", "short", soft={"short": 1.0, "open": 0.5}), True),
        (Seen("listing", "offered"), False),
        (Seen("refused-pattern", "none", repeats=5, soft={"none": 1.0, "outside-package": 0.1}), True),
        (Seen("refused-pattern", "none", repeats=5, soft={"none": 1.0, "outside-package": 0.01}), False),
    ],
)
def test_when_one_more_reading_can_tell_anything(one, again):
    assert worth_again(shown(MODEL, [one]), one.item) is again


def names(standing):
    return [test.name for test in standing.bench.tests()]


def test_a_test_is_offered_again_for_proof_only():
    first = [Seen("bias", "short")]
    assert "measure-bias" in names(standing(first, {"antenna-short": 0.8}))
    assert "measure-bias" not in names(standing(first, {"antenna-short": 0.8}, twice=False))


def test_its_text_says_that_it_is_for_the_second_time():
    stand = standing([Seen("bias", "short")], {"antenna-short": 0.8})
    test = next(test for test in MODEL.tests if test.name == "measure-bias")
    assert stand.bench.text(test).startswith("Do this once more, since one reading may be wrong. Measure")
    assert replace(stand.bench, twice=False).text(test).startswith("Measure")


def test_once_the_second_reading_says_the_same_the_belief_rises_and_else_the_later_one_counts():
    stand = standing([Seen("bias", "short")], {"antenna-short": 0.05, "antenna-open": 0.05})
    test = next(test for test in MODEL.tests if test.name == "measure-bias")
    now = stand.belief()
    alike, other = (stand.told(test, now, state).belief() for state in (SHORT, OPEN))
    assert alike.probability_of("antenna-short") > now.probability_of("antenna-short")
    fresh = standing([Seen("bias", "open")], {"antenna-short": 0.05, "antenna-open": 0.05}).belief()
    assert np.allclose(other.p, fresh.p)


def test_what_only_a_second_reading_can_prove_is_not_given_up():
    """One fault or none, torn by one reading; nothing but the same reading once more is left to do."""
    stand = standing([Seen("bias", "short")], {"antenna-short": 0.028})
    test = next(test for test in MODEL.tests if test.name == "measure-bias")
    assert stand.belief().probability_of("antenna-short") + stand.belief().probability_of("none") > 0.9
    assert chance_of_proof(stand, [test]) > 0.2
    without = Standing(replace(stand.bench, twice=False), SPACE, stand.log_prior, stand.terms)
    assert chance_of_proof(without, [test]) == 0.0
    assert "measure-bias" in [one.test.name for one in trials(stand)]


# --- a wait that brings more, and looking at every channel --------------------------------------------------------


def test_a_wait_that_brings_more_is_foreseen_as_growing_whatever_was_seen_before():
    """None plays after ample time: sure of none, were it not that they come after all."""
    seen = [Seen("entitlement", "nothing")]
    made = standing(seen, {"entitlement-not-received": 0.05})
    wait = Wait(15.0, 0.9, 8.0)
    bench = replace(made.bench, wait=wait, waiting=waiting_option(MODEL, made.belief(), wait))
    stand = Standing(bench, SPACE, made.log_prior, made.terms)
    test = next(test for test in MODEL.tests if test.name == WAIT)
    more, no_more = (stand.told(test, stand.belief(), state).belief() for state in (0, 1))
    grown = standing([Seen("entitlement", "growing")], {"entitlement-not-received": 0.05}).belief()
    assert np.allclose(more.p, grown.p)
    assert no_more.probability_of("entitlement-not-received") > stand.belief().probability_of(
        "entitlement-not-received"
    )


def test_where_channels_grow_already_a_wait_tells_nothing_of_faults():
    belief = standing([], {"partial-package": 0.2, "not-activated": 0.2}).belief()
    told = waiting_option(MODEL, belief, Wait(15.0, 0.9, 8.0), grows=True).table[: SPACE.other]
    assert np.allclose(told, told[0])
    usual = waiting_option(MODEL, belief, Wait(15.0, 0.9, 8.0)).table
    assert usual[SPACE.index_of("not-activated"), 0] < 0.2 < usual[SPACE.none, 0]


LINEUP = "\n".join(f"{number},Demo {number},{'Rock' if number < 11 else 'Sport'},all" for number in range(1, 21))


def bench_after(looked_at, package="all", reason="just-installed"):
    rows = ["0:00 listing source yes", *(f"1:{2 * n:02d} channel {n} authorised" for n in range(1, looked_at + 1))]
    sheet = f'reason = "{reason}"\n[service]\npackage = "{package}"\n'
    _, _, case = diagnose(weigh(known_of_job(make_job("\n".join(rows), sheet, LINEUP))))
    return replace(case.bench, twice=True)


@pytest.mark.parametrize(("looked_at", "offered"), [(6, True), (20, False)])
def test_every_channel_is_looked_at_until_all_were(looked_at, offered):
    found = {test.name: test.item for test in bench_after(looked_at).tests()}
    assert ("check-channels" in found) is offered
    assert found.get("check-channels", "refused-pattern") == "refused-pattern"


def test_long_after_the_activation_looks_at_channels_show_the_item_of_then():
    found = {test.name: test.item for test in bench_after(6, reason="complaint").tests()}
    assert found["check-channels"] == "refused-running"


def test_the_more_channels_play_the_less_a_package_that_leaves_some_out_explains():
    """Nothing is known of what it leaves out: by Laplace's rule no look meets one with a chance of 1 in looks + 1.

    Three in ten people look at nothing else than what the package holds.
    """
    for looked_at in (4, 19):
        rows = [f"1:{2 * n:02d} channel {n} authorised" for n in range(1, looked_at + 1)]
        job = make_job("\n".join(rows), '[service]\npackage = "all"\n', LINEUP)
        one = next(one for one in collect(known_of_job(job)) if one.item == "refused-pattern")
        ways = (1.0 + 1.0 / ((looked_at + 1) * 0.98**looked_at)) / 2  # those held all play, or some still come
        assert one.soft["outside-package"] == pytest.approx(ways * (0.3 + 0.7 / (looked_at + 1)), rel=1e-6)
        assert one.repeats == min(looked_at, 5)


# --- readings counted anew ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "repeats"),
    [
        ([], 1),
        (["1:30 bias current 171 mA"], 1),
        (["6:00 bias voltage 0.3 V", "6:05 bias current 165 mA"], 2),
    ],
)
def test_a_feed_measured_anew_minutes_later_counts_twice(rows, repeats):
    rows = ["1:00 bias voltage 0.2 V", "1:05 bias current 170 mA", *rows]
    one = next(one for one in collect(known_of_job(make_job("\n".join(rows)))) if one.item == "bias")
    assert (one.state, one.repeats) == ("short", repeats)


def test_stored_equipment_read_back_twice_counts_twice():
    rows = "1:00 configuration readback differs\n2:00 configuration readback differs"
    one = next(one for one in collect(known_of_job(make_job(rows))) if one.item == "configuration")
    assert (one.state, one.repeats) == ("differs", 2)


@pytest.mark.parametrize(
    ("lowest", "soft"),
    [("8.2", True), ("6.1", True), ("5.1", False)],
)
def test_a_lowest_value_that_a_start_explains_tells_nothing(lowest, soft):
    """A start pulls a sound supply to 8 V, or to 6 V for milliseconds (ISO 16750-2; from memory)."""
    rows = f"1:00 supply receiver 12.6 V\n2:00 supply receiver-minimum {lowest} V"
    one = next(one for one in collect(known_of_job(make_job(rows))) if one.item == "supply")
    assert one.state == "low"
    assert (one.soft is not None and len(set(one.soft.values())) == 1) is soft
