"""The antenna lead in the report."""

from __future__ import annotations

from satdiag.findings import FeedlineFindings
from satdiag.report.numbers import quantity
from satdiag.report.wiring.part import Part


def feedline_part(found: FeedlineFindings) -> Part:
    """Where along the lead a reflection stands out."""
    if found.fault_m is None:
        return Part(("antenna lead", "no reflection stands out", ""))
    return Part(("antenna lead", "a reflection stands out", f"{quantity(found.fault_m, 'm')} along the lead"))
