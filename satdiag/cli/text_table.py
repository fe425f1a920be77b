"""A table of the report as columns of plain text."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from satdiag.report.figure import Table


def table_lines(table: Table) -> list[str]:
    """The caption, the heads and the rows; columns of numbers are set to the right."""
    rows = [table.heads, *(tuple(cell.text for cell in row) for row in table.rows)]
    widths = [max(len(row[nth]) for row in rows) for nth in range(len(table.heads))]
    right = [head in table.numeric for head in table.heads]
    lines = []
    for row in rows:
        cells = [
            text.rjust(width) if numeric else text.ljust(width)
            for text, width, numeric in zip(row, widths, right, strict=True)
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return [table.caption, *lines]
