"""What can be read of a damaged job file. The file itself is only read; SQLite works on a copy of it."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Mapping
from contextlib import closing, suppress
from pathlib import Path

from satdiag.errors import SatdiagError, StoreProblem
from satdiag.folder import bytes_of
from satdiag.job import Job
from satdiag.repair.frames import Log, committed, page_size_of_log
from satdiag.repair.losses import Found, Hole, LostDocument, Slot
from satdiag.repair.pages import MAGIC, SIZES, Image, image_of, page_size_of
from satdiag.repair.salvage import Document, Records, salvage
from satdiag.rows import Row
from satdiag.store.connect import SIDE_FILES, connect, lacks_log, side_file
from satdiag.store.format import APPLICATION_ID, USER_VERSION, digest_of_format_1, digests_of
from satdiag.store.lock import holder_of
from satdiag.store.read import read_job_file
from satdiag.store.runs import Unclean, run_marks, unclean_run

_LINES = (".jsonl", ".nmea")
"""Documents of which every line stands for itself."""

_LACKS_LOG = "the write-ahead log that belongs to it is missing: rows that were recorded last may be missing"


def read_damaged_file(place: Path) -> Found:
    """Everything that can be read of a job file and of what lies beside it.

    Through SQLite where the file is whole, else page by page. Raises StoreProblem, SatdiagError.
    """
    if holder_of(place) is not None:
        raise StoreProblem(f"{place}: it is being written at this moment. Repair it when that has ended.")
    data = bytes_of(place)
    _refuse_newer(place, data)
    beside = {end: bytes_of(side) for end in SIDE_FILES[:2] if (side := side_file(place, end)).is_file()}
    with tempfile.TemporaryDirectory(prefix="satdiag-repair-", ignore_cleanup_errors=True) as folder:
        copy = Path(folder) / "copy.satjob"
        copy.write_bytes(data)
        for end, more in beside.items():
            side_file(copy, end).write_bytes(more)
        if not _image(data, beside.get("-wal", b""))[1].broken:  # SQLite would stop at the first broken frame
            with suppress(SatdiagError):
                return _whole(read_job_file(copy), *_marks(copy))
        undone = _roll_back(copy)
        data = copy.read_bytes()
    found = _by_pages(data, beside.get("-wal", b""))
    if not undone:
        found.remarks.append(
            "what a writer left half done could not be undone: rows it had not finished may be there"
        )
    return found


def _refuse_newer(place: Path, data: bytes) -> None:
    version = int.from_bytes(data[60:64], "big")
    if data[:16] == MAGIC and data[68:72] == APPLICATION_ID.to_bytes(4, "big") and version > USER_VERSION:
        raise StoreProblem(f"{place}: it has format {version}, from a newer satdiag. Update satdiag to repair it.")


def _roll_back(copy: Path) -> bool:
    """Let SQLite undo in the copy what its journal holds, which it then removes; whether nothing is left to undo."""
    journal = side_file(copy, "-journal")
    if not journal.exists():
        return True
    with suppress(sqlite3.Error), closing(connect(copy, "rw")) as connection:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return not journal.exists()


# --- whole -------------------------------------------------------------------------------------------------------


def _whole(job: Job, unclean: Unclean | None, lacks: bool) -> Found:
    rows: list[Slot] = [*job.rows]
    agree: dict[str, bool | None] = {"rows": True, "documents": True, "parts": True}
    found = Found("row", job.header, rows, list(range(1, len(rows) + 1)), dict(job.documents), agree=agree)
    _say_unclean(found, unclean, lacks)
    return found


def _marks(copy: Path) -> tuple[Unclean | None, bool]:
    with closing(connect(copy, "ro")) as connection:
        lacks = lacks_log(connection, copy)
        return unclean_run(run_marks(connection), lacks), lacks


def _say_unclean(found: Found, unclean: Unclean | None, lacks: bool) -> None:
    if unclean is not None:
        found.asides.append(f"the recording {unclean.run}, begun {unclean.started}, was never closed")
    if lacks or (unclean is not None and unclean.lacks_rows):
        found.remarks.append(_LACKS_LOG)


# --- page by page ------------------------------------------------------------------------------------------------


def _by_pages(data: bytes, log: bytes) -> Found:
    image, frames = _image(data, log)
    records = salvage(image)
    documents, fragments, lost = _documents(records)
    slots, numbers = _slots(records)
    found = Found("row", records.meta.get("header"), slots, numbers, documents, fragments, lost)
    found.agree = _agree(records, documents, found)
    if found.agree["rows"] is not True and not records.end_known:
        after = max([0, *numbers, records.last]) + 1
        found.slots.append(Hole(after, None, "whether there were more is not known"))
        found.numbers.append(after)
    if frames.broken:
        found.remarks.append(
            f"{frames.broken} of {frames.broken + frames.whole} pages in the write-ahead log are broken"
        )
    if records.unread:
        found.asides.append(f"{records.unread} of {records.pages} pages of the file hold nothing that can be read")
    lacks = data[18:20] == b"\x02\x02" and data[:16] == MAGIC and not log
    marks = {key: text for key, text in records.meta.items() if key in ("open_run", "unclean_run")}
    _say_unclean(found, unclean_run(marks, lacks), lacks)
    return found


def _image(data: bytes, log: bytes) -> tuple[Image, Log]:
    """The file with the pages of its log. Where nothing says how large a page is, the size that gives most rows."""
    known = page_size_of(data) or page_size_of_log(log)
    choices = []
    for size in [known] if known else SIZES:
        frames = committed(log, size)
        image = image_of(data, size, frames.pages)
        if known:
            return image, frames
        found = salvage(image, dig=False)
        choices.append((len(found.rows) + len(found.documents), image, frames))
    return max(choices, key=lambda choice: choice[0])[1:]


def _slots(records: Records) -> tuple[list[Slot], list[int]]:
    """The rows in order of their numbers, with a hole wherever a number is missing."""
    slots: list[Slot] = []
    numbers: list[int] = []
    expected = 1
    for number in [*sorted(records.rows), records.last + 1]:
        if number > expected:
            is_torn = all(one in records.torn for one in range(expected, number))
            slots.append(Hole(expected, number - 1, "two different rows stand there" if is_torn else ""))
            numbers.append(expected)
        if number in records.rows:
            slots.append(records.rows[number])
            numbers.append(number)
        expected = number + 1
    return slots, numbers


def _documents(records: Records) -> tuple[dict[str, bytes], dict[str, bytes], list[LostDocument]]:
    """Documents with the pieces that were recorded into them; beginnings of others; and what is missing."""
    kept: dict[str, bytes] = {}
    fragments: dict[str, bytes] = {}
    lost: list[LostDocument] = []
    names = {*records.documents, *records.names_seen, *(name for name, _ in records.parts.values())}
    torn = {name for name, document in records.documents.items() if not document.whole}
    torn |= {name for name, document in records.parts.values() if not document.whole}
    missing = [number for number in range(1, max(records.parts, default=0)) if number not in records.parts]
    for name in sorted(names):
        base = records.documents.get(name)
        pieces = [piece for _, (other, piece) in sorted(records.parts.items()) if other == name]
        holds_base = base is not None or name not in records.names_seen
        if name.endswith(_LINES):
            kept[name] = b"".join(_whole_lines(piece) for piece in ([base] if base else []) + pieces)
            if name in torn or not holds_base or (missing and pieces):
                lost.append(LostDocument(name, "partly", "whole lines of it are kept"))
        elif base is not None and base.whole:
            kept[name] = base.data
        else:
            fragments[name] = base.data if base else b""
            many = len(fragments[name])
            what = f"only its first {many} bytes can be read" if many else "nothing of it can be read"
            lost.append(LostDocument(name, "lost", what))
    return kept, fragments, lost


def _whole_lines(piece: Document) -> bytes:
    return piece.data if piece.whole else piece.data[: piece.data.rfind(b"\n") + 1]


def _agree(records: Records, documents: Mapping[str, bytes], found: Found) -> dict[str, bool | None]:
    """Whether what was found agrees with the digests that were written with it."""
    header, meta = found.header, records.meta
    rows = [slot for slot in found.slots if isinstance(slot, Row)]
    tables = {name: document.data for name, document in records.documents.items()}
    with suppress(UnicodeEncodeError):
        if header is not None and "sha256" in meta and not {"rows_sha256", "parts_sha256"} & meta.keys():  # format 1
            is_right = meta["sha256"] == digest_of_format_1(header, tables, rows)
            return {"rows": is_right, "documents": is_right}
        digests = digests_of(header or "", tables, rows).grown(
            (), [(name, piece.data) for _, (name, piece) in sorted(records.parts.items())]
        )
        right = digests.texts()
        names = {"rows": "rows_sha256", "documents": "sha256", "parts": "parts_sha256"}
        return {name: meta[key] == right[key] if key in meta else None for name, key in names.items()}
    return {"rows": False}
