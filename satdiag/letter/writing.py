"""Writing a letter in one piece, over an older letter or page only."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Literal

from satdiag.errors import SatdiagError
from satdiag.letter.page import TEXT_MARK
from satdiag.report.placing import PAGE_BEGINS, replace_file

Form = Literal["html", "text"]
FORMS: dict[str, Form] = {".html": "html", ".htm": "html", ".txt": "text"}
MOST_READ = 100_000


def form_of(place: Path, as_text: bool) -> Form:
    """Page or plain text, by the file's name. Raises SatdiagError for another name."""
    form = FORMS.get(place.suffix.lower())
    if form is None or (as_text and form != "text"):
        stem = place.stem or "letter"
        names = f"{stem}.txt" if as_text else f"{stem}.html, or {stem}.txt for plain text"
        raise SatdiagError(f"{place}: a letter is not written under such a name. Name it {names}.")
    return form


def write_letter(path: str | os.PathLike[str], text: str, form: Form) -> None:
    """Write a letter, over an older letter or page if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        _check_place(place, form)
        replace_file(place, text.encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the letter cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def _check_place(place: Path, form: Form) -> None:
    """Refuse a folder, a device, and a file that is neither a page nor a letter."""
    if place.is_dir():
        raise SatdiagError(f"{place}: this is a folder. Name a file for the letter, such as {place / 'letter.html'}.")
    if not place.parent.is_dir():
        raise SatdiagError(f"{place}: there is no folder {place.parent}. Make it first, or name another place.")
    if place.exists() and not (place.is_file() and _may_be_replaced(place, form)):
        what = "web page" if form == "html" else "letter of satdiag's"
        raise SatdiagError(f"{place}: what is there is no {what}, and is not written over. Name another file.")


def _may_be_replaced(place: Path, form: Form) -> bool:
    """True of an empty file, of a web page where a page is written, and of a letter where a text is."""
    with place.open("rb") as file:
        data = file.read(MOST_READ)
    if not data:
        return True
    if form == "html":
        return data[: len(PAGE_BEGINS)].lower() == PAGE_BEGINS
    last = data.rstrip().rpartition(b"\n")[2]
    return last in {f"{TEXT_MARK} {name}".encode() for name in ("customer", "provider", "dealer")}
