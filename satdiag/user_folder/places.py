"""Where the user folder is and what stands in it."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from satdiag.csv_text import quoted
from satdiag.errors import SatdiagError
from satdiag.sheet import KEYS

ENVIRONMENT = "SATDIAG_USER_FOLDER"
"""The environment variable that names another folder."""


class Kind(NamedTuple):
    """What one folder of the user folder holds: the ending of its files, and what they say."""

    suffix: str
    meaning: str


KINDS: dict[str, Kind] = {
    "profiles": Kind(".toml", "how the lines of a device become observations"),
    "lineups": Kind(".csv", "channel line-ups"),
    "constellations": Kind(".toml", "which satellites carry a service"),
    "receivers": Kind(".toml", "a receiver's normal values: [receiver] of the job sheet without id"),
    "learned": Kind(".json", "counts learned from closed jobs"),
}


UNWRITTEN = "unwritten"
"""The folder for rows that a recording could not write into its job; they are not carried to other computers."""


class Entry(NamedTuple):
    """One file of the user folder. `name` is its file name without the ending."""

    kind: str
    name: str
    path: Path
    size_bytes: int


def user_folder() -> Path:
    """The user folder of this person on this computer; looking does not make it. Raises SatdiagError."""
    try:
        named = os.environ.get(ENVIRONMENT, "").strip()
        return Path(named).expanduser().absolute() if named else default_folder(sys.platform, os.environ, Path.home())
    except RuntimeError:  # there is no home folder
        raise SatdiagError(f"No home folder is known. Set {ENVIRONMENT} to the folder to use.") from None


def default_folder(system: str, environment: Mapping[str, str], home: Path) -> Path:
    """The user folder where the environment does not name one, by `sys.platform`.

    Linux and others: XDG Base Directory Specification 0.8 ($XDG_DATA_HOME, absolute, else ~/.local/share).
    """
    if system == "win32":
        roaming = environment.get("APPDATA", "")
        return (Path(roaming) if roaming else home / "AppData" / "Roaming") / "satdiag"
    if system == "darwin":
        return home / "Library" / "Application Support" / "satdiag"
    data = environment.get("XDG_DATA_HOME", "")
    return (Path(data) if data.startswith("/") else home / ".local" / "share") / "satdiag"


def folder_of(kind: str) -> Path:
    """The folder of one kind; it need not be there. Raises SatdiagError for a kind that is not known."""
    if kind not in KINDS:
        raise SatdiagError(f"{quoted(kind)} is nothing that the user folder holds. Kinds: {', '.join(KINDS)}.")
    return user_folder() / kind


def entries() -> list[Entry]:
    """Everything in the user folder that belongs there, by kind and name. Raises SatdiagError."""
    found = []
    for kind, (suffix, _) in KINDS.items():
        for path in _listing(folder_of(kind)):
            if name_trouble(kind, path.name) is None and path.is_file():
                found.append(Entry(kind, path.name.removesuffix(suffix), path, path.stat().st_size))
    return found


def strangers() -> list[str]:
    """Files in the user folder that satdiag does not use, as 'kind/file'; hidden ones left out."""
    known = {entry.path for entry in entries()}
    loose = [path for path in _listing(user_folder()) if path.name not in (*KINDS, UNWRITTEN)]
    inside = [path for kind in KINDS for path in _listing(folder_of(kind)) if path not in known]
    names = (path.relative_to(user_folder()).as_posix() for path in (*loose, *inside))
    return [name for name in names if not name.rpartition("/")[2].startswith(".")]


def find(kind: str, name: str) -> Path | None:
    """The file of that kind and name (spelt exactly so), or None. Raises SatdiagError."""
    folder_of(kind)
    return next((entry.path for entry in entries() if (entry.kind, entry.name) == (kind, name)), None)


def unwritten() -> list[Path]:
    """Files with rows that a recording could not write into its job. Raises SatdiagError."""
    return _listing(user_folder() / UNWRITTEN)


def names_of(kind: str) -> str:
    """The names of a kind that are there, for messages."""
    return ", ".join(entry.name for entry in entries() if entry.kind == kind) or "none"


def _listing(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except FileNotFoundError:
        return []
    except OSError as error:
        raise SatdiagError(f"{folder}: cannot be read ({error.strerror}). Check the rights to it.") from None


def name_trouble(kind: str, file: str) -> str | None:
    """What is wrong with a file's name as one of that kind, or None: it must be safe on every system."""
    suffix = KINDS[kind].suffix
    if not file.endswith(suffix):
        return f"does not end in {suffix}"
    return KEYS["job"]["id"](file.removesuffix(suffix))
