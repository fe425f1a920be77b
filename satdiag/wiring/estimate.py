"""The findings on wiring: feed, ring, supply and lead, each from its own rows."""

from __future__ import annotations

from satdiag.findings import WiringFindings
from satdiag.job import Job
from satdiag.wiring.feed import feed_findings
from satdiag.wiring.feedline import feedline_findings
from satdiag.wiring.ring import ring_findings
from satdiag.wiring.supply import supply_findings


def estimate_wiring(job: Job) -> WiringFindings:
    """The antenna's feed, the optical ring and the supply at the last row, and the lead from its sweep."""
    feed = feed_findings(job)
    ring, of_ring = ring_findings(job)
    supply, of_supply = supply_findings(job)
    lead, of_lead = feedline_findings(job)
    could_not = (*feed.could_not, *of_ring, *of_supply, *of_lead)
    return WiringFindings(
        noise_rise=feed.noise_rise,
        adaptor=feed.adaptor,
        bias=feed.bias,
        ring=ring,
        supply=supply,
        feedline=lead,
        could_not=could_not,
    )
