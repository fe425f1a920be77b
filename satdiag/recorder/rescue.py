"""The last resort for rows that the job file did not take before the recording was stopped: a CSV file elsewhere."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from itertools import count
from pathlib import Path

from satdiag.csv_text import csv_line
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row
from satdiag.safe_write import write_new

COLUMNS = (*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS)


def rescue(rows: Sequence[Row], place: Path, folders: Sequence[Path]) -> Path | None:
    """Write rows to a CSV file in the first of the folders that takes it; None if none does.

    Its columns are those of observations.csv. `place` is the job file they were meant for.
    """
    lines = [COLUMNS, *(tuple(getattr(row, name) for name in COLUMNS) for row in rows)]
    text = "\n".join(csv_line(line) for line in lines) + "\n"
    return _first_that_takes(folders, f"{place.stem}-unwritten", ".csv", text.encode())


def rescue_part(document: str, data: bytes, place: Path, folders: Sequence[Path]) -> Path | None:
    """Write a piece of a document, e.g. sentences, as `rescue` does with rows."""
    name = Path(document)
    return _first_that_takes(folders, f"{place.stem}-unwritten-{name.stem}", name.suffix, data)


def _first_that_takes(folders: Sequence[Path], stem: str, ending: str, data: bytes) -> Path | None:
    for folder in folders:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            return _write(folder, stem, ending, data)
        except OSError:
            continue
    return None


def _write(folder: Path, stem: str, ending: str, data: bytes) -> Path:
    for number in count(1):
        place = folder / f"{stem}{'' if number == 1 else f'-{number}'}{ending}"
        try:
            write_new(place, data)
            return place
        except FileExistsError:
            continue
    raise AssertionError("count does not end")


def places(place: Path, user_folder: Path) -> list[Path]:
    """Where to try: the user folder, the system's temporary folder, the folder the command runs in."""
    return [user_folder / "unwritten", Path(tempfile.gettempdir()), Path(os.curdir), place.parent]
