"""Small phrases that several commands print."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from satdiag.job import Job


def content(job: Job) -> str:
    """What a job holds, e.g. '12 observations and 1 other file'."""
    return f"{_counted(len(job.rows), 'observation')} and {_counted(len(job.documents), 'other file')}"


def misnamed(place: Path) -> str:
    """What to say of a path that is to become a job file and is not named like one."""
    return f"{place}: a job file is named NAME.satjob. Write e.g. {place.stem or 'my-job'}.satjob."


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")
