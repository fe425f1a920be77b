"""The state of the antenna's feed, the optical ring, the supply and the lead, from their rows."""

from satdiag.wiring.bias import bias_readings
from satdiag.wiring.estimate import estimate_wiring

__all__ = ["bias_readings", "estimate_wiring"]
