"""What the log says of the account with the provider."""

from __future__ import annotations

from datetime import datetime

from satdiag.diagnosis.remarks import CANNOT_TELL_BELOW, stopped_account
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.letter.channels import Groups
from satdiag.report.local_time import utc


def account_rows(job: Job) -> list[tuple[str, datetime]]:
    """What was done with the provider, and when (aware, UTC), in order of time."""
    rows = job.select("account")
    return [(str(value), utc(at)) for at, value in zip(rows["at"].to_numpy(), rows["value"], strict=True)]


def last_account(job: Job) -> str | None:
    """What was last done with the provider; None where nothing is written down."""
    rows = account_rows(job)
    return rows[-1][0] if rows else None


def paid_channels(groups: Groups) -> tuple[int, ...]:
    """The channels that play and, as far as is known, need a subscription."""
    return tuple(channel for channel in groups.plays if channel not in groups.open)


def looks_dead(findings: Findings) -> bool:
    """True if the account more likely than not gives nothing now, by the channels."""
    return (findings.entitlement.p_account_dead or 0.0) >= CANNOT_TELL_BELOW


def asks_provider(job: Job, findings: Findings, groups: Groups) -> bool:
    """True if no fault is found, and the account does not fit with what is seen: the provider has to look at it."""
    verdict, stopped = findings.verdict, stopped_account(job) is not None
    no_fault = verdict.class_ == "none" or (verdict.fault == "partial-package" and stopped)
    return verdict.state == "cannot-tell" and no_fault and (stopped or looks_dead(findings) or bool(groups.lost))
