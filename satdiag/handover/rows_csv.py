"""The observations as CSV for a spreadsheet program, in which no cell can act as a formula."""

from __future__ import annotations

import re

from satdiag.csv_text import csv_line
from satdiag.handover.masking import Clean
from satdiag.job import Job, columns_of
from satdiag.rows import parse_number

# What a spreadsheet program may take for a formula at the start of a cell (OWASP, 'CSV Injection').
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
# A program set to another language may split at ; or a tab, and then heeds no quotes that stand within a line.
_NEW_CELL = re.compile(r"(^|[;\t\r\n])(?=\"*[=+\-@])")
_NUMBER_COLUMNS = ("value", "span_s", "elapsed_s")


def rows_csv(job: Job, clean: Clean = str) -> str:
    """The observations with CRLF line ends; numbers stay numbers, and what looks like a formula gets a leading '."""
    columns = columns_of(job.header)
    lines = [columns, *([_cell(name, clean(getattr(row, name))) for name in columns] for row in job.rows)]
    return "".join(csv_line(line) + "\r\n" for line in lines)


def _cell(column: str, text: str) -> str:
    if column in _NUMBER_COLUMNS and parse_number(text) is not None:
        return text
    safe = _NEW_CELL.sub(r"\1'", text)
    return f"'{safe}" if safe.startswith(FORMULA_STARTS) else safe
