"""Many small files of a month joined into one: a file of a few rows is mostly the description of its columns.

The joined file names those that it replaces. Where a run was killed before they were removed, readers pass them by,
and the next run removes them: no row is lost or doubled at any instant.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from satdiag.fleet.columns import MONTH, TABLES
from satdiag.fleet.dataset import JOINED_END, REPLACES, SCHEMAS, arrow, parquet, replaced_files, sets
from satdiag.safe_write import beside, publish

FEWEST_FILES = 16
"""Fewer small files of a month are left as they are."""

SMALL_BYTES = 8_000_000
"""A larger file is left alone, so that nothing is copied over and over."""

ROWS_AT_A_TIME = 50_000


def join_small_files(directory: Path, run: str) -> None:
    """Join the small files of each table and month; `run` begins the name. Only for the one who holds the lock.

    Raises OSError, ArrowException.
    """
    for name in TABLES:
        for folder in sorted((directory / name).glob(f"{MONTH}=*")):
            parts = [file for file in sorted(folder.glob("*.parquet")) if file.stat().st_size < SMALL_BYTES]
            if len(parts) >= FEWEST_FILES:
                _join(folder / f"{run}{JOINED_END}", parts, SCHEMAS[name])
                remove_replaced(folder)


def remove_replaced(folder: Path) -> None:
    """Remove the files of a month's folder that a joined one replaces. Raises OSError."""
    for file in replaced_files(folder):
        file.unlink(missing_ok=True)


def _join(place: Path, parts: Sequence[Path], schema: Any) -> None:
    said = {REPLACES: json.dumps([part.name for part in parts])}
    with beside(place) as made:
        with parquet.ParquetWriter(made, schema.with_metadata(said), compression="zstd") as writer:
            for table in _tables(parts, schema):
                writer.write_table(table.replace_schema_metadata(said))
        publish(made, place)


def _tables(parts: Sequence[Path], schema: Any) -> Iterator[Any]:
    waiting: list[Any] = []
    for part in parts:
        # by the schema: an older satdiag may have written fewer columns
        waiting.append(sets.dataset(str(part), schema=schema, format="parquet").to_table().replace_schema_metadata())
        if sum(len(table) for table in waiting) >= ROWS_AT_A_TIME:
            yield arrow.concat_tables(waiting)
            waiting = []
    if waiting:
        yield arrow.concat_tables(waiting)
