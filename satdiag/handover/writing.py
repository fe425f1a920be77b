"""Writing what is handed over: a new file in one piece, or one clear error and nothing left behind."""

from __future__ import annotations

from pathlib import Path

from satdiag.errors import SatdiagError
from satdiag.safe_write import write_new


def check_free(place: Path) -> None:
    """Refuse a place that is taken or has no folder, before long work is done for it. Raises SatdiagError."""
    try:
        if place.exists() or place.is_symlink():
            raise _taken(place)
        if not place.parent.is_dir():
            raise SatdiagError(f"{place}: there is no such folder. Is its folder there under another name?")
    except OSError as error:
        raise SatdiagError(f"{place}: cannot be written ({error.strerror}). Name another place.") from None


def write_file(place: Path, data: bytes) -> None:
    """Write a file that is not there yet, whole or not at all. Raises SatdiagError."""
    try:
        write_new(place, data)
    except FileExistsError:
        raise _taken(place) from None
    except OSError as error:
        mend = "Name another place." if place.parent.is_dir() else "Is its folder there?"
        raise SatdiagError(f"{place}: cannot be written ({error.strerror}). {mend}") from None


def _taken(place: Path) -> SatdiagError:
    return SatdiagError(f"{place}: it is there already. Name a new file, or move the old one away.")
