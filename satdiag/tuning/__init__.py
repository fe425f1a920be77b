"""How long channel changes take to audio and to title, attempts that were given up counted as right-censored."""

from satdiag.tuning.estimate import estimate_tuning

__all__ = ["estimate_tuning"]
