"""What the keys of one table of a map say together: contradictions, and words that the vocabulary does not know."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from satdiag.csv_text import quoted
from satdiag.mapping.time_format import format_trouble, has_offset
from satdiag.rows import Row, Wrong, check_row
from satdiag.vocabulary import UNREADABLE, Entry, entries_of, entry_of, takes_unreadable

_SOME_TIME = "2031-05-03T13:40:00Z"
_NUMBER_KEYS = ("scale", "offset", "value_suffix")


def file_problems(values: Mapping[str, Any]) -> Iterator[Wrong]:
    """What is wrong with [file], its values being sound one by one."""
    if values.get("thousands") == values.get("decimal", "."):
        yield Wrong("thousands", "it is the decimal mark too", "Name two different marks, or leave thousands out.")
    has_header = values.get("header_line", 1) > 0
    if has_header and "columns" in values:
        yield Wrong("columns", "columns are named, but the file has a header", "Take it out, or set header_line = 0.")
    if not has_header and "columns" not in values:
        yield Wrong("header_line", "there is no header and no list of columns", 'Add columns = ["...", "..."].')
    names = [name.strip() for name in values.get("columns", ())]
    if twice := [name for number, name in enumerate(names) if name in names[:number]]:
        yield Wrong("columns", f"{quoted(twice[0])} stands twice", "Give each column a name of its own.")


def time_problems(values: Mapping[str, Any]) -> Iterator[Wrong]:
    """What is wrong with [time]."""
    written = values["format"]
    if trouble := format_trouble(written):
        yield Wrong("format", f"{quoted(written)} {trouble}", "Write it like '%d.%m.%Y %H:%M:%S'.")
        return
    offset = has_offset(written)
    if offset is False and "zone" not in values:
        mend = 'Add the zone of the clock, e.g. zone = "America/Chicago" or zone = "-05:00".'
        yield Wrong("format", "the times say no offset, and no zone is named", mend)
    if offset is True and "zone" in values:
        yield Wrong("zone", "every time in this format says its offset itself", "Take zone out.")
    if "fold" in values and "zone" not in values:
        yield Wrong("fold", "there is no zone whose clocks could go back", "Take fold out, or name the zone.")


def row_problems(values: Mapping[str, Any]) -> Iterator[Wrong]:
    """What is wrong with one [[row]]."""
    shape = list(_shape_problems(values))
    yield from shape
    if not shape:
        yield from _word_problems(values)


def _shape_problems(values: Mapping[str, Any]) -> Iterator[Wrong]:
    """Keys that contradict each other or lean on one that is not there."""
    for name in ("subject", "value", "unit"):
        column = f"{name}_column"
        if name in values and column in values:
            yield Wrong(column, f"it stands beside {name}", "Keep one of the two.")
        if name != "unit" and name not in values and column not in values:
            yield Wrong("kind", f"neither {name} nor {column} is given", "Add one of the two.")
        for leaning in (f"{name}_words", f"{name}_prefix", f"{name}_suffix"):
            if leaning in values and column not in values:
                yield Wrong(leaning, f"there is no {column} that it belongs to", f"Take it out, or add {column}.")
    if "value" in values and not {"when", "value_column"} & values.keys():
        what = "the same value would be written for every line"
        yield Wrong("value", what, 'Say in which lines it was seen, e.g. when = { "Event" = "restart" }.')
    if "value_column" not in values:
        for key in ("scale", "offset", "unreadable", "absent"):
            if key in values:
                yield Wrong(key, "there is no value_column that it belongs to", "Take it out, or add value_column.")
    known = [*values.get("unreadable", ()), *values.get("absent", ()), *values.get("value_words", ())]
    texts = [text.strip() for text in known]
    if twice := [text for number, text in enumerate(texts) if text in texts[:number]]:
        what = f"{quoted(twice[0])} is given two meanings among unreadable, absent and value_words"
        yield Wrong("unreadable" if "unreadable" in values else "value_words", what, "Keep one of them.")


def _word_problems(values: Mapping[str, Any]) -> Iterator[Wrong]:
    """Words that the vocabulary does not know, as far as the map alone can tell."""
    kind = values["kind"]
    if "unreadable" in values and not takes_unreadable(kind):
        yield Wrong("unreadable", f"{kind} knows no unreadable value", "Take it out.")
    entries = [entry_of(kind, values["subject"])] if "subject" in values else list(entries_of(kind))
    if None not in entries and not any(_is_number(entry) for entry in entries if entry):
        for key in _NUMBER_KEYS:
            if key in values:
                yield Wrong(key, f"{kind} takes no numbers", "Take it out.")
    if "subject" in values:
        yield from _fixed_problems(values, entries[0])


def _is_number(entry: Entry) -> bool:
    return entry.value in ("number", "whole")


def _fixed_problems(values: Mapping[str, Any], entry: Entry | None) -> Iterator[Wrong]:
    """Try the fixed texts and the words of a map with a fixed subject as rows of the log."""
    units = entry.units if entry else ()
    unit = values.get("unit", "" if "unit_column" not in values or not units else units[0].replace("/N", "/5"))
    some = entry.states[0] if entry and entry.states else "1"
    tried = {some: "value_column"} if "value_column" in values else {values["value"]: "value"}
    tried |= dict.fromkeys(values.get("value_words", {}).values(), "value_words")
    told = set()
    for value, key in tried.items():
        row = Row(_SOME_TIME, values["kind"], values["subject"], value, "" if value == UNREADABLE else unit)
        for wrong in check_row(row, None, [value]):
            where = key if wrong.column == "value" else wrong.column
            where = where if where in values else "kind"
            if (where, wrong.what) not in told:
                told.add((where, wrong.what))
                yield Wrong(where, wrong.what, wrong.mend)
    for word in values.get("unit_words", {}).values():
        row = Row(_SOME_TIME, values["kind"], values["subject"], some, word)
        yield from (Wrong("unit_words", w.what, w.mend) for w in check_row(row, None, [some]) if w.column == "unit")
