"""What is left of a damaged job: read as far as it can be read, and written anew with what is lost said in it.

The damaged file is never changed. Nothing is made up: a row is in the new job if all of it could be read, and where
rows are missing between two others a gap of every source stands in the log, so that nothing counts as heard there.
"""

from __future__ import annotations

import os
from pathlib import Path

from satdiag.errors import SatdiagError
from satdiag.folder import export_files, write_folder
from satdiag.job import Job
from satdiag.opening import is_folder
from satdiag.repair.assemble import assembled
from satdiag.repair.job_file import read_damaged_file
from satdiag.repair.job_folder import read_damaged_folder
from satdiag.repair.losses import Hole, Losses, LostDocument
from satdiag.store import create_job_file

__all__ = ["Hole", "Losses", "LostDocument", "recover", "repair"]

_JOB_FILE_ENDS = ".satjob"


def recover(path: str | os.PathLike[str], sheet: bytes | None = None) -> tuple[Job, Losses]:
    """The job that can be made of a damaged job file or folder, and what is lost of it.

    `sheet` is a job.toml for a job whose own is lost. Raises NotAJob, StoreProblem, BadInput, SatdiagError where
    there is nothing to recover.
    """
    place = Path(path)
    found = read_damaged_folder(place) if is_folder(place) else read_damaged_file(place)
    return assembled(found, place.resolve().name, sheet)


def repair(
    path: str | os.PathLike[str], to: str | os.PathLike[str], sheet: bytes | None = None
) -> tuple[Job, Losses]:
    """Write what can be recovered of a job as a new one, in one piece: NAME.satjob, or a folder by any other name.

    Returns the new job and what is lost. Nothing is ever written over, and the damaged job stays as it is. Raises as
    `recover` does, and SatdiagError where the new one cannot be written.
    """
    place = Path(to)
    if os.path.lexists(place):
        raise SatdiagError(f"{place}: it is there already. Name a new file, or move the old one away.")
    if is_folder(Path(path)) and Path(path).resolve() in place.resolve().parents:
        raise SatdiagError(f"{place}: it lies in the damaged job, which stays as it is. Name a place outside of it.")
    job, losses = recover(path, sheet)
    if place.name.endswith(_JOB_FILE_ENDS):
        create_job_file(place, job)
    else:
        write_folder(export_files(job), place)
    return job, losses
