"""A ZIP file written the same for the same content, and read with suspicion.

What comes from elsewhere may be made to harm: names that climb out, links, a small file that unpacks to a huge one.
It is only read and hashed here, never unpacked to the medium, and never more bytes than the limits below.
"""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from satdiag import zip_form
from satdiag.csv_text import quoted
from satdiag.errors import BadInput, Problem, SatdiagError, bad_input

MAX_ZIP_BYTES = 500_000_000
MAX_TOTAL_BYTES = 2_000_000_000
MAX_FILES = 5000
MAX_TEXT_BYTES = 20_000_000
"""Of a member that is read into memory: the manifest."""

_AT_ONCE = 1_000_000
_NAME = re.compile(r"[A-Za-z0-9._-]+(/[A-Za-z0-9._-]+)*")
_MEND = "It is not as `satdiag bundle` wrote it: ask for the bundle again."


@dataclass(frozen=True)
class Member:
    """A file of an archive: its size in bytes and its SHA-256 (hex)."""

    size: int
    sha256: str


def packed(files: Mapping[str, bytes], moment: datetime) -> bytes:
    """Files by their names as a ZIP file: name order, all with one time (UTC), so that equal content is equal bytes.

    The format knows no time before 1980 and after 2107 (APPNOTE.TXT, 4.4.6), and only even seconds.
    """
    year = min(max(moment.year, 1980), 2107)
    return zip_form.packed(
        files, (year, moment.month, moment.day, moment.hour, moment.minute, moment.second // 2 * 2)
    )


def read_archive(place: Path, texts: tuple[str, ...]) -> tuple[dict[str, Member], dict[str, bytes]]:
    """The members of an archive by name, and the bytes of those named in `texts`.

    Raises BadInput naming every member that may not be read, SatdiagError if the file cannot be.
    """
    try:
        if place.stat().st_size > MAX_ZIP_BYTES:
            raise bad_input(place.name, f"the file is larger than {MAX_ZIP_BYTES} bytes", "Is it the right file?")
        with place.open("rb") as file:
            return _read(file, place.name, texts)
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(f"{place}: cannot be read ({why}). Check its name and the rights to it.") from None


def _read(file: io.BufferedReader, name: str, texts: tuple[str, ...]) -> tuple[dict[str, Member], dict[str, bytes]]:
    try:
        with zipfile.ZipFile(file) as archive:
            infos = archive.infolist()
            _check(infos, name)
            infos = [info for info in infos if not info.is_dir()]
            members = {info.filename: _member(archive, info, name) for info in infos}
            return members, {info.filename: _text(archive, info, name) for info in infos if info.filename in texts}
    except zip_form.BROKEN as error:
        what = f"not a whole ZIP file ({' '.join(str(error).split()) or type(error).__name__})"
        raise bad_input(name, what, _MEND) from None


def _check(infos: list[zipfile.ZipInfo], file: str) -> None:
    if len(infos) > MAX_FILES:
        raise bad_input(file, f"it holds {len(infos)} files; at most {MAX_FILES} are read", _MEND)
    total = sum(info.file_size for info in infos)
    if total > MAX_TOTAL_BYTES:
        raise bad_input(file, f"it unpacks to {total} bytes; at most {MAX_TOTAL_BYTES} are read", _MEND)
    seen = set[str]()
    problems = []
    for info in infos:
        trouble = _trouble(info)
        if trouble is None and info.orig_filename.lower() in seen:
            trouble = "stands twice (capitals do not count)"
        seen.add(info.orig_filename.lower())
        if trouble is not None:
            problems.append(Problem(file, f"the member {quoted(info.orig_filename)} {trouble}", _MEND))
    if problems:
        raise BadInput(problems)


def _trouble(info: zipfile.ZipInfo) -> str | None:
    """Why a member may not be read, by what the directory of the archive says of it; None if it may."""
    name = info.orig_filename.removesuffix("/") if info.is_dir() else info.orig_filename
    if info.is_dir() and info.file_size:
        return "is a folder with something in it"
    if not _NAME.fullmatch(name) or any(part in (".", "..") for part in name.split("/")):
        return "has a name that leads out of the archive, or that is not plain"
    return zip_form.oddity(info)


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo, file: str) -> Member:
    """Size and hash of what a member holds, no more than it says; zipfile compares its CRC-32 at the end."""
    digest, size = hashlib.sha256(), 0
    with archive.open(info) as member:
        while data := member.read(_AT_ONCE):
            size += len(data)
            if size > info.file_size:
                break
            digest.update(data)
    if size != info.file_size:
        raise bad_input(file, f"the member {quoted(info.filename)} has another size than it says", _MEND)
    return Member(size, digest.hexdigest())


def _text(archive: zipfile.ZipFile, info: zipfile.ZipInfo, file: str) -> bytes:
    if info.file_size > MAX_TEXT_BYTES:
        raise bad_input(file, f"the member {quoted(info.filename)} is larger than {MAX_TEXT_BYTES} bytes", _MEND)
    return archive.read(info)
