"""The first page: what a person takes in standing up. One screen, or one printed sheet."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.diagnosis.space import EXPLANATION
from satdiag.diagnosis.wording import AS_GOOD_AS_SURE
from satdiag.diagnosis.wording import minutes as minutes_words
from satdiag.findings import Findings, Verdict
from satdiag.job import Job
from satdiag.language import listed, tell, tell_many
from satdiag.report import palette, words
from satdiag.report.local_time import LocalTime
from satdiag.report.numbers import MINUTE_S
from satdiag.report.opening import could_not, how_sure, three_reasons

FURTHER_STEPS = 2


@dataclass(frozen=True)
class FirstPage:
    """The first page in words. `state` is the verdict in a few words, `symbol` its mark (see palette).

    `step` comes first, `further` after it; `left_out` counts the remarks that stand in the section on limits.
    """

    job: str
    state: str
    symbol: str
    text: str
    sure: str
    as_of: str
    step: str
    further_title: str
    further: tuple[str, ...]
    reasons: tuple[str, ...]
    not_checked: str
    left_out: str
    customer: str
    facts: tuple[tuple[str, str], ...]


def first_page_of(job: Job, findings: Findings, local: LocalTime, technician: bool) -> FirstPage:
    """The first page of a job's report; the technician's name stands there only if asked for."""
    verdict = findings.verdict
    as_of = local.text(verdict.as_of) if verdict.as_of else ""
    tests = _tests(findings)
    return FirstPage(
        job=job.sheet.id,
        state=_head(verdict),
        symbol=palette.VERDICTS[verdict.state],
        text=words.sentence(verdict.text) or tell("Nothing can be said about this vehicle yet."),
        sure=how_sure(verdict),
        as_of=tell("As of {moment}.", moment=as_of) if as_of else "",
        step=words.sentence(verdict.do_next) or tell("No next step follows from this log."),
        further_title=tell("After that") if tests else tell("If that is not it"),
        further=(tests or _repairs(findings))[:FURTHER_STEPS],
        reasons=three_reasons(findings) or (tell("Nothing that was logged speaks clearly for it."),),
        not_checked=not_checked(findings),
        left_out=_left_out(findings),
        customer=words.sentence(verdict.customer) or tell("No wording follows from this log yet."),
        facts=_facts(job, findings, local, technician),
    )


def _head(verdict: Verdict) -> str:
    """The verdict in a few words: a fault's own name, else the state. A guess is not said as a fact."""
    proved = (verdict.probability or 0.0) >= AS_GOOD_AS_SURE
    if verdict.state == "fault" and verdict.fault is not None and verdict.fault in words.FAULTS:
        name = words.FAULTS[verdict.fault]
        return name[0].upper() + name[1:] if proved else tell("Most likely: {what}", what=name)
    if verdict.state == "explained" and not proved:
        return tell("Most likely nothing to repair")
    return words.VERDICTS[verdict.state]


# --- steps -------------------------------------------------------------------------------------------------------


def _tests(findings: Findings) -> tuple[str, ...]:
    """The tests that pay, but for the one that the next step names already."""
    first = findings.verdict.do_next
    tests = [test for test in findings.diagnosis.next_tests if not _says(first, test.text)]
    return tuple(_with_time(test.text, test.minutes) for test in tests)


def _repairs(findings: Findings) -> tuple[str, ...]:
    """What to try where no test pays, but for what the next step names already, and what is nothing to try."""
    first = findings.verdict.do_next
    tried = [one for one in findings.diagnosis.repairs if one.fault != EXPLANATION]
    repairs = {one.text: one.minutes for one in tried if not _says(first, one.text)}
    return tuple(_with_time(text, minutes) for text, minutes in repairs.items())


def _says(whole: str, part: str) -> bool:
    return bool(part) and part.rstrip(".") in whole


def _with_time(text: str, minutes: float) -> str:
    takes = minutes_words(minutes * MINUTE_S)
    return tell("{what} It takes about {time}.", what=words.sentence(text), time=takes)


# --- limits ------------------------------------------------------------------------------------------------------


def not_checked(findings: Findings) -> str:
    """What nobody looked at, or what gave nothing, in one sentence: whole parts and channels, not the fine points."""
    parts = [*_channels_left(findings), *_parts_left(findings)]
    if not parts:
        return tell("Every part was looked at.")
    return tell("Not checked, or without a result: {parts}.", parts=listed(parts))


def _channels_left(findings: Findings) -> list[str]:
    found = findings.entitlement
    if not found.checked:
        return [tell("the channels")]
    left = (found.expected or 0) - found.checked
    if left <= 0:
        return []
    return [
        tell_many("{n} of {total} expected channels", "{n} of {total} expected channels", left, total=found.expected)
    ]


def _parts_left(findings: Findings) -> list[str]:
    wiring = findings.wiring
    parts = (
        (tell("what is received"), bool(findings.signal.paths)),
        (tell("the sky over the vehicle"), any(site.mask is not None for site in findings.sky.sites)),
        (tell("the time of channel changes"), findings.tuning.audio_s is not None),
        (tell("the antenna's feed"), wiring.bias is not None),
        (tell("the optical ring"), wiring.ring is not None),
        (tell("the supply at the receiver"), wiring.supply is not None),
    )
    return [what for what, was_seen in parts if not was_seen]


def _left_out(findings: Findings) -> str:
    count = len(could_not(findings))
    if not count:
        return ""
    return tell_many("See the one remark on this.", "See all {n} remarks on this.", count)


# --- facts -------------------------------------------------------------------------------------------------------


def _facts(job: Job, findings: Findings, local: LocalTime, technician: bool) -> tuple[tuple[str, str], ...]:
    sheet = job.sheet
    facts = [
        (tell("Vehicle"), sheet.vehicle or tell("not described")),
        (tell("Receiver"), sheet.receiver.masked_id if sheet.receiver.id else tell("not known")),
        (tell("Reason"), words.VISIT_REASONS.get(sheet.reason, sheet.reason)),
        (tell("Log from"), local.text(findings.from_)),
        (tell("Log to"), local.text(findings.to)),
        (tell("Visits"), str(findings.visits)),
        (tell("Places"), ", ".join(site.name for site in sheet.sites) or tell("not given")),
    ]
    if technician and sheet.technician:
        facts.append((tell("Technician"), sheet.technician))
    return tuple(facts)
