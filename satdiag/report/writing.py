"""Writing the report in one piece: a reader sees the old file or the whole new one, never half of it."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from satdiag.errors import SatdiagError
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.report.page import report_html
from satdiag.safe_write import beside, sync

PAGE_BEGINS = b"<!doctype html>"


def write_report(path: str | os.PathLike[str], job: Job, findings: Findings, *, technician: bool = False) -> None:
    """Write the report of a job to a file, over an older page if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, report_html(job, findings, technician=technician).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(f"{place}: the report cannot be written ({why}). Nothing was changed there.") from None


def check_place(place: Path) -> None:
    """Refuse a place where a report would do harm: a folder, a device, a file that is no web page."""
    if place.is_dir():
        raise SatdiagError(f"{place}: this is a folder. Name a file for the report, such as {place / 'report.html'}.")
    if not place.parent.is_dir():
        raise SatdiagError(f"{place}: there is no folder {place.parent}. Make it first, or name another place.")
    if place.exists() and not (place.is_file() and _is_page(place)):
        raise SatdiagError(f"{place}: what is there is no web page, and is not written over. Name another file.")


def _is_page(place: Path) -> bool:
    """True of a web page and of an empty file."""
    with place.open("rb") as file:
        begin = file.read(len(PAGE_BEGINS)).lower()
    return begin in (b"", PAGE_BEGINS)


def replace_file(place: Path, data: bytes) -> None:
    """Write beside the file, then put it in its place, with the rights of the one that was there."""
    with beside(place) as made:
        made.write_bytes(data)
        if place.exists():
            shutil.copymode(place, made)
        sync(made)
        os.replace(made, place)
    sync(place.parent)
