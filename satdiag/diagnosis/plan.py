"""The next tests: which pay, in which order, what each answer would mean, and why to stop."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from satdiag.diagnosis.again import Shown, can_differ, said_again, worth_again
from satdiag.diagnosis.inference import Posterior, normalised
from satdiag.diagnosis.model import Model, Test
from satdiag.diagnosis.space import Flags, Floats
from satdiag.diagnosis.waiting import LOOK_AT_ALL, LOOK_MINUTES, WAIT, Last, Wait
from satdiag.diagnosis.worth import Option, Worth, answers, losses, worths
from satdiag.findings import Answer, NextTest, PlanStep
from satdiag.language import mark, tell, translated

SAME_READING = {
    "satellite": ("any-path",),
    "satellite-beside": ("satellite", "any-path"),
    "repeater": ("any-path",),
}
"""What else is read where an item was: paths read apart tell the best of them too, and it is not weighed then."""

SWAP_RECEIVER = "swap-receiver"
OF_ONE_RECEIVER = (
    "unjudgeable",
    "open-channel",
    "listed-channels",
    "errors",
    "resets",
    "change-time",
    "fading",
    "resend",
    "refused-pattern",
    "refused-running",
    "entitlement",
    "entitlement-running",
)
"""What was seen of these tells of the receiver that was in then: with another one it has to be looked at anew."""

LOOKED_AT = {"refused-pattern": "refused-running"}
"""What a look at the channels shows, and what it shows long after the activation."""

NEGLIGIBLE = 1e-5
"""Hypotheses below it are left out of what tests are worth."""

SURE_TEXT = mark("Enough is known to act: no further test could change it.")
NOTHING_PAYS_TEXT = mark("No further test is worth its time: acting on what is known costs less on average.")

MOST_STEPS = 3
MOST_OFFERED = 4
LIKELY_ANSWER = 0.02
"""An answer rarer than that is not worth words."""


@dataclass(frozen=True, eq=False)
class Bench:
    """What can be tested: the model, the items seen so far, what the person can do (None: everything).

    `barred`: tests that can show nothing as things stand. `shown`: what was read of items that can be misread;
    `twice`: they are read a second time too, where the first reading is to be borne out, and channels that come are
    looked at until the `last` has come. `long`: the channels came long ago, if they ever did.
    """

    model: Model
    seen: tuple[str, ...]
    received: bool
    can: frozenset[str] | None
    waiting: Option | None = None
    wait: Wait | None = None
    barred: frozenset[str] = frozenset()
    shown: Mapping[str, Shown] = field(default_factory=dict)
    twice: bool = False
    long: bool = False
    last: Last | None = None

    def tests(self, possible: bool = True) -> list[Test]:
        """Tests not done yet that the person can do; `possible` False: those that he cannot."""
        done = {*self.seen, *(other for item in self.seen for other in SAME_READING.get(item, ()))}
        tests = [self._now(test) for test in self.model.tests]
        return [test for test in tests if self._left(test, done) and self._able(test) == possible]

    def _now(self, test: Test) -> Test:
        return replace(test, item=LOOKED_AT[test.item]) if self.long and test.item in LOOKED_AT else test

    def _left(self, test: Test, done: Collection[str]) -> bool:
        """Waiting is worth a thought only where it can be said what should come."""
        if test.name in self.barred:
            return False
        if test.name == WAIT:
            return self.waiting is not None
        return test.item not in done or test.repeatable or self.for_last(test) is not None or self.is_again(test)

    def for_last(self, test: Test) -> Option | None:
        """The test as a look whether the last channels have come, where it is that."""
        if not self.twice or self.last is None or test.name not in (LOOK_AT_ALL, WAIT):
            return None
        if test.name == WAIT:
            return self.last.wait
        return self.last.look if test.item in self.seen else None  # what was not seen yet tells more than that

    def is_again(self, test: Test) -> bool:
        """Whether it was done, and one more reading can tell something."""
        if self.for_last(test) is not None:
            return False
        return self.twice and test.item in self.seen and worth_again(self.shown, test.item)

    def _able(self, test: Test) -> bool:
        return self.can is None or set(test.needs) <= self.can

    def option(self, test: Test, belief: Posterior) -> Option:
        """A test with its cost and its answers as far as they add to what was seen."""
        if (last := self.for_last(test)) is not None:
            return replace(last, name=test.name)
        if self.waiting is not None and test.name == WAIT:
            return self.waiting
        if self.is_again(test):
            table = said_again(self.model, belief.space, test.item, self.shown[test.item], self.received)
        else:
            table = answers(self.model, belief.space, test.item, self.seen, self.received)
        item = self.model.items[test.item]
        return Option(test.name, test.minutes + test.risk_minutes, table, item.states, item.say)

    def after(self, test: Test, state: int | None = None) -> Bench:
        """The bench once a test is done; `state`: the number of the answer it gave, if that is known."""
        seen = self.seen if test.item in self.seen else (*self.seen, test.item)
        if self.for_last(test) is not None:
            return replace(self, seen=seen, waiting=None if test.name == WAIT else self.waiting, last=None)
        if test.name == WAIT:
            return replace(self, seen=seen, waiting=None)
        told = {name: one for name, one in self.shown.items() if name != test.item}
        if test.name == SWAP_RECEIVER:
            seen = tuple(item for item in seen if item not in OF_ONE_RECEIVER)
        if state is not None and test.item in self.shown:
            told[test.item] = self.shown[test.item].then(state)
        elif state is not None and can_differ(self.model.items[test.item]):
            told[test.item] = Shown(state, passing=bool(self.model.items[test.item].anew))
        return replace(self, seen=seen, shown=told)

    def text(self, test: Test) -> str:
        """What to do, in a sentence."""
        if self.for_last(test) is not None:
            return tell("By now the last channels may have come. {what}", what=translated(test.text))
        if test.name == WAIT and self.wait is not None:
            return self.wait.text()
        text = translated(test.text)
        if self.is_again(test) and self.shown[test.item].passing:
            return tell("Do this once more: what comes and goes may not have shown the last time. {what}", what=text)
        if self.is_again(test):
            return tell("Do this once more, since one reading may be wrong. {what}", what=text)
        return text

    def minutes(self, test: Test) -> float:
        """How long it takes."""
        if (last := self.for_last(test)) is not None:
            return last.minutes
        return self.wait.minutes + LOOK_MINUTES if test.name == WAIT and self.wait is not None else test.minutes


@dataclass(frozen=True, eq=False)
class Ahead:
    """What comes next: tests worth doing, the best first; the plan; and, where it ends, why."""

    tests: tuple[NextTest, ...]
    plan: tuple[PlanStep, ...]
    stop: str
    stop_text: str = ""


def weighed(bench: Bench, belief: Posterior, tests: Sequence[Test]) -> list[tuple[Test, Worth]]:
    """Every test with its worth, the best first."""
    kept = belief.likely(NEGLIGIBLE)
    options = [bench.option(test, belief).kept(kept) for test in tests]
    later = {test.name: _later(bench.after(test), belief, tests, test, kept) for test in tests}
    by_name = {test.name: test for test in tests}
    p = belief.p[kept] / belief.p[kept].sum()
    found = worths(losses(bench.model, belief.space)[:, kept], p, options, later)
    return [(by_name[worth.name], worth) for worth in found]


def _later(bench: Bench, belief: Posterior, tests: Sequence[Test], done: Test, kept: Flags) -> list[Option]:
    others = [test for test in tests if test.name != done.name and test.item != done.item]
    return [bench.option(test, belief).kept(kept) for test in others]


def look_ahead(bench: Bench, belief: Posterior, sure: bool) -> Ahead:
    """The tests that pay, a plan of up to three steps, and why it stops there."""
    if sure:
        return Ahead((), (), "sure", translated(SURE_TEXT))
    ranked = weighed(bench, belief, bench.tests())
    paying = [(test, worth) for test, worth in ranked if worth.net > 0]
    if not paying:
        return _no_test(bench, belief)
    alone = [(test, worth) for test, worth in paying[1:] if worth.saves > worth.minutes]
    offered = tuple(next_test(bench, test, worth) for test, worth in [paying[0], *alone][:MOST_OFFERED])
    return Ahead(offered, tuple(_plan(bench, belief, paying[0][0])), "")


def _no_test(bench: Bench, belief: Posterior) -> Ahead:
    """Why no test is offered: none pays, or those that would need something that is not there."""
    beyond = weighed(bench, belief, bench.tests(possible=False)) if bench.can is not None else []
    has = bench.can or frozenset()
    needs = [need for test, worth in beyond if worth.net > 0 for need in test.needs]
    wanted = list(dict.fromkeys(need for need in needs if need not in has))
    if not wanted:
        return Ahead((), (), "nothing-pays", translated(NOTHING_PAYS_TEXT))
    return Ahead((), (), f"needs {', '.join(wanted)}", missing_text(bench.model, wanted))


def missing_text(model: Model, wanted: Sequence[str]) -> str:
    """What the person would need, in a sentence; `wanted` are keys of the model's `can`."""
    meant = [translated(model.can[need]) for need in wanted[:2]]
    if len(meant) == 1:
        return tell("What would tell more needs something you do not have: {meant}.", meant=meant[0])
    return tell(
        "What would tell more needs something you do not have: {meant}; or {other}.", meant=meant[0], other=meant[1]
    )


def next_test(bench: Bench, test: Test, worth: Worth) -> NextTest:
    """A test as the findings tell it."""
    return NextTest(
        test=test.name,
        worth_minutes=worth.saves,
        minutes=bench.minutes(test),
        gain_bits=worth.bits,
        text=bench.text(test),
        cautions=test.cautions,
        net_minutes=worth.net,
    )


def _plan(bench: Bench, belief: Posterior, first: Test) -> list[PlanStep]:
    """Up to three steps: each the best test after the likeliest answer to the one before."""
    steps: list[PlanStep] = []
    test: Test | None = first
    while test is not None and len(steps) < MOST_STEPS:
        option = bench.option(test, belief)
        chance = belief.p @ option.table
        after = [_learnt(belief, option.table[:, state]) for state in range(len(option.states))]
        told = [
            Answer(
                state,
                translated(say),
                float(chance[k]),
                after[k].top()[1],
                after[k].probability_of(after[k].top()[1]),
            )
            for k, (state, say) in enumerate(zip(option.states, option.say, strict=True))
            if chance[k] >= LIKELY_ANSWER
        ]
        steps.append(PlanStep(test.name, bench.text(test), bench.minutes(test), tuple(told), test.cautions))
        belief, bench = after[int(np.argmax(chance))], bench.after(test)
        ranked = weighed(bench, belief, bench.tests())
        test = ranked[0][0] if ranked and ranked[0][1].net > 0 else None
    return steps


def _learnt(belief: Posterior, likelihood: Floats) -> Posterior:
    with np.errstate(divide="ignore"):
        return normalised(belief.space, np.log(belief.p) + np.log(likelihood))
