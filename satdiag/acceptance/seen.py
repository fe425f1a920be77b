"""What all criteria look at, gathered once, and small phrases for their sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from satdiag.acceptance.document import Criterion, State
from satdiag.exposure import ExposureClock, exposure_clock
from satdiag.findings import Findings
from satdiag.job import Job

CHECK_MINUTES = 0.5
"""How long one more check of another channel takes, with finding it and waiting (judgement)."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A job with its findings, and the error rates asked for."""

    job: Job
    findings: Findings
    alpha: float
    beta: float

    @cached_property
    def clock(self) -> ExposureClock:
        """The exposure clock of the job."""
        return exposure_clock(self.job)

    @cached_property
    def expected(self) -> frozenset[int]:
        """The channels that the findings expect to play."""
        from satdiag.entitlement.channels import checks_by_channel, expected_channels

        return expected_channels(self.job, checks_by_channel(self.job, self.clock)).channels


def criterion(
    name: str,
    state: State,
    evidence: str,
    lacking: str = "",
    checks_left: int | None = None,
    minutes_left: float | None = None,
) -> Criterion:
    """A criterion with its title."""
    minutes = None if minutes_left is None else float(minutes_left)
    return Criterion(name, TITLES[name], state, evidence, lacking, checks_left, minutes)


TITLES = {
    "listed": "Listed",
    "locked": "Locked under open sky",
    "open-channel": "Open channel plays",
    "activated": "Activated",
    "share": "Entitled share",
    "changes": "Channel changes",
    "restarts": "No restarts",
    "no-fault": "No fault in sight",
}


def counted(number: int, noun: str) -> str:
    """'1 check', '3 checks'."""
    return f"{number} {noun}" + ("" if number == 1 else "s")


def about_minutes(minutes: float) -> str:
    """'about 4 minutes', never less than one; hours when long."""
    if minutes >= 90:
        return f"about {minutes / 60:.1f} hours"
    return f"about {counted(max(math.ceil(minutes - 1e-9), 1), 'minute')}"
