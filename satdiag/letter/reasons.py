"""The customer's words for a fault, fitted to what the log shows: what plays all the same, what is done already."""

from __future__ import annotations

from dataclasses import replace

from satdiag.diagnosis.remarks import LAPSED
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import translated
from satdiag.letter.account import paid_channels
from satdiag.letter.channels import Groups
from satdiag.letter.customer_words import (
    ARRIVED_IN_PART,
    CUT_DOWN,
    FAULTS,
    FROM_EARLIER,
    PLAY_ALL_THE_SAME,
    PLAYED_FROM_EARLIER,
    Words,
)
from satdiag.letter.done import TO_CUSTOMER, done_for
from satdiag.letter.faults import is_cut_down

FOR_ANOTHER = ("not-activated", "id-mismatch")
"""Faults with which nothing that needs a subscription should play."""


def reason_words(fault: str, job: Job, findings: Findings, groups: Groups) -> Words:
    """The words for a fault of this job. Whoever says them calls `translated` on them."""
    if fault == LAPSED and is_cut_down(findings):
        return CUT_DOWN
    words = FAULTS[fault]
    if fault == "entitlement-not-received" and paid_channels(groups):
        words = replace(words, why=ARRIVED_IN_PART)
    done = done_for(fault, job, findings)
    if done is None:
        return words
    provider = "" if done == "resend-requested" else words.provider
    return replace(words, shop=TO_CUSTOMER[done], provider=provider)


def beside_why(fault: str, job: Job, groups: Groups) -> list[str]:
    """What is to be said beside the reason: why channels play, or played, without a subscription to this receiver."""
    if fault not in FOR_ANOTHER:
        return []
    used = bool(job.sheet.receiver.second_hand)
    if paid_channels(groups):
        return [translated(FROM_EARLIER if used else PLAY_ALL_THE_SAME)]
    return [translated(PLAYED_FROM_EARLIER)] if used and groups.lost else []
