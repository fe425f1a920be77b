"""The narrowed reckoning of a plan for proof against the whole one, and what comes and goes against sums by hand.

Simulated answers prove the code against our own model only.
"""

from dataclasses import replace

import numpy as np
import pytest

from satdiag.diagnosis.again import LOOKS_ENOUGH, Shown, adds, said_again, shown, worth_again
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.plan import Bench
from satdiag.diagnosis.proof import trials
from satdiag.diagnosis.proof_chance import chance_of_proof
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.standing import Ground, Standing
from satdiag.diagnosis.waiting import (
    ALL_STATES,
    LOOK_AT_ALL,
    LOOK_AT_ALL_MINUTES,
    WAIT_FOR_ALL_MINUTES,
    Wait,
    last_channels,
    waiting_option,
)
from satdiag.diagnosis.weighing import log_terms
from satdiag.findings import EntitlementFindings, Quantiles

MODEL = load_model()
SPACE = MODEL.space()
HEALTHY = SPACE.none
SOON_S = Quantiles(60.0, 10.0, 300.0)
DROPS = SPACE.mask_of("supply-dropout") & (SPACE.holds.sum(axis=1) == 1)


def standing(seen, twice=True):
    log_prior = np.log(np.full(len(SPACE.hypotheses), 1e-4))
    for fault in ("antenna-weak", "supply-dropout", "entitlement-not-received", "id-mismatch"):
        log_prior[SPACE.mask_of(fault) & (SPACE.holds.sum(axis=1) == 1)] = np.log(0.05)
    log_prior[HEALTHY] = np.log(0.3)
    terms = log_terms(MODEL, SPACE, seen)
    bench = Bench(MODEL, tuple(terms), False, None, shown=shown(MODEL, seen), twice=twice)
    return Standing(bench, SPACE, log_prior, terms)


def with_wait(made):
    wait = Wait(15.0, 0.9, 8.0)
    bench = replace(made.bench, wait=wait, waiting=waiting_option(MODEL, made.belief(), wait))
    return replace(made, bench=bench)


def with_last(made):
    """Channels are seen to come, and some are refused yet."""
    found = EntitlementFindings(authorised=20, refused=5, remaining_to_last_s=SOON_S)
    bench = with_wait(made).bench
    return replace(made, bench=replace(bench, last=last_channels(MODEL, made.belief(), found, "refused-pattern")))


def alone(fault):
    return SPACE.mask_of(fault) & (SPACE.holds.sum(axis=1) == 1)


COMING = [Seen("entitlement", "growing"), Seen("refused-pattern", "scattered"), Seen("satellite", "weak")]


def test_where_channels_come_all_are_looked_at_until_the_last_has_come():
    """The answer that all play stands in place of what was seen of them; each answer weighed narrowly and in full."""
    made = with_last(standing(COMING))
    ground, found = Ground(made), {}
    for test in made.bench.tests():
        if test.name in (LOOK_AT_ALL, "wait-and-recheck"):
            found[test.name] = made.bench.option(test, made.belief())
            assert found[test.name].states == ALL_STATES
            for state, row in enumerate(ground.after(test)):
                whole = made.told(test, made.belief(), state)
                assert row == pytest.approx(whole.belief().p[ground.at], abs=2e-3)
                assert LOOK_AT_ALL not in {one.name for one in whole.bench.tests()}
    assert found[LOOK_AT_ALL].minutes < found["wait-and-recheck"].minutes
    all_now, all_later = found[LOOK_AT_ALL].table[:, 0], found["wait-and-recheck"].table[:, 0]
    assert all_now[HEALTHY] < all_later[HEALTHY]
    assert all_now[alone("partial-package")].max() < 0.05 * all_now[HEALTHY]
    test = next(test for test in made.bench.tests() if test.name == LOOK_AT_ALL)
    after = made.told(test, made.belief(), 0)
    seen = [Seen("entitlement", "complete"), Seen("refused-pattern", "none"), Seen("satellite", "weak")]
    assert after.belief().p == pytest.approx(standing(seen).belief().p)
    assert made.bench.text(test).startswith("By now the last channels may have come. Go through every channel")


def test_who_looks_for_the_last_channels_does_so_for_proof_alone():
    made = with_last(standing(COMING, twice=False))
    assert LOOK_AT_ALL not in {test.name for test in made.bench.tests()}
    wait = next(test for test in made.bench.tests() if test.name == "wait-and-recheck")
    assert made.bench.option(wait, made.belief()) is made.bench.waiting
    first = with_last(standing([COMING[0], COMING[2]]))
    look = next(test for test in first.bench.tests() if test.name == LOOK_AT_ALL)
    assert len(first.bench.option(look, first.belief()).states) == 4  # nobody has looked which are refused
    found = EntitlementFindings(refused=5, remaining_to_last_s=SOON_S, exposure_s=900.0, last_look_s=700.0)
    just_now = last_channels(MODEL, made.belief(), found, "refused-pattern")
    assert just_now is not None
    assert just_now.look is None
    earlier = last_channels(MODEL, made.belief(), replace(found, last_look_s=500.0), "refused-pattern")
    assert earlier is not None
    assert earlier.look is not None
    nobody = EntitlementFindings(authorised=20, refused=0, remaining_to_last_s=SOON_S)
    assert last_channels(MODEL, made.belief(), nobody, "refused-pattern") is None


def test_the_chance_of_proof_counts_on_the_last_channels():
    """Three causes alike likely at first: what lets all channels come is sure once they have, and not before."""
    log_prior = np.full(len(SPACE.hypotheses), np.log(1e-9))
    log_prior[alone("partial-package") | alone("entitlement-not-received")] = np.log(0.3)
    log_prior[HEALTHY] = np.log(0.3)
    made, plain = (replace(one, log_prior=log_prior) for one in (with_last(standing(COMING)), standing(COMING)))
    test = next(test for test in MODEL.tests if test.name == LOOK_AT_ALL)
    assert made.belief().probability_of("none") < 0.95
    all_play = with_last(made).bench.option(test, made.belief()).table[:, 0]
    assert chance_of_proof(made, [test], 2000) == pytest.approx(float(made.belief().p @ all_play), abs=0.04)
    assert chance_of_proof(plain, [test]) == 0.0


def test_the_minutes_of_these_looks_are_those_of_the_tests():
    minutes = {test.name: test.minutes for test in MODEL.tests}
    assert (minutes[LOOK_AT_ALL], minutes["wait-and-recheck"]) == (LOOK_AT_ALL_MINUTES, WAIT_FOR_ALL_MINUTES)


def test_another_receiver_takes_along_what_was_seen_of_the_first():
    """What its channels showed has to be looked at anew; what was measured of the vehicle stays."""
    made = standing([Seen("open-channel", "plays"), *COMING, Seen("supply", "normal"), Seen("resets", "several")])
    test = next(test for test in MODEL.tests if test.name == "swap-receiver")
    after = made.told(test, made.belief(), 0)
    stays = [Seen("satellite", "weak"), Seen("supply", "normal"), Seen("swap-receiver", "same")]
    assert after.belief().p == pytest.approx(standing(stays).belief().p)
    row, whole = Ground(made).after(test)[0], after.belief().p[Ground(made).at]
    assert row / row.sum() == pytest.approx(whole / whole.sum(), abs=1e-6)
    assert {"play-open-channel", "watch-restarts", LOOK_AT_ALL} <= {one.name for one in after.bench.tests()}


def test_the_belief_after_every_answer_is_that_of_the_whole_space():
    """Families, caps, second readings, a wait and a resend: each answer, weighed narrowly and in full."""
    seen = [Seen("entitlement", "nothing"), Seen("bias", "low"), Seen("satellite", "weak"), Seen("supply", "normal")]
    made = with_wait(standing(seen))
    ground, names = Ground(made), set()
    for test in made.bench.tests():
        names.add(test.name)
        for state, row in enumerate(ground.after(test)):
            whole = made.told(test, made.belief(), state).belief().p[ground.at]
            assert row / row.sum() == pytest.approx(whole / whole.sum(), abs=1e-6)
            assert row.sum() == pytest.approx(whole.sum(), abs=1e-2)  # a surprise speaks for what is left out
    assert {"wait-and-recheck", "ask-resend", "measure-bias", "measure-supply", "check-account"} <= names


def test_who_leaves_out_the_rarest_leaves_out_no_more_than_that():
    made = standing([Seen("bias", "low")])
    everything, fewer = Ground(made), Ground(made, 0.01)
    assert len(fewer.at) < len(everything.at)
    assert fewer.p.sum() >= 0.99 - 1e-9
    assert fewer.chances(fewer.joint[None])[0] == pytest.approx(fewer.p)


def test_nearly_sure_is_not_taken_for_sure_by_what_is_left_out():
    """A lead just below what makes sure: something is open yet, and tests close it."""
    made = standing([])
    log_prior = np.full(len(SPACE.hypotheses), np.log(0.0502 / len(SPACE.hypotheses)))
    log_prior[HEALTHY] = np.log(0.9498)
    found = trials(replace(made, log_prior=log_prior))
    assert max(one.rate for one in found) > 0.01


def test_a_second_look_for_what_comes_and_goes_by_hand():
    """Half of the looks are anew: nothing again with 1 - anew (1 - p0), so that two looks weigh p0 times that."""
    p0 = np.exp(MODEL.log_likelihood("supply", SPACE)[:, 0])
    anew = MODEL.items["supply"].anew
    again = said_again(MODEL, SPACE, "supply", Shown(0, passing=True))
    assert again.sum(axis=1) == pytest.approx(1.0)
    assert again[:, 0] == pytest.approx(1 - anew * (1 - p0))
    once, thrice = (adds(MODEL, SPACE, "supply", Shown(0, times, passing=True)) for times in (1, 3))
    expected = 2 * np.log(again[HEALTHY, 0] / again[DROPS, 0])
    gained = (thrice[HEALTHY] - thrice[DROPS]) - (once[HEALTHY] - once[DROPS])
    assert gained == pytest.approx(expected, abs=0.02)  # the floor for a wrong reading shrinks as well
    assert expected.min() > 0.3


@pytest.mark.parametrize(
    ("one", "again"),
    [
        (Seen("supply", "normal"), True),
        (Seen("supply", "normal", repeats=LOOKS_ENOUGH), False),
        (Seen("supply", "dips"), False),
        (Seen("resets", "none"), True),
        (Seen("resets", "several"), False),
        (Seen("audio", "playing"), True),
        (Seen("audio", "once"), False),
    ],
)
def test_what_comes_and_goes_is_looked_for_again_until_it_was_looked_for_enough(one, again):
    assert worth_again(shown(MODEL, [one]), one.item) is again


def test_its_text_says_why_it_is_looked_for_again():
    made = standing([Seen("supply", "normal")])
    test = next(test for test in made.bench.tests() if test.name == "measure-supply")
    assert made.bench.text(test).startswith(
        "Do this once more: what comes and goes may not have shown the last time."
    )


def test_readings_that_can_be_repeated_are_counted_twice_in_the_chance():
    made = standing([Seen("satellite", "weak")])
    test = next(test for test in MODEL.tests if test.name == "compare-identifier")
    once = Standing(replace(made.bench, twice=False), SPACE, made.log_prior, made.terms)
    assert chance_of_proof(made, [test], 500) >= chance_of_proof(once, [test], 2000)


def test_the_chance_given_each_hypothesis_adds_up_to_the_chance():
    """The law of total probability, within what 4000 draws leave."""
    made = standing([Seen("bias", "low"), Seen("satellite", "weak")])
    alone = np.where((SPACE.holds.sum(axis=1) <= 1), made.log_prior, -60.0)
    made = replace(made, log_prior=alone)
    tests, belief = made.bench.tests(), made.belief()
    names = [name for name in (*MODEL.faults, "none", "other") if belief.probability_of(name) > 1e-4]
    parts = sum(belief.probability_of(name) * chance_of_proof(made, tests, 300, name) for name in names)
    assert parts == pytest.approx(chance_of_proof(made, tests, 4000), abs=0.04)
