"""What the log says of the account with the provider."""

from __future__ import annotations

from datetime import datetime

from satdiag.job import Job
from satdiag.report.local_time import utc


def account_rows(job: Job) -> list[tuple[str, datetime]]:
    """What was done with the provider, and when (aware, UTC), in order of time."""
    rows = job.select("account")
    return [(str(value), utc(at)) for at, value in zip(rows["at"].to_numpy(), rows["value"], strict=True)]


def resend_is_pending(job: Job) -> bool:
    """True if the last that was done was to ask for a resend."""
    rows = account_rows(job)
    return bool(rows) and rows[-1][0] == "resend-requested"
