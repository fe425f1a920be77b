"""Reading a foreign CSV file: its letters, its header, and its lines with their numbers. What is doubtful is told."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from satdiag.csv_text import MAX_FIELD, quoted
from satdiag.errors import BadInput, Problem, bad_input
from satdiag.mapping.map_file import FileForm, Map

MAX_BYTES = 300_000_000

# UTF-16 without one would leave the order of its bytes open (RFC 2781).
_MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


@dataclass
class Skipped:
    """How many lines said nothing, by why."""

    blank: int = 0
    remarks: int = 0
    headers: int = 0


@dataclass
class Foreign:
    """A foreign file, open at its first line of data. `lines` can be gone through once and gathers `problems`.

    A line is its number in the file (the first is 1; a quoted field may hold line ends) and its fields without the
    blanks around them.
    """

    columns: tuple[str, ...]
    lines: Iterator[tuple[int, list[str]]]
    problems: list[Problem] = field(default_factory=list)
    skipped: Skipped = field(default_factory=Skipped)


def text_of(data: bytes, encoding: str, file: str) -> str:
    """The file as text with LF line ends. Raises BadInput where it is not in that encoding."""
    if len(data) > MAX_BYTES:
        raise bad_input(file, f"the file is larger than {MAX_BYTES} bytes", "Split it into parts.")
    mark, used = next((pair for pair in _MARKS if data.startswith(pair[0])), (b"", encoding))
    if used == "utf-16":
        what = "UTF-16 without a byte order mark: which byte comes first is open"
        raise bad_input(file, what, "Set encoding to utf-16-le or utf-16-be.", 1)
    try:
        text = data[len(mark) :].decode(used)
    except UnicodeDecodeError as error:
        line = data[len(mark) : len(mark) + error.start].decode(used, "replace").count("\n") + 1
        what = f"byte 0x{error.object[error.start]:02x} is not {used}"
        raise bad_input(file, what, "Set encoding in the map to what the file is written in.", line) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        what = "a NUL character stands in the file"
        raise bad_input(file, what, "It is no text in this encoding (UTF-16 perhaps?), or it is damaged.", line)
    return text.replace("\r\n", "\n")


def open_foreign(text: str, file: str, made: Map) -> Foreign:
    """The header of a foreign file, and its lines to come. Raises BadInput if the columns cannot be told."""
    form = made.file
    source = _Records(text, file, form)
    if form.header_line == 0:
        source.skip(form.skip_lines)
        columns = form.columns
    else:
        source.skip(form.header_line - 1)
        columns = _header(source, file, form)
        source.skip(form.skip_lines)
    source.mark = form.remarks_start_with  # the header may start with the mark
    foreign = Foreign(columns, iter(()))
    foreign.lines = _lines(source, foreign, file, form)
    return foreign


def _header(source: _Records, file: str, form: FileForm) -> tuple[str, ...]:
    found = source.record()
    columns = tuple(name.strip() for name in found[1]) if found else ()
    if not any(columns):
        what = f"there is no header in line {form.header_line}"
        raise bad_input(
            file, what, "Set header_line in the map to the line with the columns' names.", form.header_line
        )
    return columns


def _lines(source: _Records, foreign: Foreign, file: str, form: FileForm) -> Iterator[tuple[int, list[str]]]:
    """The lines of data; problems of their shape go into `foreign.problems`, and broken quoting ends it there."""
    while True:
        try:
            found = source.record()
        except BadInput as error:
            foreign.problems += error.problems
            return
        if found is None:
            foreign.skipped.remarks = source.remarks
            return
        line, fields = found[0], [text.strip() for text in found[1]]
        if not any(fields):
            foreign.skipped.blank += 1
        elif tuple(fields) == foreign.columns:
            foreign.skipped.headers += 1
        elif trouble := _shape_trouble(fields, foreign.columns, form):
            foreign.problems.append(Problem(file, *trouble, line))
        else:
            yield line, fields[: len(foreign.columns)]


def _shape_trouble(fields: Sequence[str], columns: Sequence[str], form: FileForm) -> tuple[str, str] | None:
    expected = len(columns) + form.trailing_separator
    if len(fields) == expected and not (form.trailing_separator and fields[-1]):
        return None
    if len(fields) == expected:
        return f"text follows the last column: {quoted(fields[-1])}", "Take trailing_separator out of the map."
    word = "short" if len(fields) < expected else "long"
    mend = f"Is '{form.separator}' the separator, and is text that holds one in quotes?".replace("\t", "tab")
    if len(fields) == expected + 1 and not fields[-1]:
        mend = "If every line ends with a separator, set trailing_separator = true in [file] of the map."
    elif len(fields) > expected and form.decimal == form.separator:
        mend = "Decimal commas must stand in quotes where the comma is the separator too."
    return f"the line is too {word}: {len(fields)} fields, not {expected}", mend


class _Records:
    """The records of a CSV text one by one, strict about quoting, with the line that each starts at."""

    def __init__(self, text: str, file: str, form: FileForm) -> None:
        self._source = io.StringIO(text, newline="\n")
        self._file = file
        self.mark = ""
        self._line = 0
        self._taken: list[str] = []
        self.remarks = 0
        csv.field_size_limit(MAX_FIELD)
        self._reader = csv.reader(iter(self._next_line, ""), delimiter=form.separator, strict=True)

    def skip(self, count: int) -> None:
        """Leave out so many lines, whatever is in them."""
        for _ in range(count):
            self._line += bool(self._source.readline())

    def record(self) -> tuple[int, list[str]] | None:
        """The line number and the fields of the next record, None at the end. Raises BadInput."""
        self._taken.clear()
        try:
            fields = next(self._reader)
        except StopIteration:
            return None
        except csv.Error as error:
            raise self._broken(str(error)) from None
        return self._line - len(self._taken) + 1, fields

    def _next_line(self) -> str:
        line = self._source.readline()
        self._line += bool(line)
        while self.mark and not self._taken and line.startswith(self.mark):
            self.remarks += 1
            line = self._source.readline()
            self._line += bool(line)
        if line:
            self._taken.append(line)
        return line

    def _broken(self, error: str) -> BadInput:
        first = self._line - len(self._taken) + 1
        if "field larger" in error:
            what = f"a field is longer than {MAX_FIELD} characters"
            return bad_input(self._file, what, "Is a quote left open?", first)
        if any("\r" in line for line in self._taken):
            what = "a lone carriage return stands in the line"
            return bad_input(self._file, what, "Save the file with LF or CRLF line ends.", first)
        where = f"the record that starts here runs to line {self._line}" if len(self._taken) > 1 else "here"
        what = f"a quote is opened and not closed properly ({where})"
        return bad_input(self._file, what, 'Close it with ", and write a quote inside quotes twice ("").', first)
