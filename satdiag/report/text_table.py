"""A table of the report as columns of plain text."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from satdiag.report.figure import Table


def columns(rows: Sequence[Sequence[str]], to_the_right: Collection[int] = ()) -> list[str]:
    """Rows as lines with their columns under each other; the places in `to_the_right` are set to the right."""
    widths = [max(len(row[nth]) for row in rows) for nth in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            text.rjust(width) if nth in to_the_right else text.ljust(width)
            for nth, (text, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return lines


def table_lines(whole: Table, numbers_right: bool = False) -> list[str]:
    """The caption, the heads and the rows; with `numbers_right` columns of numbers are set to the right."""
    rows = [whole.heads, *(tuple(cell.text for cell in row) for row in whole.rows)]
    right = [nth for nth, head in enumerate(whole.heads) if numbers_right and head in whole.numeric]
    return [whole.caption, *columns(rows, right)]
