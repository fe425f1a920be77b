"""The user folder as a zip file: written the same for the same content, and read with suspicion.

What comes from elsewhere may be made to harm: names that climb out of the folder, links, a small file that unpacks to
a huge one. Only names of known kinds are taken, only plain files, and never more bytes than the limits below.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from pathlib import Path

from satdiag import zip_form
from satdiag.csv_text import quoted
from satdiag.errors import BadInput, Problem, SatdiagError, bad_input
from satdiag.folder import bytes_of

MAX_FILE_BYTES = 5_000_000
MAX_TOTAL_BYTES = 50_000_000
MAX_ZIP_BYTES = 20_000_000
MAX_FILES = 1000

_MEND = "Make it afresh with `satdiag user export`."


def pack(files: Mapping[str, bytes]) -> bytes:
    """Files by their names as a zip file: name order, no times, so that equal content gives equal bytes."""
    return zip_form.packed(files)


def unpack(place: Path, kinds: Mapping[str, str]) -> dict[str, bytes]:
    """The files of a zip file, by 'kind/file'; `kinds` are the folders it may hold, with the ending of their files.

    Raises BadInput naming every member that may not be taken, SatdiagError if the file cannot be read.
    """
    data = _bytes(place)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _members(archive, place.name, kinds)
    except zip_form.BROKEN as error:
        what = f"not a whole zip file ({' '.join(str(error).split()) or type(error).__name__})"
        raise bad_input(place.name, what, _MEND) from None


def _bytes(place: Path) -> bytes:
    try:
        if place.stat().st_size > MAX_ZIP_BYTES:
            raise bad_input(place.name, f"the file is larger than {MAX_ZIP_BYTES} bytes", "Is it the right file?")
    except OSError as error:
        raise SatdiagError(
            f"{place}: cannot be read ({error.strerror}). Check its name and the rights to it."
        ) from None
    return bytes_of(place)


def _members(archive: zipfile.ZipFile, file: str, kinds: Mapping[str, str]) -> dict[str, bytes]:
    members = [info for info in archive.infolist() if info.orig_filename.removesuffix("/") not in kinds]
    if len(members) > MAX_FILES:
        raise bad_input(file, f"it holds {len(members)} files; at most {MAX_FILES} are taken", _MEND)
    total = sum(info.file_size for info in members)
    if total > MAX_TOTAL_BYTES:
        raise bad_input(file, f"it unpacks to {total} bytes; at most {MAX_TOTAL_BYTES} are taken", _MEND)
    problems, seen = [], set[str]()
    for info in members:
        trouble = _trouble(info, kinds)
        if trouble is None and info.orig_filename.lower() in seen:
            trouble = "stands twice (capitals do not count)"
        seen.add(info.orig_filename.lower())
        if trouble is not None:
            problems.append(Problem(file, f"the member {quoted(info.orig_filename)} {trouble}", _MEND))
    if problems:
        raise BadInput(problems)
    return {info.orig_filename: _content(archive, info, file) for info in members}


def _trouble(info: zipfile.ZipInfo, kinds: Mapping[str, str]) -> str | None:
    """Why a member may not be taken, by what the directory of the zip file says of it; None if it may."""
    kind, slash, name = info.orig_filename.partition("/")
    if not slash or kind not in kinds:
        return f"lies in none of the folders {', '.join(kinds)}"
    if "/" in name or "\\" in name or not name.endswith(kinds[kind]):
        return f"is no file NAME{kinds[kind]} in {kind}"
    if trouble := zip_form.oddity(info):
        return trouble
    return f"is larger than {MAX_FILE_BYTES} bytes" if info.file_size > MAX_FILE_BYTES else None


def _content(archive: zipfile.ZipFile, info: zipfile.ZipInfo, file: str) -> bytes:
    """The bytes of a member, no more than it says it has; zipfile compares its CRC-32 at the end."""
    with archive.open(info) as member:
        data = member.read(MAX_FILE_BYTES + 1)
    if len(data) != info.file_size:
        raise bad_input(file, f"the member {quoted(info.orig_filename)} has another size than it says", _MEND)
    return data
