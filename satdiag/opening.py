"""Open a job in either of its two forms, and add rows to it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from satdiag.errors import NotAJob, SatdiagError
from satdiag.folder import append_to_folder, read_folder
from satdiag.job import Job
from satdiag.rows import Row


def open_job(path: str | os.PathLike[str]) -> Job:
    """The job at a path: a job folder or a job file. Raises NotAJob, BadInput, StoreProblem."""
    place = Path(path)
    if is_folder(place):
        return read_folder(place)
    from satdiag.store import read_job_file

    try:
        return read_job_file(place)
    except NotAJob as error:
        if place.suffix != ".satjob" and (place.parent / "job.toml").is_file():
            raise NotAJob(f"{place}: one file of a job folder. Name the folder: {place.parent}") from None
        raise error from None


def add_rows(path: str | os.PathLike[str], rows: Sequence[Row]) -> Job:
    """Add rows to the end of the job at a path, all or none; returns the job with them.

    Raises NotAJob, BadInput, StoreProblem, SatdiagError.
    """
    place = Path(path)
    if is_folder(place):
        return append_to_folder(place, rows)
    from satdiag.store import append_rows

    return append_rows(place, rows)


def is_folder(place: Path) -> bool:
    """True for a folder, False for a file. Raises NotAJob if there is neither."""
    try:
        if place.is_dir():
            return True
        there = place.exists()
    except OSError as error:  # a name too long, a folder that may not be entered
        raise SatdiagError(f"{place}: cannot be read ({error.strerror}).") from None
    if not there:
        raise NotAJob(f"{place}: nothing there. Name a job folder or a job file (NAME.satjob).")
    return False
