"""Everything that evidence is drawn from."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.findings import (
    BesideFindings,
    EntitlementFindings,
    SignalFindings,
    SkyFindings,
    TuningFindings,
    WiringFindings,
)
from satdiag.job import Job


@dataclass(frozen=True, eq=False)
class Known:
    """Everything that evidence is drawn from."""

    job: Job
    sky: SkyFindings
    signal: SignalFindings
    entitlement: EntitlementFindings
    tuning: TuningFindings
    wiring: WiringFindings
    beside: BesideFindings | None = None
