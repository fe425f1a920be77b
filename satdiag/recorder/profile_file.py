"""Reads the text of a line profile and names everything that is wrong with it, key by key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any, NamedTuple

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, Problem, bad_input, named, shown
from satdiag.recorder.profile_checks import MAX_FIELDS
from satdiag.recorder.profile_keys import NUMBER_KEYS, TABLES, VALUE_KEYS
from satdiag.recorder.profile_pattern import compile_pattern
from satdiag.toml_text import deep_key
from satdiag.vocabulary import KINDS, UNREADABLE, Entry, entry_of, subjects_of, takes_unreadable, unit_allowed

MAX_BYTES = 1_000_000
OWN_KINDS = ("clock", "gap")
"""Kinds that the recorder alone writes, of itself."""

COLUMNS = ("kind", "subject", "value", "unit", "note", "span_s", "time")
_KEYS_OF_PART = {
    "names": ("words", "delimited"),
    "separator": ("delimited",),
    "quote": ("delimited",),
    "pattern": ("pattern",),
}
_HEADING = re.compile(r"\s*\[\[?\s*([A-Za-z0-9_-]+)[^\]]*\]")

Table = Mapping[str, Any]


class _Wrong(NamedTuple):
    """One thing wrong: in which table (and which of that name), at which key, and how to mend it."""

    table: str
    nth: int
    key: str | None
    what: str
    mend: str


def read_profile_text(text: str, file: str) -> dict[str, Any]:
    """A line profile's TOML as checked data (see `profile_keys`). Raises BadInput with every problem in it."""
    data = _toml(text, file)
    wrongs = list(_shape(data)) or list(_together(data))
    if wrongs:
        problems = [
            Problem(file, what, mend, _line_of(text, table, nth, key), key) for table, nth, key, what, mend in wrongs
        ]
        raise BadInput(sorted(problems, key=lambda problem: problem.line or 0))
    return data


def _toml(text: str, file: str) -> dict[str, Any]:
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise bad_input(file, "the file is larger than 1 MB", "A line profile is a page or two at most.")
    if line := deep_key(text):
        raise bad_input(file, "a key has a hundred parts or more", "Write a key as one word.", line)
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"at line (\d+)", str(error))
        what = shown(re.sub(r" \(at .*\)$", "", str(error)), 200)
        line = int(found[1]) if found else text.count("\n") + 1
        mend = "Write key = value, with text in \"quotes\" and patterns in 'single quotes'."
        raise bad_input(file, f"not valid TOML: {what}", mend, line) from None
    except RecursionError:
        raise bad_input(file, "it is nested too deeply", "A line profile has no such depth.") from None
    except (ValueError, ArithmeticError):  # a whole number with thousands of digits, an exponent beyond all bounds
        raise bad_input(file, "it holds a number that is too long", "Write a shorter number.") from None


def _line_of(text: str, table: str, nth: int, key: str | None) -> int | None:
    """The line of a key in a table, else of the table's head, else None. `nth` counts tables of one name."""
    lines = _tables(text).get((table, nth), ())
    if key:
        statement = re.compile(rf"\s*\"?{re.escape(key)}\"?\s*[.=]")
        for number, line in lines:
            if statement.match(line) and not _HEADING.match(line):
                return number
    return next((number for number, line in lines if _HEADING.match(line)), None)


@lru_cache(maxsize=4)
def _tables(text: str) -> Mapping[tuple[str, int], list[tuple[int, str]]]:
    """The lines of each table with their numbers, by its name and which of that name it is."""
    current, seen = "", {"": 0}
    found: dict[tuple[str, int], list[tuple[int, str]]] = {}
    for number, line in enumerate(text.split("\n"), 1):
        if heading := _HEADING.match(line):
            current = heading[1]
            seen[current] = seen.get(current, -1) + 1
        found.setdefault((current, seen[current]), []).append((number, line))
    return found


# --- each key alone ---------------------------------------------------------------------------------------------


def _shape(data: Table) -> Iterator[_Wrong]:
    tables = {name for name in TABLES if name not in ("", "field", "when")}
    yield from _keys("", 0, {key: value for key, value in data.items() if key not in tables})
    for name in ("port", "poll", "line"):
        if name in data and not isinstance(data[name], Mapping):
            yield _Wrong("", 0, name, f"'{name}' is not a table", f"Write [{name}] on a line of its own.")
        elif name in data:
            yield from _keys(name, 0, data[name])
    if "line" not in data:
        yield _Wrong("", 0, None, "the table [line] is missing", 'Add [line] with part = "words" or another parting.')
    readings = data.get("reading")
    if not isinstance(readings, list) or not readings or not all(isinstance(each, Mapping) for each in readings):
        mend = "Add [[reading]] with kind, subject and value, on lines of their own."
        yield _Wrong("", 0, "reading", "there is no [[reading]]: nothing would come of any line", mend)
        return
    for nth, reading in enumerate(readings):
        yield from _keys("reading", nth, reading)
        for key in COLUMNS:
            if isinstance(reading.get(key), Mapping):
                yield from _keys("field", nth, reading[key], key)
        if isinstance(reading.get("when"), Mapping):
            yield from _keys("when", nth, reading["when"], "when")


def _keys(name: str, nth: int, table: Table, outer: str | None = None) -> Iterator[_Wrong]:
    """What is wrong with the keys of one table; one in braces is the value of the key `outer` of a reading."""
    keys, where = TABLES[name], "reading" if outer else name
    shown = f"{outer} = {{...}}" if outer else f"[{name}]" if name else "the profile"
    for key, value in table.items():
        at = outer or key
        if key not in keys:
            mend = f"Known there: {', '.join(keys)}" + (
                ", and [port], [poll], [line], [[reading]]." if not name else "."
            )
            yield _Wrong(where, nth, at, f"unknown key {quoted(key)} in {shown}", mend)
        elif trouble := keys[key].trouble(value):
            mend = f"Takes: {keys[key].takes}." if "`" not in keys[key].takes else "Mend it."
            yield _Wrong(where, nth, at, f"{key}: {_shown(value)} {trouble}", mend)
    for key, entry in keys.items():
        if entry.default is None and key not in table:
            yield _Wrong(where, nth, outer, f"'{key}' is missing in {shown}", f"Add it: {entry.meaning}.")


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return "what stands in braces"
    try:
        return quoted(value) if isinstance(value, str) else quoted(str(value))[1:-1]
    except (ValueError, RecursionError):  # a whole number with thousands of digits
        return "a very long number"


# --- keys beside each other -------------------------------------------------------------------------------------


def _together(data: Table) -> Iterator[_Wrong]:
    if data["kind"] == "vehicle" and "poll" in data:
        mend = "Take [poll] out: nothing is ever sent to a vehicle."
        yield _Wrong("poll", 0, None, "a profile of kind vehicle has the table [poll]", mend)
    if data["kind"] == "vehicle" and data.get("port", {}).get("handshake", "none") != "none":
        mend = 'Write handshake = "none": a handshake sends, and nothing is ever sent to a vehicle.'
        yield _Wrong("port", 0, "handshake", "a profile of kind vehicle has a handshake", mend)
    if "poll" in data:
        yield from _poll(data)
    yield from _parting(data["line"])
    for nth, reading in enumerate(data["reading"]):
        yield from _reading(nth, reading, data["line"])


def _poll(data: Table) -> Iterator[_Wrong]:
    encoding = data.get("port", {}).get("encoding", "ascii")
    try:
        data["poll"]["text"].encode(encoding)
    except UnicodeEncodeError:
        yield _Wrong("poll", 0, "text", f"the text cannot be written in {encoding}", "Mend it or [port] encoding.")


def _parting(line: Table) -> Iterator[_Wrong]:
    part: str = line["part"]
    for key, parts in _KEYS_OF_PART.items():
        if key in line and part not in parts:
            what = f"'{key}' means nothing where lines are parted by '{part}'"
            yield _Wrong("line", 0, key, what, f'Take it out, or write part = "{parts[0]}".')
    if part == "pattern" and "pattern" not in line:
        yield _Wrong("line", 0, "part", "'pattern' is missing", "Add pattern = '...' with named groups.")
    if "quote" in line and len(line.get("separator", ",")) != 1:
        what = "with 'quote' the separator must be one character"
        yield _Wrong("line", 0, "separator", what, "Take 'quote' out or shorten it.")
    if "quote" in line and line["quote"] == line.get("separator", ","):
        yield _Wrong("line", 0, "quote", "'quote' is the separator as well", "Name another character.")
    for name in line.get("required", ()):
        if trouble := _unknown_field(name, line):
            yield _Wrong("line", 0, "required", *trouble)


def _known_fields(line: Table) -> frozenset[str] | None:
    """The fields that lines may have; None: any name (JSON), or any number (neither names nor a pattern)."""
    if line["part"] == "pattern":
        texts = line.get("pattern", ())
        patterns = [texts] if isinstance(texts, str) else texts
        return frozenset(name for text in patterns for name in compile_pattern(text).groupindex)
    return frozenset(line["names"]) if "names" in line else None


def _unknown_field(name: str | int, line: Table) -> tuple[str, str] | None:
    """What is wrong with the name of a field, and how to mend it; None: nothing."""
    text, known = str(name), _known_fields(line)
    if known is not None:
        mend = f"Fields of a line: {named(sorted(known))}."
        return None if text in known else (f"there is no field {quoted(text)}", mend)
    if line["part"] == "json" or (re.fullmatch(r"[1-9]\d{0,2}", text, re.ASCII) and int(text) <= MAX_FIELDS):
        return None
    what = f"there is no field {quoted(text)}: without 'names' fields are numbered 1 .. {MAX_FIELDS}"
    return what, "Add 'names' to [line]."


def _reading(nth: int, reading: Table, line: Table) -> Iterator[_Wrong]:
    fields = {key: reading[key]["field"] for key in (*COLUMNS, "when") if isinstance(reading.get(key), Mapping)}
    for key, name in fields.items():
        if trouble := _unknown_field(name, line):
            yield _Wrong("reading", nth, key, *trouble)
    if isinstance(reading.get("time"), str):
        mend = 'Write {field = "..."}, or leave it out: the time when the line came.'
        yield _Wrong("reading", nth, "time", "a fixed time would be that of no line", mend)
    for key in VALUE_KEYS:
        if key in reading and "value" not in fields:
            yield _Wrong("reading", nth, key, f"'{key}' means nothing beside a fixed value", "Take it out.")
    if "value" in fields and "words" in reading["value"]:
        for key in NUMBER_KEYS:
            if key in reading:
                what = f"'{key}' and 'words' both say what the value becomes"
                yield _Wrong("reading", nth, key, what, "Take one of them out.")
    both = set(reading.get("absent", ())) & set(reading.get("unreadable", ()))
    if both:
        what = f"{quoted(min(both))} cannot both be absent and unreadable"
        yield _Wrong("reading", nth, "absent", what, "Name it in one of them.")
    yield from _vocabulary(nth, reading)


def _vocabulary(nth: int, reading: Table) -> Iterator[_Wrong]:
    """What could never become an observation, as far as it is written out."""
    for kind in _possible(reading["kind"]):
        if kind in OWN_KINDS:
            what = f"{quoted(kind)} is written by the recorder alone, of itself"
            yield _Wrong("reading", nth, "kind", what, "Take it out.")
        elif kind not in KINDS:
            what = f"{quoted(kind)} is not a kind of observation"
            yield _Wrong("reading", nth, "kind", what, f"Allowed: {', '.join(KINDS)}.")
    kind = reading["kind"]
    if not isinstance(kind, str) or kind not in KINDS:
        return
    for subject in _possible(reading["subject"]):
        entry = entry_of(kind, subject)
        if entry is None:
            what = f"{quoted(subject)} is not a subject of '{kind}'"
            yield _Wrong("reading", nth, "subject", what, f"Allowed: {subjects_of(kind)}.")
        elif isinstance(reading["subject"], str):
            yield from _value_and_unit(nth, reading, entry)


def _value_and_unit(nth: int, reading: Table, entry: Entry) -> Iterator[_Wrong]:
    where = f"{entry.kind} {reading['subject']}"
    for unit in _possible(reading.get("unit", "")):
        if not unit_allowed(entry, unit):
            mend = f"Allowed: {', '.join(entry.units) or 'no unit'}."
            yield _Wrong("reading", nth, "unit", f"{quoted(unit)} is not a unit of {where}", mend)
    states = (*entry.states, *([UNREADABLE] if takes_unreadable(entry.kind) else []))
    for value in _possible(reading["value"]):
        if entry.value == "state" and value not in states:
            mend = f"Allowed: {', '.join(states)}."
            yield _Wrong("reading", nth, "value", f"{quoted(value)} is not a state of {where}", mend)


def _possible(column: Any) -> list[str]:
    """The texts that a column may hold, as far as the profile says: a fixed one, or those of its words."""
    return [column] if isinstance(column, str) else list(column.get("words", {}).values())
