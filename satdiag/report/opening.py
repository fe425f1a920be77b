"""What the report says of the verdict: how sure, what speaks for and against it, what was left out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from satdiag.findings import Evidence, Findings, Verdict
from satdiag.language import mark, tell, translated
from satdiag.report import words
from satdiag.report.local_time import LocalTime
from satdiag.report.numbers import decibans, percent

REASONS_SHOWN = 3
WORTH_SAYING_DB = 0.5
ON_FIRST_PAGE = 3
AGAINST_WORTH_A_LINE_DB = 3.0
"""What speaks against the verdict stands on the first page from 'moderate' on."""


SURE = (
    mark("Sure: of 100 vehicles with such a log, hardly any would turn out so."),
    mark("Sure: of 100 vehicles with such a log, about {n} would turn out so."),
    mark("Sure: of 100 vehicles with such a log, all or nearly all would turn out so."),
)
NOT_SURE = (
    mark("Not sure yet: of 100 vehicles with such a log, hardly any would turn out so."),
    mark("Not sure yet: of 100 vehicles with such a log, about {n} would turn out so."),
    mark("Not sure yet: of 100 vehicles with such a log, all or nearly all would turn out so."),
)


def how_sure(verdict: Verdict) -> str:
    """How sure the verdict is, in one or two sentences."""
    if verdict.probability is None:
        return tell("No figure can be given for how sure this is.")
    if verdict.state == "cannot-tell":
        return tell("Not sure yet: this log fits more than one answer.")
    whole = round(100 * verdict.probability)
    hardly, about, nearly_all = SURE if verdict.sure else NOT_SURE
    said = translated(nearly_all if whole >= 100 else hardly if whole < 1 else about).format(n=whole)
    if not verdict.sure:
        return said
    return f"{said} {tell('No single assumption, moved within its range, would change it.')}"


def reasons(findings: Findings) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The strongest pieces of evidence for and against the verdict, strongest first.

    What speaks for another cause speaks against this one; what speaks against another one is on neither side.
    Where the verdict names no cause, every reason does.
    """
    ours = set() if findings.verdict.state == "cannot-tell" else _ours(findings)
    speaks_for, against = _ranked(findings)
    return tuple(_weighed(item, ours) for item in speaks_for[:REASONS_SHOWN]), tuple(
        _weighed(item, ours) for item in against[:REASONS_SHOWN]
    )


def three_reasons(findings: Findings) -> tuple[str, ...]:
    """The three reasons of the first page; the last of them speaks against the verdict where that weighs enough."""
    speaks_for, against = _ranked(findings)
    doubt = [item for item in against if abs(item.weight_db) >= AGAINST_WORTH_A_LINE_DB][:1]
    kept = speaks_for[: ON_FIRST_PAGE - len(doubt)]
    if findings.verdict.state == "cannot-tell":
        return tuple(_of_a_cause(item) for item in (*kept, *doubt))
    return (*(_plain(item) for item in kept), *(_but(item) for item in doubt))


def _ours(findings: Findings) -> set[str | None]:
    return {findings.verdict.fault, findings.verdict.class_} - {None} or {"none"}


def _ranked(findings: Findings) -> tuple[Sequence[Evidence], Sequence[Evidence]]:
    """What speaks for the verdict and against it, strongest first."""
    ours = _ours(findings)
    worth_saying = [item for item in findings.diagnosis.evidence if abs(item.weight_db) >= WORTH_SAYING_DB]
    ranked = sorted(worth_saying, key=lambda item: -abs(item.weight_db))
    speaks_for = [item for item in ranked if item.for_ in ours and item.weight_db > 0]
    against = [item for item in ranked if (item.weight_db < 0 if item.for_ in ours else item.weight_db > 0)]
    return speaks_for, against


def _plain(item: Evidence) -> str:
    """A reason with its weight in a word, where it has one."""
    said = words.sentence(item.text).rstrip(".")
    return tell("{what} ({strength}).", what=said, strength=item.strength) if item.strength else f"{said}."


def _of_a_cause(item: Evidence) -> str:
    """A reason beside a verdict that names no cause: it says itself of which cause it speaks."""
    if not item.strength:
        return _weighed(item, set())
    said, cause = words.sentence(item.text).rstrip("."), words.fault_words(item.for_)
    if item.weight_db < 0:
        return tell("{what} ({strength}, against “{cause}”).", what=said, strength=item.strength, cause=cause)
    return tell("{what} ({strength}, for “{cause}”).", what=said, strength=item.strength, cause=cause)


def _but(item: Evidence) -> str:
    """What speaks against the verdict: a phrase within its sentence."""
    said = item.text.strip()[:1] + words.sentence(item.text).rstrip(".")[1:]
    if not item.strength:
        return tell("Against it: {what}.", what=said)
    return tell("Against it: {what} ({strength}).", what=said, strength=item.strength)


def _weighed(item: Evidence, ours: set[str | None]) -> str:
    said, weight = words.sentence(item.text).rstrip("."), decibans(item.weight_db)
    if item.for_ in ours:
        return tell("{what} ({weight}\u00a0decibans).", what=said, weight=weight)
    towards = words.fault_words(item.for_)
    return tell("{what} ({weight}\u00a0decibans for “{cause}”).", what=said, weight=weight, cause=towards)


def earlier(findings: Findings, local: LocalTime) -> tuple[str, ...]:
    """What was wrong earlier and is gone: the fault, when, and what ended it."""
    return tuple(
        words.sentence(
            tell(
                "{fault} ({p}), from {begin} to {end}; it ended with: {ended_by}",
                fault=words.fault_words(part.fault),
                p=percent(part.probability),
                begin=local.text(part.from_),
                end=local.text(part.to),
                ended_by=part.ended_by,
            )
        )
        for part in findings.diagnosis.earlier
    )


def could_not(findings: Findings) -> tuple[str, ...]:
    """Everything that could not be done, each sentence once, in the order of the rooms."""
    rooms = (findings.sky, findings.signal, findings.entitlement, findings.tuning, findings.wiring)
    return _once((*findings.could_not, *(text for room in rooms for text in room.could_not)))


def _once(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(words.sentence(text) for text in texts))
