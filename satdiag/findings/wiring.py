"""Feed, ring, supply and feedline together."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.findings.feed import AdaptorFindings, BiasFindings, NoiseRiseFindings
from satdiag.findings.feedline import FeedlineFindings
from satdiag.findings.ring import RingFindings
from satdiag.findings.supply import SupplyFindings


@dataclass(frozen=True)
class WiringFindings:
    """States of feed, ring, supply and lead, from their rows."""

    bias: BiasFindings | None = None
    ring: RingFindings | None = None
    supply: SupplyFindings | None = None
    feedline: FeedlineFindings | None = None
    could_not: tuple[str, ...] = ()
    noise_rise: NoiseRiseFindings | None = None
    adaptor: AdaptorFindings | None = None
