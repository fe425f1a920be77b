"""The letter to the dealer: verdict and how sure, the reasons, measurements with units, tests done and not done."""

from __future__ import annotations

from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.remarks import CANNOT_TELL_BELOW, slow_changes
from satdiag.diagnosis.space import EXPLANATION
from satdiag.diagnosis.titles import CLASS_WORDS, CUT_DOWN, TITLES
from satdiag.diagnosis.wording import AS_GOOD_AS_SURE
from satdiag.findings import Evidence, Findings
from satdiag.job import Job
from satdiag.language import listed, mark, tell, translated
from satdiag.letter.account import asks_provider
from satdiag.letter.channels import groups_of
from satdiag.letter.dealer_words import (
    CAUTIONS,
    PROBABILITY_SCALE,
    RULES,
    SEEMS_EXPLAINED,
    STATES,
    STRENGTH_SCALE,
    STRENGTHS,
)
from satdiag.letter.done import without_done
from satdiag.letter.faults import is_cut_down, others
from satdiag.letter.measured import measured
from satdiag.letter.parts import Fact, Letter, Section
from satdiag.letter.saying import instant_words, span_text, zone_text
from satdiag.letter.waiting import wait_of
from satdiag.report.local_time import local_time_of
from satdiag.report.numbers import percent

MOST_FOR, MOST_AGAINST = 5, 3
LEAST_WEIGHT_DB = 0.5
MOST_RIVALS = 2
LEAST_RIVAL = 0.05

LAST_CHECK = mark("Switch off and on once and listen to two channels as a last check.")
READ_MORE = mark("Write down levels, locks, a few channel checks and the place, and look again.")


def dealer_letter(job: Job, findings: Findings, sender: str = "") -> Letter:
    """The letter to the dealer. The identifier is masked."""
    local = local_time_of(job)
    done, lacking = _tests(findings)
    sections = (
        Section(tell("Verdict"), (*_verdict(job, findings), *_earlier(findings)), facts=tuple(_rivals(findings))),
        Section(tell("What speaks for it"), points=_reasons(findings, 1.0)[:MOST_FOR]),
        Section(tell("What speaks against it"), points=_against(findings)),
        Section(tell("Measured"), facts=tuple(measured(findings, groups_of(job, findings).unheard))),
        Section(tell("Tests"), facts=((tell("Done"), done), (tell("Not done"), lacking))),
        Section(tell("Next step"), (_next_step(job, findings),), points=_cautions(findings), strong=True),
    )
    receiver = job.sheet.receiver
    facts = [(tell("Vehicle"), job.sheet.vehicle)] if job.sheet.vehicle else []
    facts += [
        (tell("Receiver"), receiver.masked_id if receiver.id else tell("not known")),
        (tell("Job"), findings.job),
        (tell("As of"), instant_words(findings.verdict.as_of, local)),
    ]
    return Letter(
        recipient="dealer",
        title=tell("Technical findings on a satellite radio receiver"),
        facts=tuple(facts),
        sections=tuple(section for section in sections if not section.is_empty),
        small=(translated(PROBABILITY_SCALE), translated(STRENGTH_SCALE), zone_text(local)),
        signed=sender,
    )


# --- verdict -----------------------------------------------------------------------------------------------------


def _verdict(job: Job, findings: Findings) -> list[str]:
    verdict = findings.verdict
    if asks_provider(job, findings, groups_of(job, findings)):
        return [verdict.text]
    p = verdict.probability
    unproved = verdict.state == "explained" and (p or 0.0) < AS_GOOD_AS_SURE
    said = [text] if (text := translated(SEEMS_EXPLAINED if unproved else STATES[verdict.state])) else []
    if p is None or verdict.class_ in (None, "other"):
        return said
    if verdict.state in ("works", "filling"):
        said.append(tell("Probability that nothing else is wrong: {p}.", p=percent(p)))
    elif verdict.state in ("fault", "explained") and p < CANNOT_TELL_BELOW:
        class_p = findings.diagnosis.classes.get(verdict.class_ or "", p)
        what = translated(CLASS_WORDS[verdict.class_ or ""])
        said.append(tell("Most likely {what} (probability {p}).", what=what, p=percent(class_p)))
    elif verdict.state in ("fault", "explained"):
        title = translated(CUT_DOWN if is_cut_down(findings) else TITLES[verdict.fault or ""])
        said.append(tell("Most likely {what} (probability {p}).", what=title, p=percent(p)))
    if verdict.state == "fault" and not verdict.sure:
        said.append(tell("This is not certain: it can still turn out otherwise."))
    for fault in others(findings):
        title, chance = translated(TITLES[fault]), percent(findings.diagnosis.faults[fault])
        said.append(tell("Besides, most likely this: {title} ({p}).", title=title, p=chance))
    if verdict.state in ("works", "filling", "explained") and slow_changes(findings.tuning):
        said.append(tell("Channel changes are slow, or come to no sound."))
    return [" ".join(said)]


def _rivals(findings: Findings) -> list[Fact]:
    """The other causes that are not ruled out; apart from them what is likely as well and needs no repair."""
    verdict, diagnosis = findings.verdict, findings.diagnosis
    chances = {**diagnosis.faults, "none": diagnosis.classes.get("none", 0.0), "other": diagnosis.classes["other"]}
    named = verdict.state != "cannot-tell" and (verdict.probability or 0.0) >= CANNOT_TELL_BELOW
    if named:
        chances.pop(verdict.fault or "none", None)
    for fault in others(findings):
        chances.pop(fault, None)
    facts: list[Fact] = []
    if verdict.state == "fault" and chances.get(EXPLANATION, 0.0) >= CANNOT_TELL_BELOW:
        title, p = translated(TITLES[EXPLANATION]), percent(chances.pop(EXPLANATION))
        facts.append((tell("Likely as well, and no fault"), tell("{what} ({p})", what=title, p=p)))
    ranked = sorted(chances, key=lambda name: -chances[name])[:MOST_RIVALS]
    said = [
        tell("{what} ({p})", what=translated(TITLES[name]), p=percent(chances[name]))
        for name in ranked
        if chances[name] >= LEAST_RIVAL
    ]
    label = tell("Also possible") if named else tell("In question")
    return [(label, listed(said, with_or=True)), *facts] if said else facts


def _earlier(findings: Findings) -> list[str]:
    """Faults that were there and are gone."""
    return [
        tell(
            "Earlier, and gone now: {what} (probability {p}).",
            what=translated(TITLES[one.fault]),
            p=percent(one.probability),
        )
        for one in findings.diagnosis.earlier
        if one.fault in TITLES
    ]


# --- reasons and tests -------------------------------------------------------------------------------------------


def _reasons(findings: Findings, sign: float) -> tuple[str, ...]:
    kept = [one for one in findings.diagnosis.evidence if sign * one.weight_db >= LEAST_WEIGHT_DB]
    return tuple(_reason(one) for one in sorted(kept, key=lambda one: -sign * one.weight_db))


def _reason(one: Evidence) -> str:
    text = one.text[:1].upper() + one.text[1:]
    return tell(
        "{reading} ({strength}).", reading=text, strength=translated(STRENGTHS.get(one.strength, one.strength))
    )


def _against(findings: Findings) -> tuple[str, ...]:
    found = _reasons(findings, -1.0)[:MOST_AGAINST]
    if not found and findings.diagnosis.evidence:
        return (tell("No reading of any weight."),)
    return found


def _tests(findings: Findings) -> tuple[str, str]:
    """What was tested, and what was not, of all that the diagnosis knows a test for."""
    model = load_model()
    seen = {one.item for one in findings.diagnosis.evidence}
    if seen & {"satellite-beside"}:
        seen.add("satellite")
    if seen & {"satellite", "repeater"}:
        seen.add("any-path")
    if "entitlement-running" in seen:
        seen.add("entitlement")
    known = list(dict.fromkeys(test.item for test in model.tests))
    done = [translated(model.items[item].what) for item in known if item in seen]
    lacking = [translated(model.items[item].what) for item in known if item not in seen]
    return _joined(done), _joined(lacking)


def _joined(parts: list[str]) -> str:
    return " · ".join(parts) if parts else tell("nothing")


# --- what next ---------------------------------------------------------------------------------------------------


def _next_step(job: Job, findings: Findings) -> str:
    verdict, wait = findings.verdict, wait_of(job, findings)
    if verdict.state == "works":
        return translated(LAST_CHECK)
    if wait is not None:
        return tell(
            "Leave the receiver on outdoors for {span} more and check the channels again.",
            span=span_text(wait.advised_s),
        )
    named = [*([verdict.fault] if verdict.fault else []), *others(findings)]
    return without_done(verdict.do_next, named, job, findings) or translated(READ_MORE)


def _cautions(findings: Findings) -> tuple[str, ...]:
    verdict, tests = findings.verdict, findings.diagnosis.next_tests
    keys: set[str] = set()
    faults = load_model().faults
    if verdict.state in ("fault", "explained"):
        for name in (verdict.fault or "", *others(findings)):
            keys |= set(faults[name].cautions) if name in faults else set()
    if tests and verdict.state != "works":
        keys |= set(tests[0].cautions)
    if verdict.state == "filling":
        keys |= {"battery", "garage"}
    return (*(translated(text) for key, text in CAUTIONS.items() if key in keys), translated(RULES))
