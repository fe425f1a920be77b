"""The opening of the report: the verdict, how sure it is, what speaks for and against it, what could not be done."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from satdiag.findings import Evidence, Findings, NextTest, Verdict
from satdiag.job import Job
from satdiag.report import palette, words
from satdiag.report.local_time import LocalTime
from satdiag.report.numbers import FIXED_SPACE, MINUTE_S, decibans, duration, percent

REASONS_SHOWN = 3
TESTS_SHOWN = 3
WORTH_SAYING_MINUTES = 0.5
WORTH_SAYING_DB = 0.5


@dataclass(frozen=True)
class Opening:
    """Everything above the first section, in words."""

    state: str
    symbol: str
    text: str
    sure: str
    do_next: str
    customer: str
    reasons_for: tuple[str, ...]
    reasons_against: tuple[str, ...]
    tests: tuple[str, ...]
    earlier: tuple[str, ...]
    could_not: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]


def opening_of(job: Job, findings: Findings, local: LocalTime, technician: bool) -> Opening:
    """The opening of a job's report."""
    verdict = findings.verdict
    reasons_for, reasons_against = reasons(findings)
    return Opening(
        state=_head(verdict),
        symbol=palette.VERDICTS[verdict.state],
        text=words.sentence(verdict.text) or "Nothing can be said about this vehicle yet.",
        sure=how_sure(verdict),
        do_next=words.sentence(verdict.do_next) or "No next step follows from this log.",
        customer=words.sentence(verdict.customer),
        reasons_for=reasons_for,
        reasons_against=reasons_against,
        tests=tuple(_test_words(test) for test in findings.diagnosis.next_tests[:TESTS_SHOWN]),
        earlier=_earlier(findings, local),
        could_not=could_not(findings),
        facts=_facts(job, findings, local, technician),
    )


def _head(verdict: Verdict) -> str:
    """The verdict in a few words: a fault's own name, else the state."""
    if verdict.state == "fault" and verdict.fault in words.FAULTS:
        name = words.FAULTS[verdict.fault]
        return name[0].upper() + name[1:]
    return words.VERDICTS[verdict.state]


def how_sure(verdict: Verdict) -> str:
    """How sure the verdict is, in one or two sentences."""
    if verdict.probability is None:
        return "No figure can be given for how sure this is."
    hundred = f"Of 100 vehicles with such a log, {_of_hundred(verdict.probability)} would turn out so."
    if verdict.sure:
        moved = "No single assumption, moved within its range, would change it."
        return f"Sure: {percent(verdict.probability)}. {hundred} {moved}"
    return f"Not sure yet: {percent(verdict.probability)}. {hundred}"


def _of_hundred(probability: float) -> str:
    whole = round(100 * probability)
    if whole >= 100:
        return "all or nearly all"
    return f"about {whole}" if whole >= 1 else "hardly any"


def reasons(findings: Findings) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The strongest pieces of evidence for and against the verdict, strongest first.

    What speaks for another cause speaks against this one; what speaks against another one is on neither side.
    """
    verdict = findings.verdict
    ours = {verdict.fault, verdict.class_} - {None} or {"none"}
    worth_saying = [item for item in findings.diagnosis.evidence if abs(item.weight_db) >= WORTH_SAYING_DB]
    ranked = sorted(worth_saying, key=lambda item: -abs(item.weight_db))
    speaks_for = [item for item in ranked if item.for_ in ours and item.weight_db > 0]
    against = [item for item in ranked if (item.weight_db < 0 if item.for_ in ours else item.weight_db > 0)]
    return _said(speaks_for, ours), _said(against, ours)


def _said(items: Iterable[Evidence], ours: set[str | None]) -> tuple[str, ...]:
    return tuple(_reason(item, ours) for item in list(items)[:REASONS_SHOWN])


def _reason(item: Evidence, ours: set[str | None]) -> str:
    said = words.sentence(item.text).rstrip(".")
    towards = "" if item.for_ in ours else f" for “{words.fault_words(item.for_)}”"
    return f"{said} ({decibans(item.weight_db)}{FIXED_SPACE}decibans{towards})."


def _test_words(test: NextTest) -> str:
    takes = duration(test.minutes * MINUTE_S)
    if test.worth_minutes < WORTH_SAYING_MINUTES:
        return f"{words.sentence(test.text)} It takes about {takes}."
    saves = duration(test.worth_minutes * MINUTE_S)
    return f"{words.sentence(test.text)} It takes about {takes} and saves about {saves} of work."


def _earlier(findings: Findings, local: LocalTime) -> tuple[str, ...]:
    return tuple(
        words.sentence(
            f"{words.fault_words(part.fault)} ({percent(part.probability)}), from {local.text(part.from_)} to "
            f"{local.text(part.to)}; it ended with: {part.ended_by}"
        )
        for part in findings.diagnosis.earlier
    )


def could_not(findings: Findings) -> tuple[str, ...]:
    """Everything that could not be done, each sentence once, in the order of the rooms."""
    rooms = (findings.sky, findings.signal, findings.entitlement, findings.tuning, findings.wiring)
    said = [*findings.could_not, *(text for room in rooms for text in room.could_not)]
    return tuple(dict.fromkeys(words.sentence(text) for text in said))


def _facts(job: Job, findings: Findings, local: LocalTime, technician: bool) -> tuple[tuple[str, str], ...]:
    sheet = job.sheet
    facts = [
        ("Job", sheet.id),
        ("Vehicle", sheet.vehicle or "not described"),
        ("Receiver", sheet.receiver.masked_id),
        ("Reason", words.VISIT_REASONS.get(sheet.reason, sheet.reason)),
        ("Log from", local.text(findings.from_)),
        ("Log to", local.text(findings.to)),
        ("Visits", str(findings.visits)),
        ("Places", ", ".join(site.name for site in sheet.sites) or "not given"),
    ]
    if technician and sheet.technician:
        facts.append(("Technician", sheet.technician))
    return tuple(facts)
