"""Small phrases that several commands print."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from satdiag.language import counted

if TYPE_CHECKING:
    from satdiag.job import Job


def content(job: Job) -> str:
    """What a job holds, e.g. '12 observations and 1 other file'."""
    return f"{counted(len(job.rows), 'observation')} and {counted(len(job.documents), 'other file')}"


def moved_share(one: Mapping[str, Any]) -> str:
    """A share `before` and `now`, e.g. '4.0% -> under 0.1%'. What is small is not nothing, nor what is large all."""
    return f"{_share(one['before'])} -> {_share(one['now'])}"


def _share(share: float) -> str:
    text = f"{share:.1%}"
    if text == "0.0%" and share > 0.0:
        return "under 0.1%"
    return "over 99.9%" if text == "100.0%" and share < 1.0 else text


def misnamed(place: Path) -> str:
    """What to say of a path that is to become a job file and is not named like one."""
    return f"{place}: a job file is named NAME.satjob. Write e.g. {place.stem or 'my-job'}.satjob."
