"""A map, MAP.toml, as typed data: how a foreign CSV log is written, and what each of its lines gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from decimal import Decimal
from typing import Any

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, Problem
from satdiag.mapping.keys import SEPARATORS, TABLES, keys_of
from satdiag.mapping.local_time import zone_of
from satdiag.mapping.map_checks import file_problems, row_problems, time_problems
from satdiag.sheet import line_of_key, load_toml


@dataclass(frozen=True)
class FileForm:
    """How the foreign file is written: letters, fields, numbers, and where its columns' names stand."""

    encoding: str = "utf-8"
    separator: str = ","
    decimal: str = "."
    thousands: str = ""
    header_line: int = 1
    columns: tuple[str, ...] = ()
    skip_lines: int = 0
    remarks_start_with: str = ""
    trailing_separator: bool = False


@dataclass(frozen=True)
class TimeForm:
    """Where the time stands, how it is written and whose it is; `fold` is 'refuse', 'first' or 'second'."""

    columns: tuple[str, ...]
    format: str
    zone: tzinfo | None = None
    fold: str = "refuse"


@dataclass(frozen=True)
class Part:
    """Where one text of an observation comes from: `text` itself, or a column, its words, and a prefix."""

    text: str = ""
    column: str | None = None
    words: Mapping[str, str] | None = None
    prefix: str = ""


@dataclass(frozen=True)
class RowForm:
    """One observation that a line gives. `nth` counts the [[row]] tables of the map from 1."""

    nth: int
    kind: str
    subject: Part
    value: Part
    unit: Part
    suffix: str = ""
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)
    unreadable: frozenset[str] = frozenset()
    absent: frozenset[str] = frozenset()
    when: tuple[tuple[str, frozenset[str]], ...] = ()
    note_column: str | None = None
    source: str = "import"
    span_s: str = ""


@dataclass(frozen=True)
class Map:
    """A map as a whole. `text` is the file it was read from, for messages; `name` that file's name."""

    name: str
    text: str
    file: FileForm
    time: TimeForm
    rows: tuple[RowForm, ...]

    def line_of(self, table: str, key: str, nth: int = 0) -> int | None:
        """The line of a key of the map; `nth` counts repeated tables from 0."""
        return line_of_key(self.text, table, key, nth)


def parse_map(text: str, name: str = "map.toml") -> Map:
    """A map from TOML text. Raises BadInput naming everything that is wrong with it."""
    data = load_toml(text, name)
    problems = [
        Problem(name, f"unknown table or key {quoted(table)}", "Known tables: [file], [time], [[row]].", 1)
        for table in data
        if table not in TABLES
    ]
    rows = data.get("row", [])
    if not isinstance(rows, list) or not rows:
        mend = "Write [[row]], once for each observation that a line gives."
        problems.append(Problem(name, "no [[row]] says what a line gives", mend, line_of_key(text, "row")))
        rows = []
    tables = [("file", data.get("file", {}), 0), ("time", data.get("time", {}), 0)]
    tables += [("row", row, nth) for nth, row in enumerate(rows)]
    for table, values, nth in tables:
        problems += _table_problems(text, name, table, values, nth)
    if problems:
        raise BadInput(problems)
    return Map(name, text, _file(data.get("file", {})), _time(data["time"]), tuple(_rows(rows)))


def _table_problems(text: str, name: str, table: str, values: Any, nth: int) -> list[Problem]:
    """What is wrong with one table: its keys one by one, and if those are sound, all together."""
    if not isinstance(values, dict):
        heading = f"[[{table}]]" if table == "row" else f"[{table}]"
        return [Problem(name, f"'{table}' is not a table", f"Write {heading} on a line of its own.", 1)]
    known = keys_of(table)
    problems = []
    for key, value in values.items():
        line = line_of_key(text, table, key, nth)
        if key not in known:
            mend = f"Known here: {', '.join(known)}."
            problems.append(Problem(name, f"unknown key {quoted(key)}", mend, line, quoted(key)[1:-1]))
        elif trouble := known[key].trouble(value):
            problems.append(Problem(name, f"{_shown(value)} {trouble}", "Mend the value.", line, key))
    for key, entry in known.items():
        if entry.required and key not in values:
            head = line_of_key(text, table, None, nth)
            problems.append(Problem(name, f"'{key}' is missing in [{table}]", "Add it.", head, key))
    if problems:
        return problems
    found = {"file": file_problems, "time": time_problems, "row": row_problems}[table](values)
    return [
        Problem(name, wrong.what, wrong.mend, line_of_key(text, table, wrong.column, nth), wrong.column)
        for wrong in found
    ]


def _shown(value: Any) -> str:
    try:
        return quoted(str(value))
    except ValueError:  # a whole number with thousands of digits
        return "a very long number"


def _file(values: Mapping[str, Any]) -> FileForm:
    given = dict(values)
    given["separator"] = SEPARATORS[given.get("separator", ",")]
    given["columns"] = tuple(name.strip() for name in given.get("columns", ()))
    return FileForm(**given)


def _time(values: Mapping[str, Any]) -> TimeForm:
    zone = zone_of(values["zone"]) if "zone" in values else None
    columns = tuple(name.strip() for name in _as_list(values["columns"]))
    return TimeForm(columns, values["format"], zone, values.get("fold", "refuse"))


def _rows(tables: list[dict[str, Any]]) -> list[RowForm]:
    return [_row(nth, values) for nth, values in enumerate(tables, 1)]


def _row(nth: int, values: Mapping[str, Any]) -> RowForm:
    when = values.get("when", {}).items()
    note_column = values.get("note_column")
    return RowForm(
        nth,
        values["kind"],
        _part(values, "subject"),
        _part(values, "value"),
        _part(values, "unit"),
        suffix=values.get("value_suffix", ""),
        scale=Decimal(str(values.get("scale", 1))),
        offset=Decimal(str(values.get("offset", 0))),
        unreadable=frozenset(text.strip() for text in values.get("unreadable", ())),
        absent=frozenset(text.strip() for text in values.get("absent", ())),
        when=tuple((name.strip(), frozenset(text.strip() for text in _as_list(texts))) for name, texts in when),
        note_column=note_column.strip() if note_column is not None else None,
        source=values.get("source", "import"),
        span_s=f"{Decimal(str(values['span_s'])):f}" if "span_s" in values else "",
    )


def _part(values: Mapping[str, Any], name: str) -> Part:
    column, words = values.get(f"{name}_column"), values.get(f"{name}_words")
    return Part(
        values.get(name, ""),
        column.strip() if column is not None else None,
        {text.strip(): word for text, word in words.items()} if words is not None else None,
        values.get(f"{name}_prefix", ""),
    )


def _as_list(value: str | list[str]) -> list[str]:
    return [value] if isinstance(value, str) else value
