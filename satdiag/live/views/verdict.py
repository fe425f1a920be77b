"""The view 'Verdict': what it is and how sure, what may be the cause, the reasons, and what to do next.

The words are those of the report; how a test's answer gets into the log is told by `answers`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from satdiag.diagnosis.model import Model, load_model
from satdiag.diagnosis.repairs import LEAST_CHANCE
from satdiag.diagnosis.space import EXPLANATION
from satdiag.diagnosis.waiting import WAIT
from satdiag.diagnosis.wording import minutes
from satdiag.findings import Repair
from satdiag.language import tell, translated
from satdiag.letter.saying import ALMOST_CERTAIN, LIKELY, VERY_LIKELY
from satdiag.live.views.answers import entering
from satdiag.live.views.reasons import Rows, evidence
from satdiag.report import words
from satdiag.report.cautions import CAUTIONS, Caution
from satdiag.report.numbers import MINUTE_S, percent
from satdiag.report.opening import could_not, earlier, how_sure

if TYPE_CHECKING:
    from satdiag.findings import Answer, Findings, NextTest, PlanStep
    from satdiag.job import Job

WORTH_A_BAR = 0.01
"""Causes less probable than that are folded together."""

POSSIBLE, UNLIKELY = 0.2, 0.05
"""The least chance of 'possible' and of 'unlikely' (judgement, no source); the words above are the letter's."""

MOST_REPAIRS = 2
FROM_PAGES = "p-"
MOST_COUNTED = 300


def view(job: Job, findings: Findings) -> dict[str, Any]:
    """What the page shows; see the functions below. `counted`: the latest entries from pages that are in it."""
    rows = Rows(job)
    return {
        "head": _head(findings),
        "plan": _plan(job, findings),
        "repairs": _repairs(findings),
        "causes": _causes(findings),
        "earlier": list(earlier(findings, rows.local)),
        **evidence(findings, rows),
        "change": _change(findings),
        "could_not": list(could_not(findings)),
        "counted": [row.id for row in job.rows if (row.id or "").startswith(FROM_PAGES)][-MOST_COUNTED:],
    }


def _head(findings: Findings) -> dict[str, Any]:
    told, explained, plan = findings.verdict, findings.diagnosis.explanation, findings.diagnosis.plan
    return {
        "state": told.state,
        "text": words.sentence(told.text),
        "sure": how_sure(told),
        "kind": explained.kind_text if explained else "",
        "of_hundred": explained.of_hundred if explained else "",
        "do_next": "" if plan and plan[0].text == told.do_next else words.sentence(told.do_next),
    }


# --- what next -----------------------------------------------------------------------------------------------------


def _plan(job: Job, findings: Findings) -> dict[str, Any]:
    """The steps of the plan, other tests that are worth their time, and why there is none."""
    found, model = findings.diagnosis, load_model()
    worth = {one.test: one for one in found.next_tests}
    planned = {step.test for step in found.plan}
    steps = [
        {**_test(step), "worth": _worth(worth.get(step.test)), "after": after, **_meaning(job, model, step)}
        for step, after in zip(found.plan, ["", *(_after(step) for step in found.plan)], strict=False)
    ]
    others = [
        {**_test(one), "worth": _worth(one), "after": "", **_meaning(job, model, one)}
        for one in found.next_tests
        if one.test not in planned
    ]
    return {"steps": steps, "others": others, "stop": found.stop_text}


def _after(step: PlanStep) -> str:
    """A step follows the likeliest answer of the one before, and its chances hold for that answer alone."""
    if not step.answers:
        return ""
    likeliest = max(step.answers, key=lambda one: one.chance)
    return tell("If the step before shows this: {answer}.", answer=likeliest.text)


def _test(step: PlanStep | NextTest) -> dict[str, Any]:
    return {
        "text": step.text,
        "minutes": tell("Takes {time}.", time=minutes(step.minutes * MINUTE_S)),
        "cautions": _cautions(step.cautions),
        "wait": step.test == WAIT,
    }


def _worth(one: NextTest | None) -> str:
    if one is None:
        return ""
    if one.p_sure is not None:
        return tell("After it the verdict is sure with a chance of {p}.", p=percent(one.p_sure))
    return tell("Saves about {time} of work on average.", time=minutes(one.worth_minutes * MINUTE_S))


def _meaning(job: Job, model: Model, step: PlanStep | NextTest) -> dict[str, Any]:
    """How the answer is entered; to each button what it would mean, and the answers that have no button.

    An answer of the plan is not told twice: where one button shows several states, they are listed apart.
    """
    test = next((one for one in model.tests if one.name == step.test), None)
    told: Sequence[Answer] = getattr(step, "answers", ())
    if test is None:
        return {"test": step.test, "answers": [], "view": "", "hint": "", "also": _also(told, ())}
    way = entering(test, model.items[test.item], job)
    by_state = {one.state: one for one in told}
    for button in way["answers"]:
        if state := button.get("state"):
            answer = by_state.get(state)
            button["means"] = _means(answer) if answer else tell("Hardly expected.") if told else ""
    shown = {button.get("state") for button in way["answers"]}
    return {**way, "also": _also(told, shown)}


def _means(answer: Answer) -> str:
    return tell(
        "Chance {chance}. Then most likely: {cause}, {p}.",
        chance=percent(answer.chance),
        cause=words.fault_words(answer.fault),
        p=percent(answer.probability),
    )


def _also(told: Sequence[Answer], shown: Iterable[str | None]) -> list[dict[str, str]]:
    have = set(shown)
    return [{"text": words.sentence(one.text), "means": _means(one)} for one in told if one.state not in have]


def _cautions(keys: Iterable[str]) -> list[dict[str, str]]:
    """The cautions of a step in the report's order; what is no key stands as its own."""
    named = tuple(dict.fromkeys(keys))
    known = {one.key: one for one in CAUTIONS if one.key in named}
    own = [Caution(key, key, "") for key in named if key not in known]
    return [{"head": one.head, "text": one.text} for one in (*own, *known.values())]


def _repairs(findings: Findings) -> list[dict[str, Any]]:
    """What to do if it is that: the diagnosis's repairs; while there are tests, those of the likeliest faults."""
    model, found = load_model(), findings.diagnosis
    if findings.verdict.state in ("works", "filling"):
        return []
    some = found.repairs or _ahead(model, found.faults, findings.verdict.fault)
    return [
        {
            "cause": _capital(words.fault_words(one.fault)),
            "p": percent(one.probability),
            "text": one.text,
            "minutes": tell("About {time} of work.", time=minutes(one.minutes * MINUTE_S)),
            "cautions": _cautions(model.faults[one.fault].cautions if one.fault in model.faults else ()),
        }
        for one in some
    ]


def _ahead(model: Model, faults: Mapping[str, float], lead: str | None) -> tuple[Repair, ...]:
    """The likeliest faults with their work; what is no repair is named only where it leads."""
    likely = [one for one, p in faults.items() if p >= LEAST_CHANCE and (one != EXPLANATION or one == lead)]
    likely.sort(key=lambda fault: -faults[fault])
    return tuple(
        Repair(one, faults[one], model.faults[one].fix_minutes, translated(model.faults[one].action))
        for one in likely[:MOST_REPAIRS]
    )


# --- what it may be ------------------------------------------------------------------------------------------------


def _causes(findings: Findings) -> list[dict[str, Any]]:
    """Kinds of cause and faults, the likeliest first: `shown` as bars, `folded` below one in a hundred."""
    found = findings.diagnosis
    rest = {name: p for name, p in found.classes.items() if name in ("none", "other")}
    kinds = {name: words.CLASSES.get(name, name) for name in found.classes}
    faults = {name: words.fault_words(name) for name in {**found.faults, **rest}}
    return [
        {"title": tell("Kind of cause"), **_bars(found.classes, kinds)},
        {"title": tell("Fault"), **_bars({**found.faults, **rest}, faults)},
    ]


def _bars(chances: Mapping[str, float], called: Mapping[str, str]) -> dict[str, Any]:
    ranked = sorted(chances.items(), key=lambda one: -one[1])
    shown = [one for one in ranked if one[1] >= WORTH_A_BAR]
    return {
        "shown": [
            {
                "key": name,
                "name": _capital(called[name]),
                "share": round(p, 4),
                "p": percent(p),
                "word": likelihood_word(p),
            }
            for name, p in shown
        ],
        "folded": [_capital(called[name]) for name, p in ranked if p < WORTH_A_BAR],
    }


def likelihood_word(p: float) -> str:
    """A probability in a word."""
    if p >= ALMOST_CERTAIN:
        return tell("almost certain")
    if p >= VERY_LIKELY:
        return tell("very likely")
    if p >= LIKELY:
        return tell("likely")
    if p >= POSSIBLE:
        return tell("possible")
    return tell("unlikely") if p >= UNLIKELY else tell("very unlikely")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# --- why -----------------------------------------------------------------------------------------------------------


def _change(findings: Findings) -> list[str]:
    explained = findings.diagnosis.explanation
    return list(explained.change_mind) if explained is not None and findings.verdict.state != "works" else []
