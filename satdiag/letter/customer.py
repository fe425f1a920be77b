"""The letter to the customer: what works, why some channels do not play, until when, and who does what about it."""

from __future__ import annotations

from dataclasses import replace

from satdiag.diagnosis.remarks import slow_changes, stopped_account
from satdiag.diagnosis.wording import AS_GOOD_AS_SURE
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import tell, tell_many, translated
from satdiag.letter.account import asks_provider, looks_dead, paid_channels
from satdiag.letter.asking import ABOUT_ACCOUNT, action_of
from satdiag.letter.channels import Groups, groups_of
from satdiag.letter.customer_channels import channel_facts
from satdiag.letter.customer_words import (
    AND_THEN,
    CLASSES,
    FAULTS,
    FITS_BEST,
    GARAGE,
    NO_REPAIR_SEEN,
    NOTHING_TO_DO,
    OPENING,
    SECOND,
    SUBSCRIPTION_TOO,
    SURENESS,
    WAIT_OUTDOORS,
    Words,
)
from satdiag.letter.done import TO_CUSTOMER, done_for
from satdiag.letter.faults import others
from satdiag.letter.parts import Letter, Section
from satdiag.letter.reasons import beside_why, reason_words
from satdiag.letter.saying import LIKELY, instant_words, level_of, scale_text, span_text, zone_text
from satdiag.letter.waiting import Wait, wait_of
from satdiag.report.local_time import LocalTime, local_time_of
from satdiag.vocabulary import CLASS_OF


def customer_letter(job: Job, findings: Findings, sender: str = "") -> Letter:
    """The letter to the customer. It names no identifier, no fault by its code, and gives no percentages."""
    local = local_time_of(job)
    groups, wait = groups_of(job, findings), wait_of(job, findings)
    sections = (
        Section(tell("How things stand"), tuple(_standing(job, findings, groups))),
        Section(tell("Your channels"), facts=tuple(channel_facts(job, findings, groups))),
        Section(tell("Until when"), tuple(_until_when(groups, wait, local))),
        Section(tell("What happens next"), tuple(_next_steps(job, findings, groups, wait))),
        Section(tell("What you can do"), points=tuple(_advice(job, findings, groups, wait)), strong=True),
    )
    facts = [(tell("Vehicle"), job.sheet.vehicle)] if job.sheet.vehicle else []
    facts += [(tell("Job"), findings.job), (tell("As of"), instant_words(findings.verdict.as_of, local))]
    return Letter(
        recipient="customer",
        title=tell("Your satellite radio"),
        facts=tuple(facts),
        sections=tuple(section for section in sections if not section.is_empty),
        small=(scale_text(), zone_text(local)),
        signed=sender,
    )


# --- how things stand --------------------------------------------------------------------------------------------


def kind_of(findings: Findings) -> str:
    """Which kind of 'it does not play' it is, see `Explanation.kind`."""
    return findings.diagnosis.explanation.kind if findings.diagnosis.explanation else "unknown"


def words_of(job: Job, findings: Findings, groups: Groups) -> Words | None:
    """What to say of the leading fault, or of its class where no single fault is likely enough; None without one."""
    verdict = findings.verdict
    if verdict.state not in ("fault", "explained") or verdict.fault not in FAULTS:
        return None
    if verdict.state == "explained":
        words = FAULTS[verdict.fault]
        return words if _chance(findings) >= AS_GOOD_AS_SURE else replace(words, shop=NO_REPAIR_SEEN)
    if _is_named(findings):
        return reason_words(verdict.fault, job, findings, groups)
    words = CLASSES[verdict.class_ or ""]
    if done_for(verdict.fault, job, findings) == "resend-requested":
        words = replace(words, shop=TO_CUSTOMER["resend-requested"], provider="")
    beside = {CLASS_OF[fault] for fault in others(findings)} - {"subscription"}
    return replace(words, why=SUBSCRIPTION_TOO) if verdict.class_ == "subscription" and beside else words


def _standing(job: Job, findings: Findings, groups: Groups) -> list[str]:
    state, kind, words = findings.verdict.state, kind_of(findings), words_of(job, findings, groups)
    if state == "filling":
        said = _filling(findings)
    elif state == "explained" and words is not None:
        unproved = [] if level_of(_chance(findings)) >= 2 else [translated(FITS_BEST)]
        said = [translated(OPENING["works"]), *unproved, translated(words.why)]
    elif state == "fault" and words is not None:
        said = [_opening(kind, groups), translated(SURENESS[level_of(_chance(findings))]), translated(words.why)]
        said += beside_why(findings.verdict.fault or "", job, groups) if _is_named(findings) else []
        said += _other_reasons(job, findings, groups)
    elif state == "works":
        said = [translated(OPENING["works"]), tell("Nothing that we see now points to a fault.")]
    else:
        said = [translated(OPENING["unknown"]), _unknown(job, findings, groups)]
    return [*said, *_beside(findings, groups)]


def _opening(kind: str, groups: Groups) -> str:
    """The first sentence of a letter about a fault, true of a radio that plays a part of its channels too."""
    kinds = [f"{kind}-in-part"] if paid_channels(groups) else [f"{kind}-open"] if groups.open else []
    return translated(next((OPENING[name] for name in kinds if name in OPENING), OPENING[kind]))


def _other_reasons(job: Job, findings: Findings, groups: Groups) -> list[str]:
    """How sure each further reason is, and which it is: whoever has the first one mended is not to be surprised."""
    said = []
    for fault in others(findings):
        level = level_of(findings.diagnosis.faults[fault])
        said += [translated(SECOND[level]), translated(reason_words(fault, job, findings, groups).why)]
        said += beside_why(fault, job, groups)
    return said


def _is_named(findings: Findings) -> bool:
    """True if the fault itself is likely enough to be named; else its class is, which is likelier."""
    return findings.verdict.state == "explained" or (findings.verdict.probability or 0.0) >= LIKELY


def _chance(findings: Findings) -> float:
    """How likely the named reason is."""
    p = findings.verdict.probability or 0.0
    return p if _is_named(findings) else findings.diagnosis.classes.get(findings.verdict.class_ or "", p)


def _filling(findings: Findings) -> list[str]:
    if findings.entitlement.authorised:
        first = tell("Your satellite radio works and is still receiving its channels.")
    else:
        first = tell("Your satellite radio is ready and is waiting for its first channels.")
    return [
        first,
        tell(
            "The provider sends a signal that opens the channels one after the other. Your receiver takes it in "
            "while "
            "it is on and has an open view of the sky. So some channels come later than others. That is normal."
        ),
        tell("Nothing that we see now points to a fault."),
    ]


def _unknown(job: Job, findings: Findings, groups: Groups) -> str:
    if not asks_provider(job, findings, groups):
        return tell("What we have seen so far does not tell enough.")
    stopped = stopped_account(job) is not None
    if stopped and paid_channels(groups):
        return tell(
            "Channels play, but by what we know no subscription is active for this receiver. The provider has to "
            "look at it."
        )
    if not stopped and not looks_dead(findings):
        return tell("Some channels that played before do not play now. The provider has to look at the subscription.")
    return tell("What we see does not fit with an active subscription. The provider has to look at it.")


def _beside(findings: Findings, groups: Groups) -> list[str]:
    """What else there is to say: a fault that is gone, slow changes, channels that were taken away again."""
    state, said = findings.verdict.state, []
    if state in ("works", "filling", "explained") and slow_changes(findings.tuning):
        said.append(tell("But changing channels takes longer than it should, or brings no sound."))
    if findings.diagnosis.earlier and state in ("works", "filling", "explained"):
        said.append(tell("A fault that showed earlier is gone: it was not there any more at our last checks."))
    if groups.lost and state == "filling":
        said.append(tell("Some channels that played before do not play now."))
    return said


# --- until when --------------------------------------------------------------------------------------------------


def _until_when(groups: Groups, wait: Wait | None, local: LocalTime) -> list[str]:
    if wait is None or not groups.awaited:
        return []
    said = _how_many(groups)
    if wait.most_s is None:
        return [*said, tell("How long that may take cannot be said yet.")]
    if wait.until is not None:
        said.append(
            tell(
                "The last of those that come is very likely there by {moment}, if the radio stays on outdoors from "
                "{start} without a break. That is {span} of listening.",
                moment=wait.until,
                start=wait.start,
                span=span_text(wait.most_s),
            )
        )
    else:
        said.append(
            tell(
                "The last of those that come is very likely there after {span} of listening, counted from {start}. "
                "The hours add up over several days.",
                span=span_text(wait.most_s),
                start=wait.start,
            )
        )
    if wait.middle_s < wait.most_s:
        said.append(tell("There is an even chance that {span} will be enough.", span=span_text(wait.middle_s)))
    return said


def _how_many(groups: Groups) -> list[str]:
    """How many of the awaited channels should come, where that is not certain of each."""
    chances = [(groups.chance or {}).get(channel, 0.0) for channel in groups.awaited]
    number, come = len(chances), round(sum(chances))
    if number < 2 or all(level_of(p) >= 2 for p in chances):
        return []
    if not come:
        return [tell("It is doubtful whether any of the missing channels comes by itself.")]
    if come == number:
        return [tell("Most or all of the {total} missing channels should come by themselves.", total=number)]
    return [
        tell_many(
            "About {n} of the {total} missing channels should come by itself. We cannot say which one.",
            "About {n} of the {total} missing channels should come by themselves. We cannot say which ones.",
            come,
            total=number,
        )
    ]


# --- who does what -----------------------------------------------------------------------------------------------


def _next_steps(job: Job, findings: Findings, groups: Groups, wait: Wait | None) -> list[str]:
    state, words = findings.verdict.state, words_of(job, findings, groups)
    if state == "works":
        slow = bool(slow_changes(findings.tuning))
        return [tell("We look into the slow channel changes.") if slow else tell("There is nothing left to do.")]
    if state == "filling":
        first = [tell("We ask the provider about the channels that played before.")] if groups.lost else []
        return [*first, _if_still_missing(wait)]
    if words is None and action_of(job, findings, groups) in ABOUT_ACCOUNT:
        return [tell("We ask the provider to look at the subscription for this receiver.")]
    if words is None:
        return [tell("We check more and tell you as soon as we know.")]
    said = [translated(words.shop), translated(words.provider)]
    for fault in others(findings):
        further = reason_words(fault, job, findings, groups)
        said += [translated(AND_THEN), translated(further.shop), translated(further.provider)]
    if state == "fault" and findings.diagnosis.next_tests and not findings.verdict.sure:
        said.insert(0, tell("First we do one more test, to be on the safe side."))
    return [text for text in said if text]


def _if_still_missing(wait: Wait | None) -> str:
    if wait is None or wait.most_s is None:  # no time stands above
        return tell(
            "If channels are still missing after the time on that is named below, please tell us. We will ask the "
            "provider to send the signal again."
        )
    return tell(
        "If channels are still missing after that time, please tell us. We will ask the provider to send the signal "
        "again."
    )


def _advice(job: Job, findings: Findings, groups: Groups, wait: Wait | None) -> list[str]:
    state, kind, words = findings.verdict.state, kind_of(findings), words_of(job, findings, groups)
    if state == "works":
        return [tell("Enjoy your radio. If a channel stops playing, please tell us which one and where you were.")]
    if state == "filling" and wait is not None:
        return [*_listening(wait), translated(GARAGE)]
    if words is None:
        return [translated(NOTHING_TO_DO)]
    further = [reason_words(fault, job, findings, groups).you for fault in others(findings)]
    said = [translated(text) for text in dict.fromkeys([words.you, *further]) if text]
    waits = kind in ("not-sent", "not-here") or any(map(_is_waited_for, others(findings)))
    waits = waits or translated(WAIT_OUTDOORS) in said
    return [*(said or [translated(NOTHING_TO_DO)]), *([translated(GARAGE)] if waits else [])]


def _is_waited_for(fault: str) -> bool:
    """True of a fault for which the radio has to be on for a while, outdoors or at another place."""
    return CLASS_OF[fault] in ("sky", "service") or FAULTS[fault].you == WAIT_OUTDOORS


def _listening(wait: Wait) -> list[str]:
    """How to let the channels come, and what a wait takes from the battery."""
    said = [
        tell(
            "Park outdoors with an open view of the sky and leave the radio on for at least {span}. Driving counts "
            "too, and the time need not be in one piece.",
            span=span_text(wait.advised_s),
        )
    ]
    if (wait.most_s or wait.advised_s) > wait.battery_s:
        said.append(
            tell(
                "With the engine off, keep the radio on for no longer than {span} at a time, or have a charger "
                "connected. Otherwise the battery may run low.",
                span=span_text(wait.battery_s),
            )
        )
    return said
