"""Long logs by column: the same rows, checks and table as `rows`, worked out for many rows at once.

Whatever is out of the ordinary is left to `rows` and `csv_text`, which alone say what is wrong with a log.
"""

from satdiag.bulk.arrays import read_arrays
from satdiag.bulk.later import rows_with, with_later
from satdiag.bulk.lines import lines_of
from satdiag.bulk.read import read_columns
from satdiag.bulk.sound import is_sound
from satdiag.bulk.table import ColumnRows, RowsGathered, columns_of_rows, frame_of, ids_of, runs_of
from satdiag.bulk.used import used_rows

__all__ = [
    "ColumnRows",
    "RowsGathered",
    "columns_of_rows",
    "frame_of",
    "ids_of",
    "is_sound",
    "lines_of",
    "read_arrays",
    "read_columns",
    "rows_with",
    "runs_of",
    "used_rows",
    "with_later",
]
