"""What this user keeps that moves an analysis: lessons of closed jobs, receivers' levels under an open sky, what a
fleet of jobs taught.

The analysis itself reads the job alone; whoever calls it may hand it these.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from satdiag.analysis import analyse
from satdiag.csv_text import decode
from satdiag.diagnosis.counts import moved_model
from satdiag.diagnosis.learning import PACKAGED, Learned, learned_model
from satdiag.diagnosis.lessons import Lesson, lesson_from
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.pooled import Pool, pool_from
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.errors import SatdiagError
from satdiag.findings import Findings
from satdiag.folder import bytes_of
from satdiag.job import Job
from satdiag.signal.estimate import open_sky_stays
from satdiag.signal.open_sky import OpenSky, name_of, open_sky_from
from satdiag.sky.estimate import estimate_sky
from satdiag.user_folder import entries, find, keep, parse_learned, remove


def analyse_here(job: Job) -> Findings:
    """The findings of a job with all that is kept on this computer. Raises BadInput, SatdiagError."""
    return analyse(job, learned=learned_here(), open_sky=open_sky_here(job), wait=wait_here(job))


# --- lessons of closed jobs --------------------------------------------------------------------------------------

PREFIX = "lesson-"
"""So begin the names of lessons among the learned files of the user folder."""


_LONGEST_NAME = 100
"""So long may the name of a file of the user folder be, its ending apart (`sheet.file_safe`)."""


def lesson_name(job_id: str) -> str:
    """The name under which a job's lesson is kept: with its id, of a very long one its beginning and a digest."""
    if len(PREFIX + job_id) <= _LONGEST_NAME:
        return PREFIX + job_id
    return f"{PREFIX}{job_id[:60]}-{hashlib.sha256(job_id.encode()).hexdigest()[:16]}"


def lessons_kept() -> list[Lesson]:
    """Every lesson in the user folder. Raises BadInput for a file that is not as `satdiag learn` wrote it."""
    found = []
    for entry in entries():
        if entry.kind == "learned" and entry.name.startswith(PREFIX):
            text = decode(bytes_of(entry.path), entry.path.name)
            found.append(lesson_from(parse_learned(text, entry.path.name), entry.path.name))
    return found


def learned_here() -> Learned:
    """What the diagnosis believes on this computer. Raises BadInput, SatdiagError."""
    return learned_from(lessons_kept(), pool_here())


def learned_from(kept: Sequence[Lesson], pool: Pool | None) -> Learned:
    """What lessons and a fleet make of the packaged figures.

    A closed job that is among a fleet's counts does not teach once more by its own lesson.
    """
    if pool is None or pool.faults is None:
        return learned_model(load_model(), kept) if kept else PACKAGED
    counts = pool.faults
    own = learned_model(moved_model(load_model(), counts), [one for one in kept if not pool.holds(one.job)])
    return Learned(own.model, own.jobs + counts.jobs, own.weight + counts.weight)


# --- what a fleet of jobs taught ---------------------------------------------------------------------------------

POOL = "fleet"
"""The name of the learned file that `satdiag fleet learn` keeps."""


def pool_here() -> Pool | None:
    """What a fleet of jobs taught, if that was kept. Raises BadInput, SatdiagError."""
    place = find("learned", POOL)
    if place is None:
        return None
    return pool_from(parse_learned(decode(bytes_of(place), place.name), place.name), place.name)


def wait_here(job: Job) -> WaitPrior | None:
    """What a fleet of jobs says of how long channels of a job's package take. Raises BadInput, SatdiagError."""
    pool = pool_here()
    return None if pool is None else pool.wait_of(job.sheet.package)


# --- levels under an open sky ------------------------------------------------------------------------------------


def open_sky_here(job: Job) -> OpenSky | None:
    """What is kept of the job's receiver; None without an identifier or a file. Raises BadInput, SatdiagError."""
    place = find("learned", name_of(job.sheet.receiver.id)) if job.sheet.receiver.id else None
    return None if place is None else open_sky_in(place)


def open_sky_in(place: Path) -> OpenSky:
    """What a file of the user folder keeps. Raises BadInput, SatdiagError."""
    return open_sky_from(parse_learned(decode(bytes_of(place), place.name), place.name), place.name)


def change_open_sky(job: Job, remember: bool) -> str:
    """Keep what a job shows under an open sky, in the place of what it showed before, or take that back.

    Returns what happened, in a sentence. Raises SatdiagError for a job without a receiver's identifier.
    """
    receiver = job.sheet.receiver
    if not receiver.id:
        raise SatdiagError("Open-sky levels are kept by receiver, and job.toml names none: set id in [receiver].")
    name = name_of(receiver.id)
    before = open_sky_here(job)
    stays = open_sky_stays(job, estimate_sky(job)) if remember else ()
    if remember and not stays:
        return (
            "Nothing was kept: no satellite's level was read under an open sky. `satdiag note JOB place vehicle "
            "open-sky` says when the vehicle stands so."
        )
    after = (before or OpenSky(receiver.masked_id)).with_job(job.sheet.id, stays)
    if after.stays:
        keep("learned", f"{name}.json", after.text().encode(), {}, replace=True)
    elif before is not None:
        remove("learned", name)
    return _said(job, after, remember)


def _said(job: Job, after: OpenSky, remember: bool) -> str:
    kept = f"{len(after.stays)} stays of receiver {after.receiver} are kept"
    if not remember:
        return f"Taken back what job {job.sheet.id} taught of its levels under an open sky; {kept}."
    levels = "; ".join(
        f"{stay.path} {stay.level:.1f} {stay.unit} (open by {stay.by})"
        for stay in after.stays
        if stay.job == job.sheet.id
    )
    return f"Kept for later jobs of this receiver: {levels}. In all {kept}; --forget-open-sky takes it back."
