"""CSV as text, RFC 4180: records with their line numbers and their raw form, and the canonical way to write one."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from satdiag.errors import BadInput, Problem, bad_input, shown

MAX_FIELD = 100_000
_LINE_END = re.compile(r"(?<!\r)\r+(?:\n|\Z)")
_RAW_FIELD = re.compile(r'(?:"(?:[^"]|"")*"|[^",])[^,]*|')


class Record(NamedTuple):
    """One record: its fields, the line it starts at, and the text it was read from (without the line end)."""

    fields: list[str]
    line: int
    raw: str


def decode(data: bytes, file: str) -> str:
    """UTF-8 with or without BOM as text, line ends normalised to LF. Raises BadInput.

    Applied to its own result it changes nothing: a repeated BOM or carriage return goes at once.
    """
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        what = f"byte 0x{data[error.start]:02x} is not UTF-8"
        raise bad_input(file, what, "Save the file as UTF-8.", line) from None
    return _LINE_END.sub("\n", text.lstrip("\ufeff"))


class _Lines:
    """Feeds the csv reader line by line and remembers what the current record was read from."""

    def __init__(self, text: str) -> None:
        self._lines = io.StringIO(text, newline="\n")
        self.taken: list[str] = []

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = next(self._lines)
        self.taken.append(line)
        return line


def records(text: str, file: str) -> Iterator[Record]:
    """The records of a CSV text, the header included. Raises BadInput for broken quoting or a lone CR."""
    lines = _Lines(text)
    reader = csv.reader(lines, strict=True)
    csv.field_size_limit(MAX_FIELD)
    line = 1
    while True:
        lines.taken.clear()
        try:
            fields = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise _quoting(file, line, lines.taken, str(error)) from None
        raw = "".join(lines.taken)
        yield Record(fields, line, raw.removesuffix("\n"))
        line = reader.line_num + 1


def _quoting(file: str, line: int, taken: list[str], error: str) -> BadInput:
    if "field larger" in error:
        return bad_input(file, f"a field is longer than {MAX_FIELD} characters", "Is a quote left open?", line)
    if "new-line character" in error or any("\r" in part for part in taken):
        return bad_input(file, "a lone carriage return stands in the line", "Save with LF or CRLF line ends.", line)
    where = f"the record that starts here runs to line {line + len(taken) - 1}" if len(taken) > 1 else "here"
    return bad_input(
        file,
        f"a quote is opened and not closed properly ({where})",
        'Close it with ", and write a quote inside quotes twice ("").',
        line,
    )


def header_problems(file: str, found: Sequence[str], required: Sequence[str], optional: Sequence[str]) -> None:
    """Check a header: the required columns in order, then any of the optional ones in order. Raises BadInput."""
    allowed = ",".join(required) + (f", then optionally any of {','.join(optional)}" if optional else "")
    for separator, named in ((";", "';'"), ("\t", "tabs")):
        if len(found) == 1 and found[0].count(separator) >= len(required) - 1:
            mend = "Save it with ',' as the separator, or bring it in with a map (satdiag docs import)."
            raise bad_input(file, f"the columns are separated by {named}", mend, 1)
    if not set(found) & set(required):
        raise bad_input(file, "the first line is not the header", f"Write {allowed}.", 1)
    repeated = [name for name, count in Counter(found).items() if count > 1]
    if repeated:
        raise bad_input(file, f"the column {quoted(repeated[0])} stands twice", f"Write {allowed}.", 1, repeated[0])
    missing = [name for name in required if name not in found]
    if missing:
        raise bad_input(file, f"the column '{missing[0]}' is missing", f"Write {allowed}.", 1, missing[0])
    unknown = [name for name in found if name not in (*required, *optional)]
    if unknown:
        raise bad_input(file, f"{quoted(unknown[0])} is not a known column", f"Write {allowed}.", 1, unknown[0])
    if list(found) != [*required, *(name for name in optional if name in found)]:
        raise bad_input(file, "the columns stand in another order", f"Write {allowed}.", 1)


def shape_problem(file: str, record: Record, header: Sequence[str]) -> Problem | None:
    """A record that is short, long, empty, or the header again; None if its shape is right."""
    count, expected = len(record.fields), len(header)
    if not record.fields:
        return Problem(file, "the line is empty", "Take it out.", record.line)
    if record.fields == list(header):
        return Problem(file, "the header stands here again", "Take the line out.", record.line)
    if count != expected:
        word = "short" if count < expected else "long"
        mend = "Write every column, blank ones too; put text with a comma in quotes."
        return Problem(file, f"the row is too {word}: {count} fields, not {expected}", mend, record.line)
    return None


def raw_fields(raw: str) -> list[str]:
    """The fields of one record as they were written, quotes included."""
    found, at = [], 0
    while at <= len(raw):
        match = _RAW_FIELD.match(raw, at)
        found.append(match[0] if match else "")
        at += len(found[-1]) + 1
    return found


def quoted(text: str) -> str:
    """A text from an input in quotes, for messages: a long one cut short, what cannot be shown as an escape."""
    return f"'{shown(text)}'"


def quoted_value(value: object) -> str:
    """A value of a TOML file for messages: texts in quotes, anything else as it would be written, cut short."""
    if isinstance(value, str):
        return quoted(value)
    try:
        return quoted(str(value)).strip("'")
    except ValueError:  # a whole number with thousands of digits
        return "a very long number"


def csv_field(text: str) -> str:
    """One field as RFC 4180 wants it: in quotes only where it must be."""
    if any(mark in text for mark in ',"\n\r'):
        return '"' + text.replace('"', '""') + '"'
    return text


def csv_line(fields: Sequence[str]) -> str:
    """One record in canonical form, without the line end."""
    return ",".join(csv_field(text) for text in fields)
