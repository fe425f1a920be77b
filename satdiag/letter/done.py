"""What a letter would announce or ask for though the log holds it already, and what is said instead."""

from __future__ import annotations

from satdiag.diagnosis.model import load_model
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import mark, translated
from satdiag.letter.account import last_account
from satdiag.letter.waiting import USUAL_WAIT_S

PLACE = ("swap-place", "better")
TESTED: dict[str, tuple[str, str]] = {
    "antenna-weak": ("swap-antenna", "better"),
    "feed-absent": ("bias", "absent"),
    "receiver-defective": ("swap-receiver", "better"),
    "id-mismatch": ("identity", "mismatch"),
    "indoors": PLACE,
    "obstructed": PLACE,
    "interference": PLACE,
}
"""The test that the words of a fault announce, and what came of it where it was done and spoke for the fault."""

ASKED: dict[str, tuple[str, ...]] = {
    "not-activated": ("submitted", "rejected"),
    "entitlement-not-received": ("resend-requested",),
}
"""What was last done with the provider, where the words of a fault would ask for the same once more."""

BETTER_THERE = mark("At another place the radio did better. We check its channels once more at such a place.")

TO_CUSTOMER = {
    "antenna-weak": mark("An antenna that is known to be good did better, so we change the antenna."),
    "feed-absent": mark("We measured this power: it is missing. The receiver has to be repaired or exchanged."),
    "receiver-defective": mark("Another receiver did better here. If this holds, yours is repaired or exchanged."),
    "id-mismatch": mark("We give the provider the right number of your receiver."),
    "indoors": mark("At another place the radio did better. We check its channels once more outdoors."),
    "obstructed": BETTER_THERE,
    "interference": BETTER_THERE,
    "submitted": mark("We have asked the provider for the activation, and check the channels once it is done."),
    "rejected": mark("We ask the provider what is still needed for the activation."),
    "resend-requested": mark(
        "We have asked the provider to send the signal again, and check the channels afterwards."
    ),
}
TO_DEALER = {
    "antenna-weak": mark("A known-good antenna was better: replace the antenna unit, and check again."),
    "feed-absent": mark(
        "The feed was measured, and there is none: exchange the receiver or have it repaired, and measure again."
    ),
    "id-mismatch": mark(
        "Label, screen and account were compared and do not agree: have the account moved to the identifier on the "
        "screen."
    ),
    "submitted": mark(
        "The activation is submitted: ask the provider for its confirmation, and whether the identifier is right."
    ),
    "rejected": mark(
        "Ask the provider why the activation was refused, then submit it again with the identifier read from the "
        "screen."
    ),
    "resend-requested": mark(
        "A resend has been asked for: have the receiver on, outdoors, when it is sent, leave it on for 15 minutes, "
        "and check the channels again."
    ),
}
"""By fault, or by what was done with the provider. A fault that is not there keeps its usual action."""


def done_for(fault: str, job: Job, findings: Findings) -> str | None:
    """What is done already of that which the words of a fault ask for: a key of the texts; None if nothing is."""
    asked = last_account(job)
    if asked is not None and asked in ASKED.get(fault, ()):
        heard_s = findings.entitlement.exposure_since_resend_s or 0.0
        return None if asked == "resend-requested" and heard_s >= USUAL_WAIT_S else asked
    seen = {(one.item, one.state) for one in findings.diagnosis.evidence}
    return fault if TESTED.get(fault) in seen else None


def without_done(step: str, faults: list[str], job: Job, findings: Findings) -> str:
    """A next step in the language in use, with what is done already left out of the actions of these faults."""
    model = load_model()
    for fault in faults:
        key = done_for(fault, job, findings)
        if key in TO_DEALER and fault in model.faults:
            step = step.replace(translated(model.faults[fault].action), translated(TO_DEALER[key]))
    return step
