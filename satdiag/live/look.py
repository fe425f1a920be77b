"""What the page shows of a job's documents, worked out before anybody has to wait for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag.live.lineups import folded, summary
from satdiag.live.many import roll_of
from satdiag.live.state import Expectation, expectation_of, sites_without_height
from satdiag.recorder.loop import expected_count

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.live.roll import Roll
    from satdiag.sheet import Sheet


class Look(NamedTuple):
    """The sheet and its sites without a height, the line-up in short, what is expected of it, and of how many."""

    sheet: Sheet
    unsaid: frozenset[str]
    lineup: dict[str, Any] | None
    expectation: Expectation
    roll: Roll | None
    expected: int | None


def look_at(job: Job) -> Look:
    """A job's documents; it takes seconds where they name a million channels."""
    expectation = expectation_of(job)
    return Look(
        sheet=job.sheet,
        unsaid=sites_without_height(job.documents["job.toml"].decode()),
        lineup=None if job.lineup is None else folded(summary(job.lineup), job.sheet.package),
        expectation=expectation,
        roll=roll_of(expectation),
        expected=expected_count(job),
    )
