"""The report's section on wiring: a summary, then a part each for feed, ring, lead and supply where known."""

from satdiag.report.wiring.section import wiring_parts

__all__ = ["wiring_parts"]
