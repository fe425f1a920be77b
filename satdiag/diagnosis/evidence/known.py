"""Everything that evidence is drawn from."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.findings import (
    BesideFindings,
    EntitlementFindings,
    SignalFindings,
    SkyFindings,
    TuningFindings,
    WiringFindings,
)
from satdiag.job import Job
from satdiag.signal.open_sky import OpenSky


@dataclass(frozen=True, eq=False)
class Known:
    """Everything that evidence is drawn from.

    `wait`: what a fleet of jobs says of how long channels take. `open_sky`: what the receiver had under an open sky
    in other jobs.
    """

    job: Job
    sky: SkyFindings
    signal: SignalFindings
    entitlement: EntitlementFindings
    tuning: TuningFindings
    wiring: WiringFindings
    beside: BesideFindings | None = None
    wait: WaitPrior | None = None
    open_sky: OpenSky | None = None
