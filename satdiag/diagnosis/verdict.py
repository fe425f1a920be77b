"""The verdict in plain sentences: where the vehicle stands, how sure, what to do, what to tell the customer."""

from __future__ import annotations

from satdiag.diagnosis.estimate import Belief
from satdiag.diagnosis.evidence import CHECKED_ENOUGH
from satdiag.diagnosis.model import HYPOTHESES, Model, load_model
from satdiag.findings import DiagnosisFindings, EntitlementFindings, Quantiles, Verdict, instant_text
from satdiag.job import Job
from satdiag.vocabulary import FAULT_CLASSES

CANNOT_TELL_BELOW = 0.5
TITLES = {
    "antenna-open": "the antenna's feed is open: no DC path to its amplifier",
    "antenna-short": "the antenna's feed is shorted",
    "antenna-weak": "the antenna or its amplifier is too weak",
    "feed-swapped": "the receiver sits on the wrong antenna conductor",
    "feed-lossy": "the antenna lead or a connector loses too much signal",
    "supply-dropout": "the receiver's supply drops out and it restarts",
    "ring-broken": "the optical ring is open",
    "ring-order": "the optical ring's nodes are in the wrong places",
    "node-unpowered": "the receiver does not answer on a working ring",
    "not-configured": "the vehicle's stored equipment does not hold the receiver",
    "audio-path": "the programme is received but the vehicle does not play it",
    "not-activated": "the account was never activated, or was refused",
    "account-lapsed": "the account was active and is no longer",
    "id-mismatch": "the account is for another receiver's identifier",
    "entitlement-not-received": "the account is confirmed, but its message has not reached the receiver",
    "partial-package": "the channels that are refused are not in the package",
    "indoors": "a roof over the vehicle blocks the signal",
    "obstructed": "something stands in the way to a satellite",
    "foliage": "trees take the signal for moments",
    "out-of-coverage": "the satellites are too low here, or the service is not offered",
    "receiver-defective": "the receiver itself has failed",
    "feed-absent": "the receiver does not feed the antenna",
    "interference": "a strong emission at this place disturbs the reception",
    "none": "nothing is wrong",
    "other": "something that is not in the list of known faults",
}

CLASS_WORDS = {
    "antenna": "the antenna is the cause",
    "wiring": "the wiring is the cause",
    "configuration": "the vehicle's configuration is the cause",
    "subscription": "the account with the provider is the cause",
    "sky": "the view of the sky is the cause",
    "receiver": "the receiver is the cause",
    "service": "a disturbance at this place is the cause",
}


def verdict(job: Job, belief: Belief, diagnosis: DiagnosisFindings, entitlement: EntitlementFindings) -> Verdict:
    """The verdict on the vehicle as it was at the last row."""
    state = _state(belief, entitlement)
    model = load_model()
    told = state != "cannot-tell"
    return Verdict(
        state=state,  # type: ignore[arg-type]
        as_of=instant_text(job.instant(job.end_s)),
        class_=belief.class_,
        fault=belief.fault,
        probability=belief.probability,
        sure=belief.sure and told,
        text=_text(state, belief, diagnosis, entitlement),
        do_next=_do_next(state, belief, diagnosis, entitlement, model),
        customer=_customer(state, belief, entitlement, model),
    )


def _state(belief: Belief, entitlement: EntitlementFindings) -> str:
    if belief.posterior.classes()[belief.class_] < CANNOT_TELL_BELOW or belief.class_ == "other":
        return "cannot-tell"
    if belief.class_ != "none":
        only = belief.posterior.p[_index_of(belief.fault)]
        explained = belief.fault == "partial-package" and only >= 0.5 * belief.probability
        return "explained" if explained else "fault"
    if entitlement.complete:
        return "works"
    if entitlement.expected and entitlement.refused:
        return "filling" if entitlement.authorised or entitlement.exposure_s else "cannot-tell"
    checked = bool(entitlement.authorised) and not entitlement.refused
    enough = (entitlement.checked or 0) >= CHECKED_ENOUGH * (entitlement.expected or 0)
    return "works" if checked and enough else "cannot-tell"


def _index_of(fault: str) -> int:
    return HYPOTHESES.index(frozenset([fault]))


def percent(p: float) -> str:
    """A probability as a person should see it: whole percent, and never 0 or 100."""
    if p < 0.05:
        return "under 5 %"
    return "over 95 %" if p > 0.95 else f"about {round(p * 100)} %"


def minutes(seconds: float) -> str:
    """Seconds as minutes, no finer than such a prediction is worth; hours when long."""
    if seconds >= 5400:
        return f"{seconds / 3600:.1f} hours"
    step = 1 if seconds < 600 else 5
    count = max(step * round(seconds / 60 / step), 1)
    return "1 minute" if count == 1 else f"{count} minutes"


def _count(entitlement: EntitlementFindings) -> str:
    return f"{entitlement.authorised} of {entitlement.expected} expected channels play"


def _text(state: str, belief: Belief, diagnosis: DiagnosisFindings, entitlement: EntitlementFindings) -> str:
    if state == "works":
        counted = f"{_count(entitlement)} and nothing" if entitlement.expected else "Nothing"
        return f"It works: {counted} points to a fault ({percent(belief.probability)})."
    if state == "filling" and not entitlement.authorised:
        return (
            f"Too early to judge, and normal so far: none of {entitlement.expected} expected channels plays yet, "
            f"after {minutes(entitlement.exposure_s or 0.0)} awake and receiving."
        )
    if state == "filling":
        rest = _remaining(entitlement.remaining_to_last_s)
        return f"Still filling in, and normal so far: {_count(entitlement)}{rest}."
    if state == "explained":
        return f"Nothing to repair: {TITLES['partial-package']} ({percent(belief.probability)})."
    if state == "fault" and belief.probability < CANNOT_TELL_BELOW:
        p = percent(belief.posterior.classes()[belief.class_])
        return f"Most likely {CLASS_WORDS[belief.class_]} ({p}): {_shortlist(diagnosis, belief.class_)}."
    if state == "fault":
        title = TITLES[belief.fault]
        return f"{title[0].upper()}{title[1:]} ({percent(belief.probability)})."
    return f"The log does not tell yet which it is; most likely {_shortlist(diagnosis)}."


def _remaining(remaining: Quantiles | None) -> str:
    if remaining is None:
        return ""
    return (
        f"; the last of those still to come should be there after about {minutes(remaining.median)} more awake and "
        "receiving "
        f"(90 % range {minutes(remaining.p05)} to {minutes(remaining.p95)})"
    )


def _shortlist(diagnosis: DiagnosisFindings, class_: str | None = None) -> str:
    """The two likeliest causes, of all or of one class."""
    chances = {**diagnosis.faults, "none": diagnosis.classes["none"], "other": diagnosis.classes["other"]}
    if class_ is not None:
        chances = {fault: diagnosis.faults[fault] for fault in FAULT_CLASSES[class_]}
    best = sorted(chances, key=lambda name: -chances[name])[:2]
    return " or ".join(f"{TITLES[name]} ({percent(chances[name])})" for name in best)


def _do_next(
    state: str,
    belief: Belief,
    diagnosis: DiagnosisFindings,
    entitlement: EntitlementFindings,
    model: Model,
) -> str:
    if state == "works":
        return "Nothing. Switch off and on once and listen to two channels as a last check."
    if state == "filling":
        remaining = entitlement.remaining_to_last_s
        wait = minutes(remaining.median) if remaining else "15 minutes"
        return (
            f"Leave the receiver awake outdoors for {wait} more and check the channels again. Use a charger for a "
            "long wait, and never run the engine in a closed garage."
        )
    if state in ("fault", "explained") and (belief.sure or not diagnosis.next_tests):
        return model.faults[belief.fault].action
    if entitlement.authorised and not entitlement.refused and not entitlement.complete and entitlement.expected:
        unseen = entitlement.expected - (entitlement.checked or 0)
        return (
            f"Check the remaining {unseen} expected channels too; so far only {entitlement.checked} were looked at."
        )
    if diagnosis.next_tests:
        return diagnosis.next_tests[0].text
    if belief.fault in model.faults:
        return model.faults[belief.fault].action
    return "Write down levels, locks, a few channel checks and the place, and look again."


def _customer(state: str, belief: Belief, entitlement: EntitlementFindings, model: Model) -> str:
    if state == "works":
        whole = "All the channels you have booked can be heard."
        return f"Your satellite radio works. {whole if entitlement.complete else 'Nothing is wrong with it.'}"
    if state == "filling" and not entitlement.authorised:
        return (
            "Your satellite radio has been set up and is waiting for its first channels. They come by themselves "
            "while it is switched on outdoors; we will look again."
        )
    if state == "filling":
        remaining = entitlement.remaining_to_last_s
        wait = (
            f" Give it {minutes(remaining.p95)} of playing outdoors, while driving or on a charger."
            if remaining
            else ""
        )
        return (
            f"Your satellite radio works and is still receiving its channels: {entitlement.authorised} of "
            f"{entitlement.expected} play so far, and more come by themselves while it is switched on outdoors.{wait}"
            " If some are still missing then, we will ask the provider about them."
        )
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
    return "We have not found the reason yet. More readings are being taken; we will tell you as soon as we know."
