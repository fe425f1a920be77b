"""The wiring section as a whole."""

from __future__ import annotations

from satdiag.findings import WiringFindings
from satdiag.language import tell
from satdiag.report.figure import Table, table
from satdiag.report.local_time import IN_UTC, LocalTime
from satdiag.report.wiring.feed import feed_part
from satdiag.report.wiring.feed_adaptor import adaptor_part
from satdiag.report.wiring.feed_rise import rise_part
from satdiag.report.wiring.feedline import feedline_part
from satdiag.report.wiring.part import Part
from satdiag.report.wiring.ring import ring_part
from satdiag.report.wiring.supply import supply_part


def wiring_parts(found: WiringFindings, local: LocalTime = IN_UTC) -> tuple[Table | None, tuple[Part, ...]]:
    """The summary table and the parts of which something is known; None and no parts if nothing is."""
    parts = (
        *((feed_part(found.bias, local),) if found.bias is not None else ()),
        *((rise_part(found.noise_rise, local),) if found.noise_rise is not None else ()),
        *((adaptor_part(found.adaptor),) if found.adaptor is not None else ()),
        *((ring_part(found.ring),) if found.ring is not None else ()),
        *((feedline_part(found.feedline),) if found.feedline is not None else ()),
        *((supply_part(found.supply, local),) if found.supply is not None else ()),
    )
    if not parts:
        return None, ()
    heads = (tell("part"), tell("state"), tell("measured"))
    return table(tell("What the wiring showed."), heads, [part.row for part in parts]), parts
