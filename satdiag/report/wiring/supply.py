"""The supply in the report."""

from __future__ import annotations

from satdiag.findings import SupplyFindings
from satdiag.language import tell, tell_many
from satdiag.report import words
from satdiag.report.figure import Table
from satdiag.report.local_time import IN_UTC, LocalTime
from satdiag.report.numbers import quantity, unknown
from satdiag.report.wiring.part import Part
from satdiag.report.wiring.supply_figure import over_table, supply_figures


def supply_part(found: SupplyFindings, local: LocalTime = IN_UTC) -> Part:
    """The state of the supply, its levels and the restarts; what they mean in sentences; the course over time."""
    state = words.SUPPLY_STATES[found.state] if found.state else unknown()
    levels = tell_many(
        "lowest {lowest}, middle {middle}, {n} unexpected restart",
        "lowest {lowest}, middle {middle}, {n} unexpected restarts",
        found.resets,
        lowest=quantity(found.minimum_v, "V"),
        middle=quantity(found.median_v, "V"),
    )
    sentences = list(found.sentences)
    if found.budget is not None and found.budget.text:
        sentences.append(found.budget.text)
    figures = supply_figures(found, local)
    return Part((tell("supply at the receiver"), state, levels), tuple(sentences), figures, _tables(found, local))


def _tables(found: SupplyFindings, local: LocalTime) -> tuple[Table, ...]:
    """Over-voltage stands in the open: dips stand behind the figure."""
    over = over_table(found.over_voltages, local)
    return () if over is None else (over,)
