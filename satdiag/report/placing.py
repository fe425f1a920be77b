"""Putting a file where a person asked for it: nothing of another kind is written over, and never half of it."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from satdiag.errors import SatdiagError
from satdiag.safe_write import beside, check_form, sync

PAGE_BEGINS = b"<!doctype html>"
PDF_BEGINS = b"%PDF-"
"""The header of every PDF file (ISO 32000-2, 7.5.2)."""


def check_place(place: Path) -> None:
    """Refuse a place where a page would do harm: a folder, a device, no web page. Raises SatdiagError."""
    _check(place, PAGE_BEGINS, "web page", "report.html")
    check_form(place, "a page")


def check_pdf_place(place: Path) -> None:
    """Refuse a place where a PDF would do harm: a folder, a device, no PDF. Raises SatdiagError."""
    _check(place, PDF_BEGINS, "PDF", "report.pdf")
    check_form(place, "a PDF")


def _check(place: Path, begins: bytes, kind: str, such_as: str) -> None:
    if place.is_dir():
        raise SatdiagError(f"{place}: this is a folder. Name a file for the report, such as {place / such_as}.")
    if not place.parent.is_dir():
        raise SatdiagError(f"{place}: there is no folder {place.parent}. Make it first, or name another place.")
    if place.exists() and not (place.is_file() and _begins_with(place, begins)):
        raise SatdiagError(f"{place}: what is there is no {kind}, and is not written over. Name another file.")


def _begins_with(place: Path, begins: bytes) -> bool:
    """True of a file of that kind and of an empty file."""
    with place.open("rb") as file:
        return file.read(len(begins)).lower() in (b"", begins.lower())


def replace_file(place: Path, data: bytes) -> None:
    """Write beside the file, then put it in its place, with the rights of the one that was there. Raises OSError."""
    with beside(place) as made:
        made.write_bytes(data)
        if place.exists():
            shutil.copymode(place, made)
        sync(made)
        os.replace(made, place)
    sync(place.parent)
