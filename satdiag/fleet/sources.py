"""Which jobs there are in the places that were named, and whether their files have changed.

A folder with job.toml or observations.csv is a job folder and is not searched any further; a file NAME.satjob is a
job file. Links to folders are not followed while searching, so that no loop of links is; hidden names are passed by.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from satdiag.job import KNOWN_FILES, OBSERVATIONS
from satdiag.sheet import FILE as SHEET

JOB_FILE = ".satjob"
_CHUNK = 1 << 20
_BESIDE = ("-wal", "-journal")
"""What SQLite keeps beside a job file that belongs to its content."""


class Source(NamedTuple):
    """A job as it was found. `place` and `stamp` are digests: of its full path; of its files' sizes and times."""

    path: str
    place: str
    stamp: str


def sources_in(
    named: Iterable[str], empty: Callable[[str], None], shut: Callable[[str], None] = lambda folder: None
) -> Iterator[Source]:
    """The jobs in these files and folders, each place once, in order of their paths within each.

    `empty` is called with a name where nothing is, or with that of a folder in which there is no job; `shut` with a
    folder that may not be looked into. A named file is taken for a job, whatever its name.
    """
    seen: set[str] = set()
    for name in named:
        found = False
        for path in _jobs_below(Path(name), shut):
            found = True
            place = place_of(path)
            if place not in seen:
                seen.add(place)
                yield Source(str(path), place, stamp_of(path))
        if not found:
            empty(name)


def _jobs_below(place: Path, shut: Callable[[str], None]) -> Iterator[Path]:
    if not os.path.isdir(place) or is_job_folder(place):
        if os.path.exists(place):
            yield place
        return
    below = [place]
    while below:
        folder = below.pop()
        entries = _entries(folder, shut)
        folders = []
        for entry in entries:
            if entry.name.startswith("."):
                continue
            if _is_folder(entry, follow=False):
                path = Path(entry.path)
                if is_job_folder(path):
                    yield path
                else:
                    folders.append(path)
            elif entry.name.endswith(JOB_FILE) and not _is_folder(entry, follow=True):
                yield Path(entry.path)
        below += reversed(folders)


def _is_folder(entry: os.DirEntry[str], follow: bool) -> bool:
    """Whether it is a folder; False for a link that leads back to itself."""
    try:
        return entry.is_dir(follow_symlinks=follow)
    except OSError:
        return False


def _entries(folder: Path, shut: Callable[[str], None]) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name)
    except OSError:
        shut(str(folder))
        return []


def is_job_folder(folder: Path) -> bool:
    """Whether a folder is a job; False for one that may not be looked into."""
    return os.path.isfile(folder / SHEET) or os.path.isfile(folder / OBSERVATIONS)


def files_of(path: Path) -> list[Path]:
    """The files that a job is made of, in order of their names; none where nothing is there."""
    try:
        if path.is_dir():
            return sorted(one for one in path.iterdir() if KNOWN_FILES.fullmatch(one.name) and one.is_file())
        beside = [Path(os.path.realpath(path) + end) for end in _BESIDE]
        return [one for one in (path, *beside) if one.is_file()]
    except OSError:
        return []


def stamp_of(path: Path) -> str:
    """A digest of names, sizes and times of change of a job's files: another one where a file has changed."""
    said = []
    for file in files_of(path):
        try:
            told = file.stat()
        except OSError:
            continue
        said.append(f"{file.name}\n{told.st_size}\n{told.st_mtime_ns}\n")
    return _digest("".join(said).encode(errors="surrogateescape"))


def place_of(path: Path) -> str:
    """A digest of the full path."""
    return _digest(_full(path))


def bytes_digest(path: Path) -> str:
    """SHA-256 (hex) over name, length and bytes of a job's files.

    Of a file that cannot be read over its path instead, and over that of the job where there is no file at all: jobs
    that nobody could look into are not taken for the same.
    """
    files = files_of(path)
    whole = hashlib.sha256(b"" if files else _full(path))
    for file in files:
        # a job file may bear any name; the files of a folder say by their names what they are
        whole.update((file.name if path.is_dir() else "").encode(errors="surrogateescape") + b"\n")
        inner, length = hashlib.sha256(), 0
        try:
            with open(file, "rb") as stream:
                while chunk := stream.read(_CHUNK):
                    inner.update(chunk)
                    length += len(chunk)
        except OSError:
            whole.update(_full(file))
            continue
        whole.update(f"{length}\n".encode() + inner.digest())
    return whole.hexdigest()


def _full(path: Path) -> bytes:
    return os.path.realpath(path).encode(errors="surrogateescape")


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:24]
