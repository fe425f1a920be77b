"""The job folder: reading it, the canonical export, and the one definition of a job's hash."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from satdiag.bulk import read_columns
from satdiag.csv_text import csv_line, decode, header_problems, records, shape_problem
from satdiag.errors import BadInput, NotAJob, Problem, SatdiagError, bad_input
from satdiag.job import (
    HEADER,
    KNOWN_FILES,
    OBSERVATIONS,
    Job,
    build_job,
    columns_of,
    document_problems,
    observations_bytes,
    observations_text,
    problems_with,
    with_rows,
)
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row
from satdiag.safe_write import sync, write_over

LONG = 100_000
"""Observations of so many bytes are read by column, which costs more to begin with and less for each row."""


def unknown_files(folder: Path) -> list[str]:
    """Names in a job folder that do not belong to the log: an error for `check`, a warning elsewhere."""
    return [path.name for path in _entries(folder) if not (KNOWN_FILES.fullmatch(path.name) and path.is_file())]


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError as error:
        raise SatdiagError(f"{folder}: cannot be read ({error.strerror}). Check the rights to it.") from None


def read_folder(folder: Path) -> Job:
    """The job in a folder of plain files. Raises NotAJob, BadInput, SatdiagError."""
    documents = _folder_bytes(folder)
    if OBSERVATIONS not in documents:
        mend = f"Add it; it may hold the header alone: {HEADER}"
        raise BadInput([Problem(OBSERVATIONS, "the file is missing", mend), *document_problems(documents)])
    observations = documents.pop(OBSERVATIONS)
    if len(observations) >= LONG and (plain := read_columns(observations)):
        return build_job(documents, plain[1], plain[0])
    try:
        found = _taken(decode(observations, OBSERVATIONS))
    except BadInput as error:
        raise BadInput([*error.problems, *document_problems(documents)]) from None
    if found.problems:
        raise BadInput([*problems_with(documents, found.rows, found.lines, found.problems)])
    return build_job(documents, found.rows, found.header, found.lines)


def _folder_bytes(folder: Path) -> dict[str, bytes]:
    found = {path.name: path for path in _entries(folder) if KNOWN_FILES.fullmatch(path.name) and path.is_file()}
    if "job.toml" not in found:
        raise NotAJob(f"{folder}: no job.toml here. A job folder needs one; `satdiag new` makes a job.")
    return {name: bytes_of(path) for name, path in found.items()}


def bytes_of(path: Path) -> bytes:
    """The bytes of a file. Raises SatdiagError."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise SatdiagError(f"{path}: cannot be read (there is no such file). Check the name.") from None
    except OSError as error:
        if path.is_dir():
            raise SatdiagError(f"{path}: this is a folder. Name a file.") from None
        raise SatdiagError(f"{path}: cannot be read ({error.strerror}). Check the rights to it.") from None


def append_to_folder(folder: Path, rows: Sequence[Row]) -> Job:
    """Add rows to the end of observations.csv, in one piece; returns the job with them.

    The bytes that stand there stay, unless the header needs a column more: then every row gains its blank field.
    Raises BadInput for rows that the log does not allow, SatdiagError; nothing is written then.
    """
    place = folder / OBSERVATIONS
    before = bytes_of(place) if place.is_file() else b""  # at first: whatever changes it from now on is noticed
    job = with_rows(read_folder(folder), rows)
    if not rows:
        return job
    line_end = b"\r\n" if b"\r\n" in before else b"\n"
    if parse_observations(decode(before, OBSERVATIONS))[0] == job.header:
        columns = columns_of(job.header)
        added = "\n".join(csv_line([getattr(row, name) for name in columns]) for row in rows) + "\n"
        start = before if before.endswith(b"\n") else before + line_end
    else:
        added = observations_text(job)
        start = _BOM if before.startswith(_BOM) else b""
    try:
        write_over(place, start + added.encode().replace(b"\n", line_end), before)
    except OSError as error:
        why = "someone else has changed it just now" if isinstance(error, FileExistsError) else error.strerror
        raise SatdiagError(f"{place}: cannot be written ({why}). Nothing was changed; try again.") from None
    return job


_BOM = b"\xef\xbb\xbf"


def parse_observations(text: str) -> tuple[str, list[Row], list[int]]:
    """observations.csv as the header line, the rows, and the line each row starts at. Raises BadInput."""
    found = _taken(text)
    if found.problems:
        raise BadInput(found.problems)
    return found.header, found.rows, found.lines


class _Taken(NamedTuple):
    """The header line, the rows that could be read and the line each starts at, and why others could not."""

    header: str
    rows: list[Row]
    lines: list[int]
    problems: list[Problem]


def _taken(text: str) -> _Taken:
    """What can be read of observations.csv. Raises BadInput if its header cannot."""
    body = records(text, OBSERVATIONS)
    first = next(body, None)
    if first is None:
        raise bad_input(OBSERVATIONS, "the file is empty", f"Write the header: {HEADER}", 1)
    header_problems(OBSERVATIONS, first.fields, REQUIRED_COLUMNS, OPTIONAL_COLUMNS)
    found = _Taken(first.raw, [], [], [])
    try:
        for record in body:
            if wrong := shape_problem(OBSERVATIONS, record, first.fields):
                found.problems.append(wrong)
                continue
            raw = record.raw if record.raw != csv_line(record.fields) else None
            found.rows.append(Row(**dict(zip(first.fields, record.fields, strict=True)), raw=raw))
            found.lines.append(record.line)
    except BadInput as error:  # nothing behind a quote that was left open can be told apart
        found.problems.extend(error.problems)
    return found


def export_files(job: Job) -> dict[str, bytes]:
    """The canonical export: every file of the job folder by name, in name order."""
    files = {**job.documents, OBSERVATIONS: observations_bytes(job)}
    return dict(sorted(files.items()))


def job_hash(job: Job) -> str:
    """SHA-256 (hex) over the canonical export: for each file its name, its length and its bytes."""
    return hash_of(export_files(job))


def hash_of(files: Mapping[str, bytes]) -> str:
    """The same, where the canonical export is there already."""
    digest = hashlib.sha256()
    for name, data in files.items():
        digest.update(f"{name}\n{len(data)}\n".encode())
        digest.update(data)
    return digest.hexdigest()


def write_folder(files: Mapping[str, bytes], folder: Path) -> None:
    """Write a job folder in one piece: all files in a folder beside it, then renamed. Raises SatdiagError."""
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise SatdiagError(f"{folder}: it is there already. Name a new folder, or move the old one away.")
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".satdiag-", dir=folder.parent) as temporary:
            made = Path(temporary) / "job"
            made.mkdir()
            for name, data in files.items():
                (made / name).write_bytes(data)
                sync(made / name)
            if folder.exists():
                folder.rmdir()
            os.replace(made, folder)
    except OSError as error:
        raise SatdiagError(f"{folder}: cannot be written ({error.strerror}). Nothing was left behind.") from None
