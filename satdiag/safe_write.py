"""Writing files in one piece: whoever looks sees the old file or the whole new one, never half of it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from satdiag.errors import SatdiagError

FORMS = {
    "a page": (".html", ".htm", ".xhtml"),
    "a PDF": (".pdf",),
    "comma-separated values": (".csv", ".tsv"),
    "a workbook": (".xlsx", ".xlsm", ".xls", ".ods"),
    "Parquet": (".parquet", ".pq"),
    "JSON": (".json", ".jsonl"),
    "a plain text": (".txt", ".md"),
    "a picture": (".png", ".svg", ".jpg", ".jpeg", ".gif", ".webp"),
    "a job file": (".satjob",),
    "an archive": (".zip", ".gz", ".tar", ".7z"),
    "TOML": (".toml",),
}
"""What the end of a file's name says that it holds. Other names, and names without an end, say nothing."""


def check_form(place: Path, form: str) -> None:
    """Refuse a name that says another form than is written there: one of `FORMS`, or 'a folder'.

    Raises SatdiagError.
    """
    end = place.suffix.lower()
    for said, ends in FORMS.items():
        if said != form and end in ends:
            such_as = place.with_suffix(FORMS[form][0] if form in FORMS else "").name
            what = f"{place}: {form} is written here, and the name says {said}."
            raise SatdiagError(f"{what} Name it e.g. {such_as}. Nothing was written.")


@contextmanager
def beside(place: Path) -> Iterator[Path]:
    """A path for a new file on the same medium as `place`; what is still there at the end is removed."""
    with tempfile.TemporaryDirectory(prefix=".satdiag-", dir=place.parent, ignore_cleanup_errors=True) as folder:
        yield Path(folder) / "new"


def publish(made: Path, place: Path) -> None:
    """Give a finished file its name. Raises FileExistsError, without a gap between look and act, if it is taken."""
    sync(made)
    try:
        os.link(made, place)
    except FileExistsError:
        raise
    except OSError:  # a medium without hard links
        if place.exists():
            raise FileExistsError(f"{place} exists") from None
        os.replace(made, place)
    sync(place.parent)


def write_new(place: Path, data: bytes) -> None:
    """Write a file that is not there yet. Raises FileExistsError, OSError."""
    with beside(place) as made:
        made.write_bytes(data)
        publish(made, place)


def write_over(place: Path, data: bytes, expected: bytes) -> None:
    """Put new bytes in the place of the `expected` ones, keeping the file's rights.

    Raises FileExistsError if someone else has changed the file since, OSError.
    """
    target = place.resolve()
    with beside(target) as made:
        made.write_bytes(data)
        shutil.copymode(target, made)
        sync(made)
        if target.read_bytes() != expected:
            raise FileExistsError(f"{place} has changed")
        os.replace(made, target)
    sync(target.parent)


def sync(path: Path) -> None:
    """Bring a file to the medium, and a folder where the system can (not on Windows)."""
    is_folder = path.is_dir()
    if is_folder and os.name == "nt":
        return
    handle = os.open(path, os.O_RDONLY if is_folder or os.name != "nt" else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
