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
from satdiag.diagnosis.waiting import Wait, waiting_option
from satdiag.diagnosis.weighing import log_terms

MODEL = load_model()
SPACE = MODEL.space()
HEALTHY = SPACE.none
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


def test_the_belief_after_every_answer_is_that_of_the_whole_space():
    """Families, caps, second readings, a wait and a resend: each answer, weighed narrowly and in full."""
    seen = [Seen("entitlement", "nothing"), Seen("bias", "low"), Seen("satellite", "weak"), Seen("supply", "normal")]
    made = with_wait(standing(seen))
    ground, names = Ground(made), set()
    for test in made.bench.tests():
        names.add(test.name)
        for state, row in enumerate(ground.after(test)):
            whole = made.told(test, made.belief(), state).belief().p
            assert row == pytest.approx(whole[ground.at], abs=2e-3)
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
