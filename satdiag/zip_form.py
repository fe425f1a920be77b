"""What every ZIP file of ours has in common: written the same for the same content, read with suspicion."""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from collections.abc import Mapping

FIRST_TIME = (1980, 1, 1, 0, 0, 0)
"""The first time that a ZIP file can hold (APPNOTE.TXT, 4.4.6)."""

BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, OSError, ValueError)
"""What reading a damaged file may raise; RuntimeError: packed in a way that is not known here."""

_PLAIN_FILE = stat.S_IFREG | 0o644
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 0x1


def packed(files: Mapping[str, bytes], stamp: tuple[int, int, int, int, int, int] = FIRST_TIME) -> bytes:
    """Files by their names as a ZIP file: name order, all with one time, so that equal content is equal bytes."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name in sorted(files):
            info = zipfile.ZipInfo(name, stamp)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.create_system = 3  # Unix, on every system
            info.external_attr = _PLAIN_FILE << 16
            archive.writestr(info, files[name])
    return made.getvalue()


def oddity(info: zipfile.ZipInfo) -> str | None:
    """Why a member is no plain file that can be read here, by what the directory of the archive says; else None."""
    if stat.S_IFMT(info.external_attr >> 16) not in (0, stat.S_IFDIR if info.is_dir() else stat.S_IFREG):
        return "is a link or another special file"
    if info.flag_bits & _ENCRYPTED:
        return "is encrypted"
    return None if info.compress_type in _METHODS else "is packed in a way that is not known here"
