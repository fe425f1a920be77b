"""The verdict on the terminal: what it is, how sure, what speaks for it, what to do next, what could not be done."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from satdiag.language import chance_text, tell, tell_many, translated

if TYPE_CHECKING:
    from satdiag.findings import Evidence, Findings, NextTest
    from satdiag.job import Job
    from satdiag.report.local_time import LocalTime

STRONGEST = 3
LIKELY_ENOUGH = 0.01
"""A chance that is said."""
LEAST_WORTH = 0.5
"""Minutes that a test is worth, from which on they are said."""
INDENT = "  - "


class Screen:
    """Prints texts line by line as wide as the terminal; a line ends at a plain blank only, never at a fixed one."""

    def __init__(self) -> None:
        from rich.console import Console

        self._console = Console(highlight=False)

    def say(self, text: str, style: str | None = None) -> None:
        """A paragraph."""
        self._print(text, style, "")

    def item(self, text: str) -> None:
        """An entry of a list."""
        self._print(f"{INDENT}{text}", None, " " * len(INDENT))

    def heading(self, text: str) -> None:
        """A heading, with an empty line above it."""
        self._console.print()
        self._print(text, "bold", "")

    def _print(self, text: str, style: str | None, indent: str) -> None:
        width = max(self._console.width, 20)
        kept = text.replace(" %", "\0%")  # no line begins with a percent sign
        lines = textwrap.fill(kept, width, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False)
        self._console.print(lines.replace("\0%", " %"), style=style, markup=False, soft_wrap=True)


def show(job: Job, findings: Findings) -> None:
    """Print the verdict and all that goes with it, in the language in use, times as at the vehicle's place."""
    from satdiag.report.local_time import local_time_of

    screen, local = Screen(), local_time_of(job)
    verdict = findings.verdict
    style = {"works": "bold green", "fault": "bold red"}.get(verdict.state, "bold yellow")
    screen.say(verdict.text, style)
    firmness = tell("This stands firm.") if verdict.sure else tell("This is not certain yet.")
    screen.say(f"{firmness} {local.as_of(verdict.as_of, findings.job)}")
    if findings.diagnosis.explanation is not None:
        screen.say(findings.diagnosis.explanation.kind_text)
        screen.say(findings.diagnosis.explanation.of_hundred)
    _reasons(screen, findings)
    _next(screen, findings)
    _told(screen, findings)
    _cautions(screen, findings)
    _earlier(screen, findings, local)
    if findings.could_not:
        screen.heading(tell("What could not be done"))
        for text in findings.could_not:
            screen.item(text)
    screen.heading(tell("What to tell the customer"))
    screen.say(verdict.customer)


def _next(screen: Screen, findings: Findings) -> None:
    diagnosis, first = findings.diagnosis, findings.verdict.do_next
    screen.heading(tell("What to do next"))
    screen.say(first)
    if (odd := diagnosis.odd_reading) is not None and odd.text not in first:
        screen.say(tell("Look again at this too, for it fits badly with the rest: {odd}.", odd=odd.text))
    for test in diagnosis.next_tests[:STRONGEST]:
        screen.item(_test(test, first))
    if diagnosis.stop_text and (diagnosis.aim == "proof" or findings.verdict.state in ("fault", "cannot-tell")):
        screen.say(diagnosis.stop_text)
    tried = [repair for repair in diagnosis.repairs if repair.fault != "partial-package"]  # of that nothing is mended
    others = {repair.text: repair.minutes for repair in tried if repair.text not in first}
    for text, minutes in list(others.items())[: STRONGEST - 1]:
        screen.item(tell("if that is not it ({minutes:.0f} minutes): {repair}", minutes=minutes, repair=text))
    _answers(screen, findings)


def _test(test: NextTest, first: str) -> str:
    """A test with its worth; what it is stands there already if it is the next step."""
    if test.text in first:
        return tell("this is {test} ({gain})", test=test.test, gain=_gain(test))
    return tell("{test} ({gain}): {what}", test=test.test, gain=_gain(test), what=test.text)


def _answers(screen: Screen, findings: Findings) -> None:
    """What the answers to the next test would mean, and what would change the conclusion."""
    from satdiag.report.numbers import percent
    from satdiag.report.words import fault_words

    diagnosis = findings.diagnosis
    for step in diagnosis.plan[:1]:
        screen.heading(tell("What the answers to {test} would mean", test=step.test))
        for answer in step.answers:
            leads = f"{fault_words(answer.fault)}, {percent(answer.probability)}"
            chance = tell("chance {chance}", chance=percent(answer.chance))
            told = tell("{answer} ({chance}): {leads}", answer=answer.text, chance=chance, leads=leads)
            screen.item(told)
    if len(diagnosis.plan) > 1:
        tests = [step.test for step in diagnosis.plan[1:]]
        screen.say(tell("After the likeliest answers: {tests}.", tests=tell(", then ").join(tests)))
    if diagnosis.explanation is not None and findings.verdict.state != "works":
        screen.heading(tell("What would change this"))
        for text in diagnosis.explanation.change_mind:
            screen.item(text)


def _gain(test: NextTest) -> str:
    """What a test is worth and how long it takes, by what the tests are for."""
    if test.p_sure is None and test.worth_minutes < LEAST_WORTH:
        return tell_many(
            "worth less than a minute, takes {n} minute",
            "worth less than a minute, takes {n} minutes",
            round(test.minutes),
        )
    if test.p_sure is None:
        return tell(
            "worth about {worth:.0f} min, takes {takes:.0f} min", worth=test.worth_minutes, takes=test.minutes
        )
    if test.p_sure < LIKELY_ENOUGH:
        return tell_many("takes {n} minute", "takes {n} minutes", round(test.minutes))
    return tell_many(
        "takes {n} minute, and with a chance of {chance} the verdict is sure after it",
        "takes {n} minutes, and with a chance of {chance} the verdict is sure after it",
        round(test.minutes),
        chance=chance_text(test.p_sure),
    )


def _told(screen: Screen, findings: Findings) -> None:
    """What the estimators say in sentences, where they have something to say."""
    beside = findings.diagnosis.beside
    for title, text in (
        (tell("Side by side"), beside.text if beside else ""),
        (tell("Channels"), findings.entitlement.text),
        (tell("Channel changes"), findings.tuning.text),
    ):
        if text:
            screen.heading(title)
            screen.say(text)


def _reasons(screen: Screen, findings: Findings) -> None:
    from satdiag.diagnosis.titles import TITLES

    evidence = findings.diagnosis.evidence
    claim = translated(TITLES[findings.verdict.fault]) if findings.verdict.fault in TITLES else ""
    speaks_for = tell("What speaks for it ({claim})", claim=claim) if claim else tell("What speaks for it")
    for title, part in (
        (speaks_for, [one for one in evidence if one.weight_db > 0.05]),
        (tell("What speaks against it"), [one for one in evidence if one.weight_db < -0.05]),
    ):
        screen.heading(title)
        for one in part[:STRONGEST]:
            screen.item(_sentence(one))
        if not part:
            screen.item(tell("nothing"))


def _sentence(one: Evidence) -> str:
    weight = tell(
        "{item}: {strength}, {weight:+.1f} decibans on its own",
        item=one.item,
        strength=one.strength,
        weight=one.weight_db,
    )
    return f"{one.text} ({weight})"


def _cautions(screen: Screen, findings: Findings) -> None:
    from satdiag.report.cautions import cautions_for

    screen.heading(tell("Take care"))
    for caution in cautions_for(findings):
        screen.item(f"{caution.head}. {caution.text}")


def _earlier(screen: Screen, findings: Findings, local: LocalTime) -> None:
    from satdiag.report.words import fault_words

    if findings.diagnosis.earlier:
        screen.heading(tell("Earlier, and gone now"))
        for one in findings.diagnosis.earlier:
            told = tell(
                "{fault} from {begin} to {end}: {ended_by}",
                fault=fault_words(one.fault),
                begin=local.text(one.from_),
                end=local.text(one.to),
                ended_by=one.ended_by,
            )
            screen.item(told)
