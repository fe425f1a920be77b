"""What to tell the customer in two or three sentences."""

from __future__ import annotations

from satdiag.diagnosis.model import Model
from satdiag.diagnosis.remarks import (
    CANNOT_TELL_BELOW,
    FEWEST_ARRIVALS,
    Case,
    is_cut_down,
    is_slow,
    leaves_silent,
    second_faults,
)
from satdiag.diagnosis.titles import CLASS_WORDS
from satdiag.diagnosis.wording import AS_GOOD_AS_SURE, minutes
from satdiag.language import mark, tell, translated

CUT_DOWN_CUSTOMER = mark(
    "Some channels that played before are no longer booked: the subscription is ending, or its package was changed."
)


def to_customer(state: str, case: Case, model: Model, kept_back: bool) -> str:
    """The customer's sentences. `kept_back`: no fault stands out, and yet 'it works' is not said."""
    if state == "works":
        return _works(case)
    if state == "filling" and not case.entitlement.authorised:
        return tell(
            "Your satellite radio has been set up and is waiting for its first channels. They come by themselves "
            "while it is switched on outdoors; we will look again."
        )
    if state == "filling":
        return _filling(case)
    if state == "explained":
        return _explained(case, model)
    if state == "fault":
        return _fault(case, model)
    if kept_back and (case.stopped or case.lost or case.looks_dead):
        return tell("The radio's account with the provider has to be looked at; we will ask the provider.")
    return tell(
        "We have not found the reason yet. More readings are being taken; we will tell you as soon as we know."
    )


def _works(case: Case) -> str:
    if is_slow(case.tuning) or leaves_silent(case.tuning):
        return tell(
            "Your satellite radio works, but changing channels is not as it should be yet; we are looking into it."
        )
    if case.entitlement.complete:
        return tell("Your satellite radio works. All the channels you have booked can be heard.")
    return tell("Your satellite radio works. Nothing is wrong with it.")


def _explained(case: Case, model: Model) -> str:
    reason = translated(model.faults["partial-package"].customer)
    if case.belief.probability >= AS_GOOD_AS_SURE:
        return f"{tell('Your satellite radio works.')} {reason}"
    return tell(
        "Your satellite radio works. If channels are missing, this is most likely the reason; we are still checking: "
        "{reason}",
        reason=reason[0].lower() + reason[1:],  # it goes on after a colon
    )


def _fault(case: Case, model: Model) -> str:
    belief = case.belief
    if belief.probability < CANNOT_TELL_BELOW:
        return tell(
            "Your satellite radio does not play as it should. Most likely {cause}; we are still finding out what "
            "exactly.",
            cause=translated(CLASS_WORDS[belief.class_]),
        )
    reason = translated(CUT_DOWN_CUSTOMER if is_cut_down(case) else model.faults[belief.fault].customer)
    if belief.sure:
        return tell("Your satellite radio does not play as it should. {reason}", reason=reason) + _besides(
            case, model
        )
    said = tell(
        "Your satellite radio does not play as it should. We are still checking, but most likely this is the reason: "
        "{reason}",
        reason=reason[0].lower() + reason[1:],  # it goes on after a colon
    )
    return said + _besides(case, model)


def _besides(case: Case, model: Model) -> str:
    """What else is likelier than not, so that nobody believes that mending one thing will do."""
    reasons = (translated(model.faults[fault].customer) for fault in second_faults(case))
    texts = (tell("Most likely there is this, too: {reason}", reason=one[0].lower() + one[1:]) for one in reasons)
    return "".join(f" {text}" for text in texts)


def _filling(case: Case) -> str:
    entitlement = case.entitlement
    remaining = entitlement.remaining_to_last_s if case.arrived >= FEWEST_ARRIVALS else None
    said = [
        tell(
            "Your satellite radio works and is still receiving its channels: {plays} of {total} play so far, and "
            "more come by themselves while it is switched on outdoors.",
            plays=entitlement.authorised,
            total=entitlement.expected,
        )
    ]
    if remaining:
        wait = minutes(remaining.p95)
        said.append(tell("Give it {wait} of playing outdoors, while driving or on a charger.", wait=wait))
        said.append(tell("If some are still missing then, we will ask the provider about them."))
    else:
        said.append(tell("How long the rest takes cannot be said yet; we will look again."))
    return " ".join(said)
