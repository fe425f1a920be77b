"""The supply in the report."""

from __future__ import annotations

from satdiag.findings import SupplyFindings
from satdiag.report import words
from satdiag.report.numbers import UNKNOWN, quantity
from satdiag.report.wiring.part import Part


def supply_part(found: SupplyFindings) -> Part:
    """The state of the supply, its levels and the restarts."""
    restarts = "1 unexpected restart" if found.resets == 1 else f"{found.resets} unexpected restarts"
    state = words.SUPPLY_STATES[found.state] if found.state else UNKNOWN
    levels = f"lowest {quantity(found.minimum_v, 'V')}, middle {quantity(found.median_v, 'V')}, {restarts}"
    return Part(("supply at the receiver", state, levels))
