"""The verdict in plain sentences: where the vehicle stands, how sure, what to do, what to tell the customer."""

from __future__ import annotations

from satdiag.diagnosis.estimate import Belief
from satdiag.diagnosis.evidence.channels import CHECKED_ENOUGH
from satdiag.diagnosis.model import Model, load_model
from satdiag.diagnosis.remarks import (
    CANNOT_TELL_BELOW,
    FEWEST_ARRIVALS,
    Case,
    counted,
    lost_channels,
    no_sound,
    slow_changes,
    stopped_account,
)
from satdiag.diagnosis.titles import TITLES
from satdiag.findings import (
    DiagnosisFindings,
    EntitlementFindings,
    Quantiles,
    SkyFindings,
    TuningFindings,
    Verdict,
    instant_text,
)
from satdiag.job import Job
from satdiag.tuning.estimate import estimate_tuning
from satdiag.vocabulary import FAULT_CLASSES
from satdiag.wiring.battery import budget_of_wait

CLASS_WORDS = {
    "antenna": "the antenna is the cause",
    "wiring": "the wiring is the cause",
    "configuration": "the vehicle's configuration is the cause",
    "subscription": "the account with the provider is the cause",
    "sky": "the view of the sky is the cause",
    "receiver": "the receiver is the cause",
    "service": "a disturbance at this place is the cause",
}


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
    return Verdict(
        state=state,  # type: ignore[arg-type]
        as_of=instant_text(job.instant(job.end_s)),
        class_=belief.class_,
        fault=belief.fault,
        probability=belief.probability,
        sure=belief.sure and told,
        text=_text(state, case),
        do_next=_do_next(state, case, model) + _gain(state, belief, sky) + _battery(state, case, job),
        customer=_customer(state, case, model),
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


def percent(p: float) -> str:
    """A probability as a person should see it: whole percent, and never 0 or 100."""
    if p < 0.05:
        return "under 5 %"
    return "over 95 %" if p > 0.95 else f"about {round(p * 100)} %"


def minutes(seconds: float) -> str:
    """Seconds as minutes, no finer than such a prediction is worth; hours when long."""
    if seconds >= 5400:
        return f"{seconds / 3600:.1f} hours"
    count = whole_minutes(seconds)
    return "1 minute" if count == 1 else f"{count} minutes"


def whole_minutes(seconds: float) -> int:
    """Seconds as minutes, to the minute below ten and to five above."""
    step = 1 if seconds < 600 else 5
    return max(step * round(seconds / 60 / step), 1)


def _count(entitlement: EntitlementFindings) -> str:
    total, plays = entitlement.expected or 0, entitlement.authorised or 0
    noun = "channel" if total == 1 else "channels"
    return f"{plays} of {total} expected {noun} {'plays' if 1 in (plays, total) else 'play'}"


def _text(state: str, case: Case) -> str:
    belief, entitlement = case.belief, case.entitlement
    if against := _against(state, case):
        return against
    p = percent(belief.probability)
    if state == "works":
        slow = slow_changes(case.tuning)
        count = _count(entitlement) if entitlement.expected else ""
        if slow:
            return f"{count or 'It plays'}, but {slow} ({p} that nothing else is wrong)."
        return f"It works: {count + ' and nothing' if count else 'Nothing'} points to a fault ({p})."
    if state == "filling" and not entitlement.authorised:
        return (
            f"Too early to judge, and normal so far: none of {entitlement.expected} expected channels plays yet, "
            f"after {minutes(entitlement.exposure_s or 0.0)} awake and receiving.{_also(case)}"
        )
    if state == "filling":
        return f"Still filling in, and normal so far: {_count(entitlement)}{_remaining(case)}.{_also(case)}"
    if state == "explained":
        return f"Nothing to repair: {_package(entitlement)} ({p}).{_also(case)}"
    if state == "fault" and belief.probability < CANNOT_TELL_BELOW:
        p = percent(belief.posterior.classes()[belief.class_])
        return f"Most likely {CLASS_WORDS[belief.class_]} ({p}): {_shortlist(case.diagnosis, belief.class_)}."
    if state == "fault":
        title = TITLES[belief.fault]
        lost = f" {lost_channels(case.lost)}." if case.lost and belief.class_ == "subscription" else ""
        return f"{title[0].upper()}{title[1:]} ({p}).{lost}"
    return f"The log does not tell yet which it is; most likely {_shortlist(case.diagnosis)}."


def _package(entitlement: EntitlementFindings) -> str:
    """What lies outside the package: channels that do not play, if any were seen."""
    silent = any(one.state in ("refused", "missing") for one in entitlement.channels) or entitlement.refused
    return TITLES["partial-package"] if silent else "the package seems to leave out some channels, none seen refused"


def _against(state: str, case: Case) -> str:
    """What keeps 'it works' or 'still filling in' from being said though no fault stands out; empty if nothing."""
    no_fault = case.belief.class_ == "none" or (case.belief.fault == "partial-package" and case.stopped)
    if state != "cannot-tell" or not no_fault:
        return ""
    expected = case.entitlement.expected
    count = _count(case.entitlement) if expected else "Nothing else points to a fault"
    if expected and not case.entitlement.authorised:
        count = f"None of {counted(expected, 'expected channel')} plays"
    if case.stopped:
        return f"{count}, but the log says that the account {case.stopped}."
    if case.lost and (case.looks_dead or not case.awaited):
        dead = case.entitlement.p_account_dead or 0.0
        account = f"; the chance that the account gives nothing now is {percent(dead)}" if case.looks_dead else ""
        return f"{count}, and {lost_channels(case.lost)}{account}. Waiting does not bring them back."
    if case.looks_dead and not case.entitlement.complete:
        dead = case.entitlement.p_account_dead or 0.0
        return f"{count}, and the chance that the account gives nothing is {percent(dead)}."
    if case.is_silent:
        return f"{count}, but {no_sound(case.tuning)}."
    return ""


def _also(case: Case) -> str:
    """A sentence on what is lost, slow or without sound beside the rest."""
    said = [lost_channels(case.lost)] if case.lost else []
    said += [slow] if (slow := slow_changes(case.tuning)) else []
    text = "; ".join(said)
    return f" But {text}." if text else ""


def _remaining(case: Case) -> str:
    """How many of the refused channels should still come, and when; nothing that few arrivals do not bear out."""
    awaited, time = case.awaited, case.entitlement.remaining_to_last_s
    if not awaited:
        return ""
    number, come = len(awaited), round(sum(awaited))
    chance = ""
    if number == 1:
        chance = f"; the chance that the last one comes is {percent(awaited[0])}"
    elif not come:
        return "; whether any of the others comes is doubtful"
    elif sum(awaited) < CANNOT_TELL_BELOW * number:
        chance = f"; about {come} of the other {number} should still come"
    if case.arrived < FEWEST_ARRIVALS:
        return f"{chance}; how long {'that' if chance else 'the others'} may take cannot be told yet"
    if time is None or time.p95 <= 0.0:
        return chance
    span = _span(time.p05, time.p95)
    if chance:
        return f"{chance}, and if so within {span} more awake and receiving"
    return (
        f"; the last of those still to come should be there after about {minutes(time.median)} more awake and "
        f"receiving (90 % range {span})"
    )


def _span(low_s: float, high_s: float) -> str:
    low, high = minutes(low_s), minutes(high_s)
    return f"about {low}" if low == high else f"{low} to {high}"


def _shortlist(diagnosis: DiagnosisFindings, class_: str | None = None) -> str:
    """The two likeliest causes, of all or of one class."""
    chances = {**diagnosis.faults, "none": diagnosis.classes["none"], "other": diagnosis.classes["other"]}
    if class_ is not None:
        chances = {fault: diagnosis.faults[fault] for fault in FAULT_CLASSES[class_]}
    best = sorted(chances, key=lambda name: -chances[name])[:2]
    return " or ".join(f"{TITLES[name]} ({percent(chances[name])})" for name in best)


ASK_ACCOUNT = "Ask the provider whether the account is active for this receiver, and have it activated or renewed."
ASK_LOST = (
    "Ask the provider why channels that played before are refused now: whether the account or the package was "
    "changed."
)
TIME_MORE = (
    "Time some more channel changes under open sky, to channels that play. If they stay slow, look at the signal "
    "level and the antenna lead."
)
FIND_SOUND = (
    "Tune to a channel that plays and wait for its sound. If none comes, check the volume, the source and the way of "
    "the sound."
)


def _do_next(state: str, case: Case, model: Model) -> str:
    belief, diagnosis, entitlement = case.belief, case.diagnosis, case.entitlement
    if _against(state, case):
        return _ask(case)
    if state == "works" and (slow := slow_changes(case.tuning)):
        return FIND_SOUND if "came to sound" in slow else TIME_MORE
    if state == "works":
        return "Nothing. Switch off and on once and listen to two channels as a last check."
    if state == "filling":
        wait = minutes(_advised_wait(case).median)
        return (
            f"Leave the receiver awake outdoors for {wait} more and check the channels again. Use a charger for a "
            "long wait, and never run the engine in a closed garage."
        ) + (f" {ASK_LOST}" if case.lost else "")
    if state in ("fault", "explained") and (belief.sure or not (diagnosis.next_tests or diagnosis.odd_reading)):
        return model.faults[belief.fault].action
    return _look_further(belief, diagnosis, entitlement, model)


def _gain(state: str, belief: Belief, sky: SkyFindings | None) -> str:
    """What moving outdoors is expected to gain, with its range, where the fault is a roof, a building or a tree."""
    if state != "fault" or sky is None or sky.elsewhere is None:
        return ""
    told = [move.text for move in sky.elsewhere.moves if move.fault == belief.fault and move.gain_db is not None]
    return f" By models of such places, {told[0]}." if told else ""


def _battery(state: str, case: Case, job: Job) -> str:
    """What the wait that is advised takes from the vehicle's battery."""
    if state != "filling":
        return ""
    said_s = 60.0 * whole_minutes(_advised_wait(case).median)  # as the sentence before it says
    return f" {budget_of_wait(Quantiles(said_s, said_s, said_s), job.sheet.supply).text}"


def _advised_wait(case: Case) -> Quantiles:
    """How long to wait before looking again: until the last channel, or the usual quarter of an hour."""
    remaining = case.entitlement.remaining_to_last_s if case.arrived >= FEWEST_ARRIVALS else None
    return remaining or Quantiles(USUAL_WAIT_S, USUAL_WAIT_S, USUAL_WAIT_S)


USUAL_WAIT_S = 900.0


def _ask(case: Case) -> str:
    if case.stopped:
        return ASK_ACCOUNT
    if case.lost:
        return ASK_LOST
    return FIND_SOUND if case.is_silent and not case.looks_dead else ASK_ACCOUNT


def _look_further(
    belief: Belief, diagnosis: DiagnosisFindings, entitlement: EntitlementFindings, model: Model
) -> str:
    if entitlement.authorised and not entitlement.refused and not entitlement.complete and entitlement.expected:
        unseen = entitlement.expected - (entitlement.checked or 0)
        return (
            f"Check the remaining {unseen} expected channels too; so far only {entitlement.checked} were looked at."
        )
    if diagnosis.odd_reading is not None:
        odd = diagnosis.odd_reading.text
        return f"Look again at this first, for it fits badly with the rest: {odd}."
    if diagnosis.next_tests:
        return diagnosis.next_tests[0].text
    if belief.fault in model.faults:
        return model.faults[belief.fault].action
    return "Write down levels, locks, a few channel checks and the place, and look again."


def _customer(state: str, case: Case, model: Model) -> str:
    belief, entitlement = case.belief, case.entitlement
    if state == "works" and slow_changes(case.tuning):
        return "Your satellite radio works, but changing channels is not as it should be yet; we are looking into it."
    if state == "works":
        whole = "All the channels you have booked can be heard."
        return f"Your satellite radio works. {whole if entitlement.complete else 'Nothing is wrong with it.'}"
    if state == "filling" and not entitlement.authorised:
        return (
            "Your satellite radio has been set up and is waiting for its first channels. They come by themselves "
            "while it is switched on outdoors; we will look again."
        )
    if state == "filling":
        return _customer_filling(case)
    if state == "explained":
        return f"Your satellite radio works. {model.faults['partial-package'].customer}"
    if state == "fault" and belief.probability < CANNOT_TELL_BELOW:
        return (
            f"Your satellite radio does not play as it should. Most likely {CLASS_WORDS[belief.class_]}; we are "
            "still finding out what exactly."
        )
    if state == "fault":
        hedge = "" if belief.sure else "We are still checking, but most likely this is the reason: "
        return f"Your satellite radio does not play as it should. {hedge}{model.faults[belief.fault].customer}"
    if _against(state, case) and (case.stopped or case.lost or case.looks_dead):
        return "The radio's account with the provider has to be looked at; we will ask the provider."
    return "We have not found the reason yet. More readings are being taken; we will tell you as soon as we know."


def _customer_filling(case: Case) -> str:
    entitlement = case.entitlement
    remaining = entitlement.remaining_to_last_s if case.arrived >= FEWEST_ARRIVALS else None
    wait = (
        f" Give it {minutes(remaining.p95)} of playing outdoors, while driving or on a charger." if remaining else ""
    )
    return (
        f"Your satellite radio works and is still receiving its channels: {entitlement.authorised} of "
        f"{entitlement.expected} play so far, and more come by themselves while it is switched on outdoors.{wait}"
        " If some are still missing then, we will ask the provider about them."
    )
