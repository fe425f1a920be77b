"""How long to wait for channels: until when at the most, how long to begin with, what the battery allows."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.diagnosis.remarks import FEWEST_ARRIVALS
from satdiag.findings import EntitlementFindings, Findings
from satdiag.job import Job
from satdiag.language import clock_text, moment_text
from satdiag.letter.saying import end_of_wait, rounded_up
from satdiag.report.local_time import local_time_of, parse_instant
from satdiag.sheet import Supply
from satdiag.wiring.battery import NEEDS_CHARGER_SHARE, USUAL_AWAKE_A, USUAL_CAPACITY_AH

USUAL_WAIT_S = 900.0
"""How long to listen before looking again, where too few channels came to say (common practice, no source)."""

LONGEST_BY_THE_CLOCK_S = 12 * 3600.0
"""Nobody leaves a radio on without a break for longer: then only the hours of listening are told (judgement)."""


@dataclass(frozen=True)
class Wait:
    """A wait of listening from the last row on. `most_s` and `middle_s`: the 95 % and 50 % quantile of the time to
    the last channel that comes; `most_s` is None where too few channels came to tell.

    `start`, `until`: in words, the clock time of the last row and of the end if the receiver listens throughout;
    `advised_s`: how long to listen before looking again; `battery_s`: how long the battery bears without a charger.
    """

    most_s: float | None
    middle_s: float
    advised_s: float
    battery_s: float
    start: str
    until: str | None


def wait_of(job: Job, findings: Findings) -> Wait | None:
    """The wait for channels that still come; None unless the verdict is 'still filling in'."""
    verdict, left = findings.verdict, findings.entitlement.remaining_to_last_s
    if verdict.state != "filling" or verdict.as_of is None:
        return None
    local = local_time_of(job)
    now = local.wall(parse_instant(verdict.as_of))
    battery_s = seconds_without_charger(job.sheet.supply)
    if left is None or left.p95 <= 0.0 or arrived(findings.entitlement) < FEWEST_ARRIVALS:
        return Wait(None, USUAL_WAIT_S, USUAL_WAIT_S, battery_s, moment_text(now), None)
    most_s = rounded_up(left.p95)
    until = None
    if most_s <= LONGEST_BY_THE_CLOCK_S:
        until = moment_text(end_of_wait(verdict.as_of, most_s, local))
    start = clock_text(now) if until else moment_text(now)
    return Wait(most_s, rounded_up(left.median), max(rounded_up(left.median), 60.0), battery_s, start, until)


def arrived(entitlement: EntitlementFindings) -> int:
    """Channels that play and came in while somebody watched."""
    steps = entitlement.steps
    return max((entitlement.authorised or 0) - (steps.held if steps else 0), 0)


def seconds_without_charger(supply: Supply) -> float:
    """How long the battery bears the vehicle awake, on the careful side, in whole five minutes and one at least.

    Time = share x capacity / current: the share that calls for a charger, the job's own figures or else the smallest
    usual battery and the greatest usual current.
    """
    capacity_ah = supply.battery_ah or USUAL_CAPACITY_AH[0]
    current_a = supply.awake_a or USUAL_AWAKE_A[-1]
    minutes = NEEDS_CHARGER_SHARE * capacity_ah / current_a * 60.0
    return max(minutes // 5.0 * 5.0, 5.0) * 60.0
