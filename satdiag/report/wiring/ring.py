"""The optical ring in the report."""

from __future__ import annotations

from satdiag.findings import RingFindings
from satdiag.report import words
from satdiag.report.numbers import UNKNOWN, duration
from satdiag.report.wiring.part import Part


def ring_part(found: RingFindings) -> Part:
    """The state of the ring, which nodes answer, how long it was open."""
    said = [f"answer: {', '.join(found.nodes_present)}" if found.nodes_present else ""]
    said.append(f"do not answer: {', '.join(found.nodes_absent)}" if found.nodes_absent else "")
    said.append(f"other sources {words.OTHER_SOURCES[found.other_sources]}" if found.other_sources else "")
    said.append(f"open for {duration(found.open_s)} in all" if found.open_s else "")
    return Part(
        ("optical ring", words.RING_STATES[found.state] if found.state else UNKNOWN, "; ".join(filter(None, said)))
    )
