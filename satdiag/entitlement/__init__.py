"""What was authorised: the fill-in posterior, predictive times, which channels are late and which will not come."""

from satdiag.entitlement.estimate import estimate_entitlement

__all__ = ["estimate_entitlement"]
