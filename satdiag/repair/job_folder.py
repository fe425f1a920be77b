"""What can be read of a job folder whose files are torn: every whole line, and every file that can be read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import chain, combinations
from pathlib import Path

from satdiag.csv_text import csv_line, decode, header_problems, records
from satdiag.errors import BadInput, SatdiagError, shown
from satdiag.folder import bytes_of, parse_observations, unknown_files
from satdiag.job import KNOWN_FILES, OBSERVATIONS
from satdiag.repair.losses import Found, Hole, LostDocument, Slot
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, TIME, Row

_MOST_LINES = 200
"""How many lines a note may run over before the quote at its beginning is taken for a stray one."""

_UNREADABLE = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def read_damaged_folder(folder: Path) -> Found:
    """Everything that can be read of a job folder. Raises SatdiagError."""
    documents: dict[str, bytes] = {}
    lost: list[LostDocument] = []
    try:
        names = sorted(path.name for path in folder.iterdir() if path.is_file() and KNOWN_FILES.fullmatch(path.name))
    except OSError as error:
        raise SatdiagError(f"{folder}: cannot be read ({error.strerror}). Check the rights to it.") from None
    for name in names:
        try:
            documents[name] = bytes_of(folder / name)
        except SatdiagError as error:
            lost.append(LostDocument(name, "lost", str(error).removeprefix(f"{folder / name}: ").rstrip(".")))
    data = documents.pop(OBSERVATIONS, None)
    if data is None:
        if not any(document.name == OBSERVATIONS for document in lost):
            lost.append(LostDocument(OBSERVATIONS, "lost", "the file is missing"))
        found = Found("line", ",".join(REQUIRED_COLUMNS), [], [], documents, lost=lost)
    else:
        found = _observations(data)
        found.documents, found.lost = documents, lost
    if strange := unknown_files(folder):
        found.asides.append(f"not part of a job, and not taken along: {', '.join(map(shown, strange))}")
    return found


def _observations(data: bytes) -> Found:
    """The rows of observations.csv: as ever where it can be read, else line by line."""
    try:
        header, rows, lines = parse_observations(decode(data, OBSERVATIONS))
    except BadInput:
        return _line_by_line(data)
    found = Found("line", header, [*rows], lines, {})
    if rows and not data.endswith(b"\n"):
        found.asides.append(f"{OBSERVATIONS} ends without a line end: its last field may have been cut short")
    return found


def _line_by_line(data: bytes) -> Found:
    """Every record that is whole: readable, closed quotes, all its columns, a time in front, a line end behind."""
    lines = data.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    texts = [_text(line) for line in lines]
    header = _header(texts[0])
    first = 0 if header is None else 1
    last = lines.pop()
    texts.pop()
    columns = _columns(header, texts)
    slots: list[Slot] = []
    numbers: list[int] = []
    at = first
    while at < len(lines):
        row, height = _record(texts, at, columns)
        is_header = at == 0
        if row is not None or not is_header:
            slots.append(row if row is not None else Hole(at + 1, at + 1, _why(lines[at])))
            numbers.append(at + 1)
        at += height
    if last:
        slots.append(Hole(at + 1, at + 1, "its line end is missing"))
        numbers.append(at + 1)
    return Found("line", header, slots, numbers, {})


def _text(line: bytes) -> str | None:
    """A line as text; None where it is none."""
    if _UNREADABLE.search(line.rstrip(b"\r")):
        return None
    try:
        return line.decode().rstrip("\r")
    except UnicodeDecodeError:
        return None


def _why(line: bytes) -> str:
    if zeros := line.count(b"\0"):
        return f"{zeros} zero bytes stand there"
    return "no whole row" if line.strip() else "an empty line"


def _header(text: str | None) -> str | None:
    try:
        fields = next(records(text or "", OBSERVATIONS)).fields
        header_problems(OBSERVATIONS, fields, REQUIRED_COLUMNS, OPTIONAL_COLUMNS)
    except (BadInput, StopIteration):
        return None
    return text


def _columns(header: str | None, texts: Sequence[str | None]) -> list[str]:
    """The columns by the header; where that is lost, those that give the most rows with texts where they may be."""
    if header is not None:
        return next(records(header, OBSERVATIONS)).fields
    choices = chain.from_iterable(combinations(OPTIONAL_COLUMNS, size) for size in range(len(OPTIONAL_COLUMNS) + 1))
    columns = [[*REQUIRED_COLUMNS, *optional] for optional in choices]
    return max(columns, key=lambda one: sum(_fits(_record(texts, at, one)[0]) for at in range(min(len(texts), 2000))))


def _fits(row: Row | None) -> bool:
    """The optional columns hold what they may hold: seconds are numbers, ids and runs words."""
    from satdiag.rows import check_row

    return row is not None and not any(wrong.column in OPTIONAL_COLUMNS for wrong in check_row(row, None, ()))


def _record(texts: Sequence[str | None], at: int, columns: Sequence[str]) -> tuple[Row | None, int]:
    """The record that begins at a line, and over how many lines it runs; None if none does."""
    taken: list[str] = []
    for text in texts[at : at + _MOST_LINES]:
        if text is None:
            return None, 1
        taken.append(text)
        if sum(line.count('"') for line in taken) % 2 == 0:
            break
    try:
        found = list(records("\n".join(taken) + "\n", OBSERVATIONS))
    except BadInput:
        return None, 1
    if len(found) != 1 or len(found[0].fields) != len(columns) or not TIME.fullmatch(found[0].fields[0]):
        return None, 1
    raw = found[0].raw if found[0].raw != csv_line(found[0].fields) else None
    return Row(**dict(zip(columns, found[0].fields, strict=True)), raw=raw), len(taken)
