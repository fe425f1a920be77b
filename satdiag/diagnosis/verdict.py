"""The verdict in plain sentences: where the vehicle stands, how sure, what to do, what to tell the customer."""

from __future__ import annotations

from satdiag.diagnosis.estimate import Belief
from satdiag.diagnosis.evidence.channels import CHECKED_ENOUGH
from satdiag.diagnosis.model import Model, load_model
from satdiag.diagnosis.next_step import ASK_LOST, battery_for_waiting, gain_of_moving, next_step
from satdiag.diagnosis.remaining import remaining
from satdiag.diagnosis.remarks import (
    CANNOT_TELL_BELOW,
    LAPSED,
    Case,
    is_cut_down,
    lost_channels,
    no_sound,
    second_faults,
    slow_changes,
    stopped_account,
)
from satdiag.diagnosis.titles import CLASS_WORDS, CUT_DOWN, TITLES
from satdiag.diagnosis.to_customer import to_customer
from satdiag.diagnosis.wording import AS_GOOD_AS_SURE, minutes, percent, plays_of
from satdiag.findings import (
    DiagnosisFindings,
    EntitlementFindings,
    SkyFindings,
    TuningFindings,
    Verdict,
    instant_text,
)
from satdiag.job import Job
from satdiag.language import listed, parted, tell, tell_many, translated
from satdiag.tuning.estimate import estimate_tuning
from satdiag.vocabulary import FAULT_CLASSES

WORTH_NAMING = 0.05
"""A chance from which on a second cause is named (judgement); below, one would read 'under 5 %'."""


def verdict(
    job: Job,
    belief: Belief,
    diagnosis: DiagnosisFindings,
    entitlement: EntitlementFindings,
    tuning: TuningFindings | None = None,
    sky: SkyFindings | None = None,
) -> Verdict:
    """The verdict on the vehicle as it was at the last row; `tuning` is worked out if it is not given.

    `sky` tells what moving is expected to gain, where the surroundings are the fault.
    """
    case = Case(belief, diagnosis, entitlement, tuning or estimate_tuning(job), stopped_account(job))
    state = _state(case)
    model = load_model()
    told = state != "cannot-tell"
    against = _against(state, case)
    step = next_step(state, case, model, bool(against))
    if state == "fault" and is_cut_down(case) and step == translated(model.faults[LAPSED].action):
        step = translated(ASK_LOST)
    battery = battery_for_waiting(state, case, job)
    return Verdict(
        state=state,  # type: ignore[arg-type]
        as_of=instant_text(job.instant(job.end_s)),
        class_=belief.class_,
        fault=belief.fault,
        probability=belief.probability,
        sure=belief.sure and told,
        text=against or _text(state, case),
        do_next=step + _second_action(state, case, model) + gain_of_moving(state, belief, sky) + battery,
        customer=to_customer(state, case, model, bool(against)),
    )


def _state(case: Case) -> str:
    state = _state_by_fault(case.belief, case.entitlement)
    if state in ("works", "filling", "explained") and case.stopped:
        return "cannot-tell"
    if state == "works" and case.is_silent:
        return "cannot-tell"
    if state == "filling" and (case.looks_dead or (case.lost and not case.awaited)):
        return "cannot-tell"
    return state


def _state_by_fault(belief: Belief, entitlement: EntitlementFindings) -> str:
    if belief.posterior.classes()[belief.class_] < CANNOT_TELL_BELOW or belief.class_ == "other":
        return "cannot-tell"
    if belief.class_ != "none":
        only = belief.posterior.p[belief.posterior.space.index_of("partial-package")]
        explained = belief.fault == "partial-package" and only >= 0.5 * belief.probability
        return "explained" if explained else "fault"
    if entitlement.complete:
        return "works"
    if entitlement.expected and entitlement.refused:
        return "filling" if entitlement.authorised or entitlement.exposure_s else "cannot-tell"
    checked = bool(entitlement.authorised) and not entitlement.refused
    enough = (entitlement.checked or 0) >= CHECKED_ENOUGH * (entitlement.expected or 0)
    return "works" if checked and enough else "cannot-tell"


def _text(state: str, case: Case) -> str:
    belief, entitlement = case.belief, case.entitlement
    p = percent(belief.probability)
    if state == "works":
        return _works(case, p)
    if state == "filling" and not entitlement.authorised:
        said = tell_many(
            "Too early to judge, and normal so far: the one expected channel does not play yet, after {wait} awake "
            "and receiving.",
            "Too early to judge, and normal so far: none of {n} expected channels plays yet, after {wait} awake and "
            "receiving.",
            entitlement.expected or 0,
            wait=minutes(entitlement.exposure_s or 0.0),
        )
        return said + _also(case)
    if state == "filling":
        said = tell("Still filling in, and normal so far: {count}.", count=plays_of(entitlement))
        return f"{said} {remaining(case)}".rstrip() + _also(case)
    if state == "explained":
        if belief.probability < AS_GOOD_AS_SURE:
            return tell("Most likely nothing to repair: {why} ({p}).", why=_package(entitlement), p=p) + _also(case)
        return tell("Nothing to repair: {why} ({p}).", why=_package(entitlement), p=p) + _also(case)
    if state == "fault":
        return _fault(case, p)
    return tell("The log does not tell yet which it is; most likely {causes}.", causes=_shortlist(case.diagnosis))


def _works(case: Case, p: str) -> str:
    expected = case.entitlement.expected
    if slow := slow_changes(case.tuning):
        count = plays_of(case.entitlement) if expected else tell("It plays")
        return tell("{count}, but {slow} ({p} that nothing else is wrong).", count=count, slow=slow, p=p)
    if expected:
        return tell("It works: {count} and nothing points to a fault ({p}).", count=plays_of(case.entitlement), p=p)
    return tell("It works: nothing points to a fault ({p}).", p=p)


def _fault(case: Case, p: str) -> str:
    belief = case.belief
    lost = f" {lost_channels(case.lost)}." if case.lost and belief.class_ == "subscription" else ""
    if belief.probability < CANNOT_TELL_BELOW:
        likely = tell(
            "Most likely {cause} ({p}): {causes}.",
            cause=translated(CLASS_WORDS[belief.class_]),
            p=percent(belief.posterior.classes()[belief.class_]),
            causes=_shortlist(case.diagnosis, belief.class_),
        )
        return likely + lost + _besides(case)
    title = translated(CUT_DOWN if is_cut_down(case) else TITLES[belief.fault])
    return f"{title[0].upper()}{title[1:]} ({p}).{lost}{_besides(case)}"


def _besides(case: Case) -> str:
    """A sentence for each other fault that is likelier than not: two can be there at once."""
    chances = case.diagnosis.faults
    titles = ((translated(TITLES[fault]), percent(chances[fault])) for fault in second_faults(case))
    return "".join(" " + tell("Besides, most likely this: {title} ({p}).", title=title, p=p) for title, p in titles)


def _second_action(state: str, case: Case, model: Model) -> str:
    """What to do about the other faults, once no test is to come first."""
    if state != "fault" or case.diagnosis.next_tests:
        return ""
    actions = (translated(model.faults[fault].action) for fault in second_faults(case))
    return "".join(" " + tell("Besides, do this. {action}", action=action) for action in actions)


def _package(entitlement: EntitlementFindings) -> str:
    """What lies outside the package: channels that do not play, if any were seen."""
    silent = any(one.state in ("refused", "missing") for one in entitlement.channels) or entitlement.refused
    if silent:
        return translated(TITLES["partial-package"])
    return tell("the package seems to leave out some channels, none seen refused")


def _against(state: str, case: Case) -> str:
    """What keeps 'it works' or 'still filling in' from being said though no fault stands out; empty if nothing."""
    no_fault = case.belief.class_ == "none" or (case.belief.fault == "partial-package" and case.stopped)
    if state != "cannot-tell" or not no_fault:
        return ""
    count, dead = _count_against(case), percent(case.entitlement.p_account_dead or 0.0)
    if case.stopped:
        return tell(
            "{count}, but the log says that the account {stopped}.", count=count, stopped=translated(case.stopped)
        )
    if case.lost and (case.looks_dead or not case.awaited):
        lost = lost_channels(case.lost)
        if case.looks_dead:
            return tell(
                "{count}, and {lost}; the chance that the account gives nothing now is {dead}. "
                "Waiting does not bring them back.",
                count=count,
                lost=lost,
                dead=dead,
            )
        return tell("{count}, and {lost}. Waiting does not bring them back.", count=count, lost=lost)
    if case.looks_dead and not case.entitlement.complete:
        return tell("{count}, and the chance that the account gives nothing is {dead}.", count=count, dead=dead)
    return tell("{count}, but {silent}.", count=count, silent=no_sound(case.tuning)) if case.is_silent else ""


def _count_against(case: Case) -> str:
    expected = case.entitlement.expected
    if not expected:
        return tell("Nothing else points to a fault")
    if not case.entitlement.authorised:
        return tell_many("None of {n} expected channel plays", "None of {n} expected channels plays", expected)
    return plays_of(case.entitlement)


def _also(case: Case) -> str:
    """A sentence on what is lost, slow or without sound beside the rest."""
    said = [lost_channels(case.lost)] if case.lost else []
    said += [slow] if (slow := slow_changes(case.tuning)) else []
    return " " + tell("But {what}.", what=parted(said)) if said else ""


def _shortlist(diagnosis: DiagnosisFindings, class_: str | None = None) -> str:
    """The two likeliest causes, of all or of one class; a second one that is hardly likely is not named."""
    chances = {**diagnosis.faults, "none": diagnosis.classes["none"], "other": diagnosis.classes["other"]}
    if class_ is not None:
        chances = {fault: diagnosis.faults[fault] for fault in FAULT_CLASSES[class_]}
    ranked = sorted(chances, key=lambda name: -chances[name])
    best = [*ranked[:1], *(name for name in ranked[1:2] if chances[name] >= WORTH_NAMING)]
    return listed([f"{translated(TITLES[name])} ({percent(chances[name])})" for name in best], with_or=True)
