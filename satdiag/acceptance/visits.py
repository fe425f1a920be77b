"""One visit of a job as a job of its own, so that two visits can be compared."""

from __future__ import annotations

from satdiag.errors import SatdiagError
from satdiag.job import Job

CARRIED = ("account", "site", "place")
"""Kinds whose last word before the visit still holds in it."""


def visit_of(job: Job, number: int) -> Job:
    """The rows of a visit (counted from 1), and before them what of the account and the place still held.

    Rows that were taken back or overridden are left out. Raises SatdiagError for a visit that is not there.
    """
    if not 1 <= number <= len(job.visits):
        raise SatdiagError(f"Job {job.sheet.id} has no visit {number}. Visits in it: {len(job.visits)}.")
    visit, log = job.visits[number - 1], job.log
    inside = log["t_s"].between(visit.start_s, visit.end_s)
    carried = log["kind"].isin(CARRIED) & (log["t_s"] < visit.start_s)
    return job.only(log.loc[inside | carried, "row"].to_numpy())
