"""The antenna's feed in the report."""

from __future__ import annotations

from satdiag.findings import BiasFindings
from satdiag.report import words
from satdiag.report.numbers import UNKNOWN, quantity
from satdiag.report.wiring.part import Part


def feed_part(found: BiasFindings) -> Part:
    """The state of the feed with what was measured."""
    name = "antenna feed" + (f", {found.path} lead" if found.path else "")
    state = words.BIAS_STATES[found.state] if found.state else UNKNOWN
    return Part((name, state, f"{quantity(found.voltage_v, 'V')}, {quantity(found.current_ma, 'mA')}"))
