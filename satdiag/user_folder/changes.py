"""Keep, remove and carry files of the user folder. Whatever fails leaves everything as it was."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from satdiag.csv_text import quoted
from satdiag.errors import SatdiagError, bad_input
from satdiag.folder import bytes_of
from satdiag.safe_write import publish, sync, write_new
from satdiag.user_folder.contents import Checks, check_all, check_entry
from satdiag.user_folder.places import KINDS, Entry, entries, find, folder_of, names_of, user_folder
from satdiag.user_folder.zip_file import MAX_FILE_BYTES, pack, unpack


class Carried(NamedTuple):
    """What an import did, as 'kind/file' names: new ones, ones that took another's place, ones there already."""

    added: tuple[str, ...]
    replaced: tuple[str, ...]
    same: tuple[str, ...]


def add(kind: str, file: Path, checks: Checks, replace: bool = False) -> Path:
    """Keep a copy of a file, checked for its kind first; returns where.

    A file of that name that differs stays, unless `replace`. Raises BadInput, SatdiagError.
    """
    folder = folder_of(kind)
    data = _small_bytes(file)
    check_entry(kind, file.name, data, checks)
    _put({f"{kind}/{file.name}": data}, replace)
    return folder / file.name


def keep(kind: str, file: str, data: bytes, checks: Checks, replace: bool = False) -> Path:
    """Keep bytes as a file of that name, checked for its kind first; returns where.

    A file of that name that differs stays, unless `replace`. Raises BadInput, SatdiagError.
    """
    check_entry(kind, file, data, checks)
    _put({f"{kind}/{file}": data}, replace)
    return folder_of(kind) / file


def remove(kind: str, name: str) -> Path:
    """Remove a file of the user folder; returns where it was. Raises SatdiagError if it is not there."""
    found = find(kind, name)
    if found is None:
        raise SatdiagError(f"There is no {quoted(name)} among the {kind}. There are: {names_of(kind)}.")
    try:
        found.unlink()
    except OSError as error:
        raise SatdiagError(f"{found}: cannot be removed ({error.strerror}). Check the rights to it.") from None
    return found


def export_to(place: Path, checks: Checks) -> list[Entry]:
    """Write the user folder to a new zip file, each file checked first; returns what is in it.

    Raises BadInput for a file that the import would refuse, SatdiagError.
    """
    found = entries()
    if not found:
        raise SatdiagError(f"{user_folder()}: nothing is kept there yet. `satdiag user add` keeps a file.")
    files = {f"{entry.kind}/{entry.path.name}": _small_bytes(entry.path) for entry in found}
    check_all(files, checks)
    try:
        write_new(place, pack(files))
    except FileExistsError:
        raise SatdiagError(f"{place}: it is there already. Name a new file, or move the old one away.") from None
    except OSError as error:
        raise SatdiagError(f"{place}: cannot be written ({error.strerror}). Is its folder there?") from None
    return found


def import_from(place: Path, checks: Checks, replace: bool = False) -> Carried:
    """Take over a zip file that `export_to` wrote, all of it or nothing.

    Where a file is there already and differs, nothing is imported, unless `replace`. Raises BadInput naming
    everything that is wrong with the zip file and what is in it, SatdiagError.
    """
    files = unpack(place, {kind: suffix for kind, (suffix, _) in KINDS.items()})
    check_all(files, checks)
    return _put(files, replace)


def _small_bytes(file: Path) -> bytes:
    try:
        too_large = file.stat().st_size > MAX_FILE_BYTES
    except OSError as error:
        raise SatdiagError(f"{file}: cannot be read ({error.strerror}). Check its name.") from None
    if too_large:
        raise bad_input(file.name, f"the file is larger than {MAX_FILE_BYTES} bytes", "Is it the right file?")
    return bytes_of(file)


def _put(files: Mapping[str, bytes], replace: bool) -> Carried:
    """Bring files ('kind/file') into the user folder, all or none."""
    there = {f"{entry.kind}/{entry.path.name}": entry.path for entry in entries()}
    spelt = {name.lower(): name for name in there}
    respelt = [spelt[name.lower()] for name in files if spelt.get(name.lower(), name) != name]
    if respelt:
        raise SatdiagError(
            f"There already, but for capitals: {', '.join(respelt)}. Remove it first; some systems hold them equal."
        )
    same = tuple(name for name in files if name in there and bytes_of(there[name]) == files[name])
    other = tuple(name for name in files if name in there and name not in same)
    if other and not replace:
        raise SatdiagError(
            f"There already, and different: {', '.join(other)}. Nothing was changed; with --replace the new ones "
            "take their place."
        )
    added = tuple(name for name in files if name not in there)
    if added or other:
        _write({name: files[name] for name in (*added, *other)})
    return Carried(added, other, same)


def _write(files: Mapping[str, bytes]) -> None:
    """Write all files beside their places first, then give them their names; what fails is taken back."""
    home = user_folder()
    try:
        for name in files:
            (home / name).parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".satdiag-", dir=home) as folder:
            made = {home / name: Path(folder) / f"new-{number}" for number, name in enumerate(files)}
            for name, data in files.items():
                made[home / name].write_bytes(data)
                sync(made[home / name])
            _publish_all(made)
    except OSError as error:
        why = "someone else has put a file there just now" if isinstance(error, FileExistsError) else error.strerror
        raise SatdiagError(f"{home}: cannot be written ({why}). Nothing was changed; try again.") from None


def _publish_all(made: Mapping[Path, Path]) -> None:
    """Give finished files (values) their names (keys). Raises OSError; all names hold what they held before then."""
    before: dict[Path, Path | None] = {}
    try:
        for place, new in made.items():
            if place.exists():
                kept = new.with_name(f"{new.name}-before")
                shutil.copy2(place, kept)
                before[place] = kept
                os.replace(new, place)
                sync(place.parent)
            else:
                before[place] = None
                _publish_ours(new, place, before)
    except OSError:
        for place, old in before.items():
            if old is None:
                place.unlink(missing_ok=True)
            else:
                os.replace(old, place)
        raise


def _publish_ours(new: Path, place: Path, before: dict[Path, Path | None]) -> None:
    try:
        publish(new, place)
    except FileExistsError:  # what came there in between is not ours to take back
        del before[place]
        raise
