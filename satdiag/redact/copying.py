"""From a job to its copy for sharing, and the count of what was taken out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from satdiag.folder import export_files, job_hash, write_folder
from satdiag.job import HEADER, Job, build_job, extra_columns
from satdiag.language import mark, tell, translated
from satdiag.redact.documents import redacted_documents
from satdiag.redact.names import Names
from satdiag.redact.rows import redacted_rows
from satdiag.sky.constellation import JOB_FILE, load_packaged, packaged_names

JOB_FILE_ENDS = ".satjob"

LABELS = {
    "receiver identifiers": mark("receiver identifiers taken out"),
    "technician texts": mark("technicians' names taken out"),
    "vehicle texts": mark("descriptions of the vehicle taken out"),
    "positions": mark("positions rounded to 0.1 degree"),
    "sites": mark("site names replaced"),
    "notes": mark("notes and remarks taken out"),
    "captures": mark("files of navigation receivers left out"),
    "raw files": mark("files of raw lines left out"),
    "other files": mark("other files left out"),
    "channel names": mark("channel names taken out"),
    "categories": mark("channel categories replaced"),
    "packages": mark("package names replaced"),
    "satellites": mark("satellite names replaced"),
    "orbits": mark("satellites with orbital elements left out"),
    "nodes": mark("names of ring nodes replaced"),
    "blocks": mark("names of ring blocks replaced"),
    "readbacks": mark("names of stored settings replaced"),
    "sources": mark("names of sources replaced"),
    "runs": mark("names of recorder runs replaced"),
    "ids": mark("row ids replaced"),
}


@dataclass(frozen=True)
class Redacted:
    """The copy, and how many of each thing were taken out or replaced (keys of `LABELS`)."""

    job: Job
    removed: Mapping[str, int]


def redact_job(job: Job, shift_days: int = 0) -> Redacted:
    """The copy of a job for sharing; `shift_days` moves every time by whole days. Raises SatdiagError."""
    names = Names(_packaged_satellites(job))
    job_id = f"shared-{job_hash(job)[:8]}"
    documents = redacted_documents(job, names, job_id, shift_days)
    rows = redacted_rows(job.rows, names, shift_days)
    extra = extra_columns(rows)
    header = ",".join([HEADER, *extra])
    removed = {name: names.removed[name] for name in LABELS if names.removed[name]}
    return Redacted(build_job(documents, rows, header), removed)


def _packaged_satellites(job: Job) -> tuple[str, ...]:
    """Names of satellites that are everybody's: those of the packaged constellation in use."""
    named = job.sheet.constellation
    if named not in packaged_names() or named == JOB_FILE:
        return ()
    return tuple(satellite.name for satellite in load_packaged(str(named)).satellites)


def removed_lines(found: Redacted) -> list[str]:
    """'notes taken out: 3', one line for each kind, in the language in use."""
    return [tell("{what}: {n}", what=translated(LABELS[name]), n=number) for name, number in found.removed.items()]


def write_copy(found: Redacted, place: Path) -> None:
    """Write the copy as a job file (NAME.satjob) or a folder, never over anything. Raises SatdiagError."""
    if place.name.endswith(JOB_FILE_ENDS):
        from satdiag.store import create_job_file

        create_job_file(place, found.job)
    else:
        write_folder(export_files(found.job), place)
