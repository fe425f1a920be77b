"""What a letter asks of the provider: one thing for each fault of the account, and when to send anything."""

from __future__ import annotations

from satdiag.diagnosis.remarks import CANNOT_TELL_BELOW, LAPSED, stopped_account
from satdiag.diagnosis.wording import AS_GOOD_AS_SURE
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import mark, translated
from satdiag.letter.account import asks_provider, looks_dead, paid_channels
from satdiag.letter.channels import Groups
from satdiag.letter.done import done_for
from satdiag.letter.faults import hindering, is_cut_down, others
from satdiag.vocabulary import CLASS_OF

ACTIONS = {
    "resend": mark(
        "Please send the activation signal again to this receiver. Please tell us when: it will then be switched on, "
        "outdoors, for at least 15 minutes."
    ),
    "resend-when": mark(
        "Please tell us when you send the activation signal that we asked for again. The receiver will then be "
        "switched on, outdoors, for at least 15 minutes."
    ),
    "identifier": mark(
        "Please compare the receiver's identifier with the one in the account, enter the right one, and send the "
        "activation signal to it."
    ),
    "identifier-named": mark(
        "Please compare the receiver's identifier with the one in the account, enter the one named above, and send "
        "the activation signal to it."
    ),
    "activate": mark("Please activate the subscription for this receiver, and confirm to us when that is done."),
    "activate-when": mark(
        "Please confirm the activation that was submitted for this receiver, or tell us what stands in its way."
    ),
    "activate-refused": mark(
        "Please tell us why the activation was refused, and what you need from us to activate this receiver."
    ),
    "account": mark(
        "Please check whether the account is active for this receiver, and tell us what is needed if it is not."
    ),
    "account-plays": mark(
        "Please check the account of this receiver: by what we know it is not active, and yet channels play that, as "
        "far as we know, need a subscription."
    ),
    "package": mark("Please check which channels the package of this account holds, and tell us."),
    "taken": mark(
        "Please check why channels that played before are refused now: was the account or the package changed?"
    ),
    "coverage": mark(
        "Please tell us where your service can be received. Where the vehicle stands it seems not to be."
    ),
    "nothing": mark("Nothing is asked of you. This letter is for your records."),
    "nothing-yet": mark(
        "Nothing is asked of you yet. If channels are still missing after the usual time, we will write again."
    ),
}

OF_FAULT = {
    "entitlement-not-received": "resend",
    "id-mismatch": "identifier",
    "not-activated": "activate",
    LAPSED: "account",
    "out-of-coverage": "coverage",
}
OF_DONE = {"submitted": "activate-when", "rejected": "activate-refused", "resend-requested": "resend-when"}
"""By what was done with the provider, see `done.done_for`."""

ABOUT_ACCOUNT = ("account", "account-plays", "taken")
SENDING = ("resend", "resend-when", "identifier", "identifier-named", "activate", "activate-when", "account")
"""What ends with a signal that the receiver has to take in."""

UNSURE = mark("We are not sure yet that this is part of the trouble. Please look at it all the same.")
HINDERED = mark(
    "Something else keeps the receiver from receiving well, and we see to that first. Please agree with us when the "
    "signal is sent."
)
SEEMS_HINDERED = mark(
    "As it seems, something else keeps the receiver from receiving well, and we see to that first. Please agree with "
    "us when the signal is sent."
)


def asks_of(job: Job, findings: Findings, groups: Groups, named: bool) -> tuple[str, ...]:
    """What is asked, in sentences: for the leading fault, for others likelier than not, and when to send.

    `named`: the letter names the whole identifier.
    """
    first = action_of(job, findings, groups)
    further = {
        _of_fault(fault, job, findings, groups): fault
        for fault in others(findings)
        if CLASS_OF[fault] == "subscription" or fault in OF_FAULT
    }
    further.pop(first, None)
    keys = [] if first == "nothing" and further else [first]
    said = [_text(key, named) for key in keys]
    for key, fault in further.items():
        said.append(_text(key, named))
        if findings.diagnosis.faults[fault] < AS_GOOD_AS_SURE:
            said.append(translated(UNSURE))
    hinders = hindering(findings)
    if hinders and any(key in SENDING for key in (*keys, *further)):
        said.append(translated(HINDERED if hinders >= AS_GOOD_AS_SURE else SEEMS_HINDERED))
    return tuple(said)


def _text(key: str, named: bool) -> str:
    return translated(ACTIONS["identifier-named" if key == "identifier" and named else key])


def action_of(job: Job, findings: Findings, groups: Groups) -> str:
    """The one thing to ask for on account of the leading fault, a key of `ACTIONS`."""
    verdict = findings.verdict
    if verdict.state == "cannot-tell":
        return _unsettled(job, findings, groups)
    if verdict.state == "filling":
        return "taken" if groups.lost else "nothing-yet"
    if verdict.state == "explained":
        return "package" if groups.maybe_outside or groups.locked else "nothing"
    if verdict.state != "fault":
        return "nothing"
    likely = (verdict.probability or 0.0) >= CANNOT_TELL_BELOW
    if verdict.class_ != "subscription":
        return OF_FAULT.get(verdict.fault or "", "nothing") if likely else "nothing"
    return _of_fault(verdict.fault or "", job, findings, groups) if likely else "account"


def _unsettled(job: Job, findings: Findings, groups: Groups) -> str:
    """What to ask while the log does not tell the fault."""
    stopped = stopped_account(job) is not None
    if stopped and paid_channels(groups):
        return "account-plays"
    if stopped or (looks_dead(findings) and (findings.entitlement.refused or asks_provider(job, findings, groups))):
        return "account"
    return "taken" if groups.lost else "nothing"


def _of_fault(fault: str, job: Job, findings: Findings, groups: Groups) -> str:
    """What to ask on account of a fault, by what was done with the provider before."""
    action, done = OF_FAULT.get(fault, "package"), done_for(fault, job, findings)
    if done in OF_DONE:
        return OF_DONE[done]
    if fault == LAPSED and (is_cut_down(findings) or paid_channels(groups)):
        return "taken" if groups.lost else "account-plays"
    return action
