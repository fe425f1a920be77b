"""The plan for a sure verdict: which tests to offer, what they may show, and why it stops."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from satdiag.diagnosis.explain import Case
from satdiag.diagnosis.inference import NAMES, Posterior, leaders
from satdiag.diagnosis.plan import LIKELY_ANSWER, MOST_STEPS, Ahead, missing_text, next_test, weighed
from satdiag.diagnosis.proof import Trial, is_sure, trials
from satdiag.diagnosis.proof_chance import PROOF_DRAWS, chance_of_proof
from satdiag.diagnosis.repairs import repairs
from satdiag.diagnosis.standing import Standing
from satdiag.diagnosis.waiting import WAIT
from satdiag.findings import Answer, DiagnosisFindings, NextTest, PlanStep
from satdiag.language import mark, tell, translated

MOST_OFFERED = 8
LEAST_CHANCE, LEAST_GIVEN = 0.005, 0.01
"""Sure in fewer drawn sets of answers than that, and in fewer of those drawn where one of the `LEADING` faults is so:
it cannot be made sure. Of 22 made-up vehicles that were proved (set 'tune'), limits of 0.04 would have given none up;
but what is believed of other vehicles may be further off."""

LEADING = 2

TELLS_BITS = 0.02
"""A test out of reach that tells less is not named."""

SHOW_CHANNELS = ("check-channels", WAIT, "listen", "play-open-channel")
"""Tests that look at channels: a vehicle with nothing wrong is sure only once enough of them were seen to play."""

PROVED_TEXT = mark("The verdict is sure: no further test is needed to prove it.")
NOTHING_LEFT_TEXT = mark(
    "The verdict is not sure, and nothing is left to test: every test that can be done here was done."
)
NO_NEARER_TEXT = mark(
    "What is left to test cannot make the verdict sure: on average none of it brings the verdict any nearer to that."
)


def look_for_proof(standing: Standing, sure: bool) -> Ahead:
    """The tests that bring it nearer to sure, a plan of up to three steps, and why it stops.

    `sure`: the verdict is. A belief can be sure and the verdict not, where too few channels were seen to play.
    """
    if sure:
        return Ahead((), (), "sure", translated(PROVED_TEXT))
    found = trials(standing)
    closed = bool(is_sure(standing.space, standing.belief().p[None])[0])
    if closed:
        useful = [one for one in found if one.test.name in SHOW_CHANNELS]
    else:
        useful = [one for one in found if one.rate > 0]
    if not found or (closed and not useful):
        return _at_an_end(standing, bool(found))
    if not closed and _is_hopeless(standing, found):
        return Ahead((), (), "cannot-be-sure", _with_missing(standing, _cannot_text() if useful else _no_nearer()))
    useful = useful or found  # none alone brings it nearer, and yet together they may
    return Ahead(_offered(standing, useful), tuple(_plan(standing, useful[0])), "")


def _no_nearer() -> str:
    return translated(NO_NEARER_TEXT)


def _cannot_text() -> str:
    return tell(
        "What is left to test cannot make the verdict sure: of {draws} drawn sets of answers to it, hardly any would "
        "do so.",
        draws=PROOF_DRAWS * (1 + LEADING),
    )


def _is_hopeless(standing: Standing, found: Sequence[Trial]) -> bool:
    """Neither the next answer nor those of all tests together make it sure, as far as drawn answers tell.

    A second look asks the same where each of the leading faults is so: what is true may be thought unlikely yet.
    """
    if max(one.p_sure for one in found) >= LEAST_CHANCE:
        return False
    tests = [one.test for one in found]
    if chance_of_proof(standing, tests) >= LEAST_CHANCE:
        return False
    belief = standing.belief()
    leading = sorted(NAMES, key=lambda name: -belief.probability_of(name))[:LEADING]
    return max(chance_of_proof(standing, tests, given=name) for name in leading) < LEAST_GIVEN


def _at_an_end(standing: Standing, tests_left: bool) -> Ahead:
    """Nothing is left, or nothing of what is left brings it nearer."""
    reason, text = ("cannot-be-sure", NO_NEARER_TEXT) if tests_left else ("nothing-left", NOTHING_LEFT_TEXT)
    return Ahead((), (), reason, _with_missing(standing, translated(text)))


def _with_missing(standing: Standing, text: str) -> str:
    """What the person would need for more, said after why it stops."""
    bench = standing.bench
    if bench.can is None:
        return text
    beyond = weighed(bench, standing.belief(), bench.tests(possible=False))
    needs = [need for test, worth in beyond if worth.bits > TELLS_BITS for need in test.needs]
    wanted = list(dict.fromkeys(need for need in needs if need not in bench.can))
    return f"{text} {missing_text(bench.model, wanted)}" if wanted else text


def _offered(standing: Standing, useful: Sequence[Trial]) -> tuple[NextTest, ...]:
    bench, belief = standing.bench, standing.belief()
    worth = {test.name: one for test, one in weighed(bench, belief, [one.test for one in useful])}
    return tuple(
        replace(next_test(bench, one.test, worth[one.test.name]), p_sure=one.p_sure) for one in useful[:MOST_OFFERED]
    )


def _plan(standing: Standing, first: Trial) -> list[PlanStep]:
    """Up to three steps: each the best test after the likeliest answer to the one before, until it is sure."""
    steps: list[PlanStep] = []
    trial: Trial | None = first
    while trial is not None and len(steps) < MOST_STEPS:
        belief = standing.belief()
        steps.append(_step(standing, trial, belief))
        standing = standing.told(trial.test, belief, int(np.argmax(trial.chance)))
        better = [one for one in trials(standing) if one.rate > 0]
        trial = better[0] if better else None
    return steps


def _step(standing: Standing, trial: Trial, belief: Posterior) -> PlanStep:
    option, test = standing.bench.option(trial.test, belief), trial.test
    _, fault = leaders(trial.space, trial.after)
    told = [
        Answer(state, translated(say), float(trial.chance[k]), NAMES[fault[k]], _chance_of(trial, k, fault[k]))
        for k, (state, say) in enumerate(zip(option.states, option.say, strict=True))
        if trial.chance[k] >= LIKELY_ANSWER
    ]
    text, minutes = standing.bench.text(test), standing.bench.minutes(test)
    return PlanStep(test.name, text, minutes, tuple(told), test.cautions)


def _chance_of(trial: Trial, state: int, fault: int) -> float:
    return float(trial.after[state][trial.space.mask_of(NAMES[fault])].sum())


def toward_proof(found: DiagnosisFindings, case: Case, sure: bool) -> DiagnosisFindings:
    """The findings with tests and plan made for a sure verdict instead of for little work; `sure`: it is already."""
    standing = Standing(replace(case.bench, twice=True), case.whole.space, case.prior, case.terms)
    ahead = look_for_proof(standing, sure)
    mended = () if ahead.tests or case.whole.top()[0] == "none" else repairs(case.model, case.whole)
    return replace(
        found,
        aim="proof",
        next_tests=ahead.tests,
        plan=ahead.plan,
        stop=ahead.stop,
        stop_text=ahead.stop_text,
        repairs=mended,
    )
