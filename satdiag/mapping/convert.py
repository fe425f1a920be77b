"""A foreign log and a map become rows of the log: a line gives what it says, nothing, or a problem. No guesses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timezone
from typing import NamedTuple, TypeVar

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, Problem
from satdiag.mapping.foreign import Foreign, Skipped, open_foreign, text_of
from satdiag.mapping.local_time import TimeReader, time_reader
from satdiag.mapping.map_file import Map, Part, RowForm
from satdiag.mapping.number_text import plain_number, scaled
from satdiag.rows import Row, check_rows, parse_number
from satdiag.vocabulary import UNREADABLE, entry_of

MAX_PROBLEMS = 10_000
_T = TypeVar("_T")
_MEND_WORD = "Add it to the words of the map, or mend the line."
_MEND_TIME = "Mend the line, or the format in [time] of the map."
_MEND_FOLD = 'Say which of the two it was: fold = "first" or "second" in [time]; split a file that holds both.'


class Origin(NamedTuple):
    """Where a row came from: the line of the foreign file and the [[row]] of the map."""

    line: int
    form: RowForm


@dataclass(frozen=True)
class Made:
    """What a foreign log gave. `unused` are its columns that the map does not mention; `silent` lines gave no row."""

    rows: tuple[Row, ...]
    origins: tuple[Origin, ...]
    problems: tuple[Problem, ...]
    lines: int
    silent: int
    skipped: Skipped
    unused: tuple[str, ...]
    time_column: str


class _Trouble(Exception):
    """A field that cannot be taken: its column, what is wrong, and how to mend it."""

    def __init__(self, column: str | None, what: str, mend: str) -> None:
        self.column, self.what, self.mend = column, what, mend
        super().__init__(what)


def convert(data: bytes, file: str, made: Map, id_prefix: str = "") -> Made:
    """The rows of a foreign file. With a prefix each gets an id: PREFIX-LINE, then PREFIX-LINE.2 and so on.

    Raises BadInput if the file cannot be read at all or lacks a column that the map names; what is wrong with single
    lines is in `problems`.
    """
    foreign = open_foreign(text_of(data, made.file.encoding, file), file, made)
    at = _columns(foreign, file, made)
    reader = _Lines(made, at, file)
    rows, origins = [], []
    lines = silent = 0
    for line, fields in foreign.lines:
        lines += 1
        found = reader.rows_of(line, fields)
        silent += not found
        for number, (row, form) in enumerate(found, 1):
            name = f"{id_prefix}-{line}" + (f".{number}" if number > 1 else "") if id_prefix else ""
            rows.append(row._replace(id=name))
            origins.append(Origin(line, form))
        if len(foreign.problems) + len(reader.problems) >= MAX_PROBLEMS:
            what = f"{MAX_PROBLEMS} problems up to line {line}; reading stopped there"
            mend = "Mend the first ones: so many are mostly one mistake in the map."
            foreign.problems.append(Problem(file, what, mend))
            break
    problems = sorted((*foreign.problems, *reader.problems), key=lambda problem: problem.line or 0)
    used = _mentioned(made)
    unused = tuple(name for name in foreign.columns if name and name not in used)
    time_column = " + ".join(made.time.columns)
    return Made(tuple(rows), tuple(origins), tuple(problems), lines, silent, foreign.skipped, unused, time_column)


def check_made(
    made: Made, file: str, before: Sequence[Row], naive: timezone | None, sites: Collection[str]
) -> list[Problem]:
    """Everything that is wrong: with the lines, and with the rows beside those that the job holds (`before`).

    Problems name the line and the column of the foreign file.
    """
    rows = [*before, *made.rows]
    found = check_rows(file, rows, range(len(rows)), naive, sites, sound=len(before))
    placed = (_placed(problem, len(before), made) for problem in found)
    return sorted((*made.problems, *placed), key=lambda problem: problem.line or 0)


def _placed(problem: Problem, sound: int, made: Made) -> Problem:
    number = problem.line or 0
    if number < sound:
        return replace(problem, file="a row of the job", line=None)
    line, form = made.origins[number - sound]
    columns = {"subject": form.subject.column, "value": form.value.column, "unit": form.unit.column}
    columns |= {"time": made.time_column, "note": form.note_column}
    column = columns.get(problem.column or "")
    what = problem.what if column else f"{problem.what} ([[row]] {form.nth} of the map)"
    return replace(problem, what=what, line=line, column=column)


# --- columns -----------------------------------------------------------------------------------------------------


def _references(made: Map) -> Iterator[tuple[str, str, str, int]]:
    """Every column that the map names: its name, and the table, the key and the number of the table."""
    yield from ((name, "time", "columns", 0) for name in made.time.columns)
    for form in made.rows:
        nth = form.nth - 1
        named = {"subject_column": form.subject, "value_column": form.value, "unit_column": form.unit}
        yield from ((part.column, "row", key, nth) for key, part in named.items() if part.column is not None)
        yield from ((name, "row", "when", nth) for name, _ in form.when)
        if form.note_column is not None:
            yield form.note_column, "row", "note_column", nth


def _mentioned(made: Map) -> set[str]:
    return {name for name, *_ in _references(made)}


def _columns(foreign: Foreign, file: str, made: Map) -> dict[str, int]:
    """Where each column that the map names stands. Raises BadInput for one that is missing or stands twice."""
    counts = Counter(foreign.columns)
    problems = []
    for name, table, key, nth in _references(made):
        if counts[name] == 1:
            continue
        if counts[name] > 1:
            what = f"the column {quoted(name)} stands {counts[name]} times in the header of {file}"
            mend = "Give the columns names of your own: header_line = 0, skip_lines and columns = [...]."
        else:
            shown = ", ".join(quoted(column) for column in foreign.columns[:20])
            what = f"there is no column {quoted(name)} in {file}"
            mend = f"Columns there: {shown}. Look at separator and header_line too."
        problems.append(Problem(made.name, what, mend, made.line_of(table, key, nth), key))
    if problems:
        raise BadInput(problems)
    return {name: number for number, name in enumerate(foreign.columns)}


# --- lines -------------------------------------------------------------------------------------------------------


class _Lines:
    """Turns one line after the other into rows and gathers what is wrong."""

    def __init__(self, made: Map, at: dict[str, int], file: str) -> None:
        self._map, self._at, self._file = made, at, file
        self._read_time: TimeReader = time_reader(made.time.format, made.time.zone, made.time.fold)
        self._time_at = [at[name] for name in made.time.columns]
        self._time_column = " + ".join(made.time.columns)
        self.problems: list[Problem] = []

    def rows_of(self, line: int, fields: list[str]) -> list[tuple[Row, RowForm]]:
        """The rows that a line gives, without ids."""
        found = []
        for form in self._map.rows:
            row = self._try(line, lambda form=form: self._row(form, fields))  # type: ignore[misc]
            if row is not None:
                found.append((row, form))
        if not found:
            return []
        time = self._try(line, lambda: self._time(fields))
        return [(row._replace(time=time), form) for row, form in found] if time is not None else []

    def _try(self, line: int, read: Callable[[], _T | None]) -> _T | None:
        try:
            return read()
        except _Trouble as trouble:
            self.problems.append(Problem(self._file, trouble.what, trouble.mend, line, trouble.column))
            return None

    def _time(self, fields: list[str]) -> str:
        text = " ".join(fields[number] for number in self._time_at)
        try:
            return self._read_time(text)
        except ValueError as error:
            mend = _MEND_FOLD if "came twice" in str(error) else _MEND_TIME
            raise _Trouble(self._time_column, f"{quoted(text)} {error}", mend) from None

    def _row(self, form: RowForm, fields: list[str]) -> Row | None:
        """What a line says for one [[row]], the time apart; None if it says nothing."""
        if not all(fields[self._at[name]] in texts for name, texts in form.when):
            return None
        seen = form.value.text if form.value.column is None else fields[self._at[form.value.column]]
        if form.value.column is not None and (not seen or seen in form.absent):
            return None
        subject = self._text(form.subject, fields)
        value = self._value(form, subject, seen)
        unit = "" if value == UNREADABLE else self._text(form.unit, fields)
        note = fields[self._at[form.note_column]] if form.note_column is not None else ""
        return Row("", form.kind, subject, value, unit, form.source, note, form.span_s)

    def _text(self, part: Part, fields: list[str]) -> str:
        """A subject or a unit."""
        if part.column is None:
            return part.text
        seen = fields[self._at[part.column]]
        return part.prefix + (seen if part.words is None else _word(part, seen))

    def _value(self, form: RowForm, subject: str, seen: str) -> str:
        if form.value.column is None:
            return seen
        if seen in form.unreadable:
            return UNREADABLE
        if form.value.words is not None and seen in form.value.words:
            return form.value.words[seen]
        entry = entry_of(form.kind, subject)
        if entry is not None and entry.value in ("number", "whole"):
            return self._number(form, seen)
        return seen if form.value.words is None else _word(form.value, seen)

    def _number(self, form: RowForm, seen: str) -> str:
        column, marks = form.value.column, self._map.file
        if not seen.endswith(form.suffix):
            raise _Trouble(column, f"{quoted(seen)} does not end in {quoted(form.suffix)}", "Is it in another unit?")
        bare = seen.removesuffix(form.suffix).rstrip()
        number = plain_number(bare, marks.decimal, marks.thousands)
        if number is None or parse_number(number) is None:
            groups = f" and groups parted by {quoted(marks.thousands)}" if marks.thousands else ""
            what = f"{quoted(seen)} is not a number with the decimal mark '{marks.decimal}'{groups}"
            mend = "Name it in unreadable, absent or value_words if it is a word; else look at decimal and thousands."
            raise _Trouble(column, what, mend)
        return scaled(number, form.scale, form.offset)


def _word(part: Part, seen: str) -> str:
    words = part.words or {}
    if seen not in words:
        shown = ", ".join(quoted(word) for word in list(words)[:20])
        raise _Trouble(part.column, f"{quoted(seen)} is none of the words {shown}", _MEND_WORD)
    return words[seen]
