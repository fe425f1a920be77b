"""The job itself for a bundle: as it is with the full identifier, else a copy in which the identifier is masked.

The copy can be opened and analysed like the job. Files of raw lines stay away: they may hold the identifier in a form
that nobody can search for. A copy that names no place and no person either is made by `satdiag redact`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping

from satdiag.errors import BadInput
from satdiag.folder import export_files, parse_observations
from satdiag.handover.manifest import Piece
from satdiag.handover.masking import cleaner
from satdiag.job import OBSERVATIONS, Job, build_job
from satdiag.language import mark, tell, translated
from satdiag.sheet import line_of_key

FOLDER = "job"
WHATS = {
    "job.toml": mark("the job sheet"),
    "observations.csv": mark("the log: every observation"),
    "lineup.csv": mark("the channel line-up"),
}
_RAW = re.compile(r"raw.*\.jsonl")


def job_copy(job: Job, full_id: bool) -> tuple[list[Piece], list[str]]:
    """The job folder's files, and in sentences what was changed or left out."""
    if full_id or not job.sheet.receiver.id:
        return _as_pieces(export_files(job)), []
    files = masked_files(job)
    if files is None:
        return [], [tell("The job folder is left out: the identifier could not be masked in every file of it.")]
    said = [
        tell(
            "In the job folder the receiver's identifier is masked, so its hash is another one; --full-id keeps it "
            "as it is."
        )
    ]
    if any(_RAW.fullmatch(name) for name in job.documents):
        said.append(tell("Raw lines are left out: they may hold the identifier in a hidden form."))
    return _as_pieces(files), said


def masked_files(job: Job) -> dict[str, bytes] | None:
    """The files of the masked copy; None if it would not open, or still held the identifier."""
    clean = cleaner(job, False)
    identifier = (job.sheet.receiver.id or "").casefold()
    sheet = _masked_sheet(job)
    documents: dict[str, bytes] = {}
    for name, data in job.documents.items():
        if not _RAW.fullmatch(name):
            text = sheet if name == "job.toml" else data.decode("utf-8", errors="surrogateescape")
            masked = _free_name(_plain_name(clean(name)), documents)
            documents[masked] = clean(text).encode("utf-8", errors="surrogateescape")
    table = clean(export_files(job)[OBSERVATIONS].decode())
    try:
        header, rows, lines = parse_observations(table)
        copy = build_job(documents, rows, header, lines)
    except BadInput:
        return None
    if copy.sheet.receiver.id != job.sheet.receiver.masked_id:
        return None
    files = export_files(copy)
    bare = {name: data for name, data in files.items() if name != "job.toml"}
    texts = [f"{name}\n{data.decode('utf-8', errors='replace')}".casefold() for name, data in bare.items()]
    still = any(identifier in text for text in texts)
    return None if still and len(identifier) >= _SEARCHED else files


def _free_name(name: str, taken: Mapping[str, bytes]) -> str:
    """A masked name of a capture that no other one has."""
    number, free = 2, name
    while free in taken:
        free = f"{name.removesuffix('.nmea')}-{number}.nmea"
        number += 1
    return free


_SEARCHED = 5
"""A shorter identifier is not searched for: it stands in common words and numbers."""


def _masked_sheet(job: Job) -> str:
    """job.toml with the line of the identifier written anew, and that of the job's id if it holds the identifier."""
    text = job.documents["job.toml"].decode()
    lines = text.split("\n")
    job_id = job.sheet.id
    masked_job = _plain_name(cleaner(job, False)(job_id))
    for table, old, new in (("receiver", "", job.sheet.receiver.masked_id), ("job", job_id, masked_job)):
        number = line_of_key(text, table, "id")
        if number is not None and new != old:
            lines[number - 1] = f"id = {json.dumps(new, ensure_ascii=False)}"
    return "\n".join(lines)


def _plain_name(masked: str) -> str:
    """A masked text where only a file's name may stand."""
    return masked.replace("•", "x")


def _as_pieces(files: dict[str, bytes]) -> list[Piece]:
    other = mark("a file of the job")
    return [Piece(f"{FOLDER}/{name}", data, translated(WHATS.get(name, other))) for name, data in files.items()]
