"""The findings on wiring: feed, ring, supply and lead, each from its own rows."""

from __future__ import annotations

from satdiag.findings import WiringFindings
from satdiag.job import Job
from satdiag.wiring.bias import bias_findings
from satdiag.wiring.ring import ring_findings
from satdiag.wiring.supply import supply_findings

FEEDLINE = "feedline.s1p"


def estimate_wiring(job: Job) -> WiringFindings:
    """The states of the antenna's feed, the optical ring and the supply at the last row."""
    bias, of_bias = bias_findings(job)
    ring, of_ring = ring_findings(job)
    supply, of_supply = supply_findings(job)
    of_lead = (
        (f"{FEEDLINE} is kept with the job; this version does not read it",) if FEEDLINE in job.documents else ()
    )
    return WiringFindings(bias=bias, ring=ring, supply=supply, could_not=(*of_bias, *of_ring, *of_supply, *of_lead))
