"""The one table of what a map may hold. The reader of maps and the documentation are both made from `KEYS`."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, NamedTuple

from satdiag.rows import MAX_SECONDS, parse_offset
from satdiag.sheet import zone_named
from satdiag.vocabulary import KINDS, TEMPLATES

ENCODINGS = ("utf-8", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252")
SEPARATORS = {",": ",", ";": ";", "tab": "\t", "|": "|"}
NAMED_FORMATS = ("iso", "unix-s", "unix-ms")
MAX_LINES = 10_000
Trouble = Callable[[Any], str | None]


class Key(NamedTuple):
    """One key of a map: the table it stands in, what it holds, what it says, and what is wrong with a value of it."""

    table: str
    name: str
    holds: str
    says: str
    trouble: Trouble
    required: bool = False


def _text(value: Any) -> str | None:
    return None if isinstance(value, str) and value.strip() else "is not text in quotes"


def _texts(value: Any) -> str | None:
    ok = isinstance(value, list) and value and all(_text(part) is None for part in value)
    return None if ok else 'is not a list of texts such as ["--", "ERR"]'


def _text_or_texts(value: Any) -> str | None:
    return None if _text(value) is None else _texts(value)


def _flag(value: Any) -> str | None:
    return None if isinstance(value, bool) else "is not true or false"


def _whole(value: Any) -> str | None:
    ok = isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= MAX_LINES
    return None if ok else f"is not a whole number from 0 to {MAX_LINES}"


def _number(low: float, high: float) -> Trouble:
    def trouble(value: Any) -> str | None:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:  # NaN
            return "is not a number"
        return None if low <= value <= high else f"is outside {low:g} .. {high:g}"

    return trouble


def _scale(value: Any) -> str | None:
    return "would make every reading 0" if value == 0 else _number(-1e9, 1e9)(value)


def _one_of(*words: str) -> Trouble:
    def trouble(value: Any) -> str | None:
        return None if value in words else f"is not one of {', '.join(repr(word) for word in words)}"

    return trouble


def _words(value: Any) -> str | None:
    ok = isinstance(value, dict) and value and all(isinstance(part, str) and part for part in value.values())
    return None if ok else 'is not a table of words such as { "ON" = "yes", "OFF" = "no" }'


def _when(value: Any) -> str | None:
    ok = isinstance(value, dict) and value and all(_text_or_texts(part) is None for part in value.values())
    return None if ok else 'is not a table of columns and texts such as { "Event" = "level" }'


def _zone(value: Any) -> str | None:
    if isinstance(value, str) and parse_offset(value) is not None:
        return None
    try:
        zone_named(value)
    except (ValueError, TypeError):
        return "is neither an IANA time zone such as America/Chicago nor an offset such as -05:00"
    return None


def _source(value: Any) -> str | None:
    ok = isinstance(value, str) and re.fullmatch(TEMPLATES["SOURCE"], value)
    return None if ok else "is not a source name such as import or serial:bench"


def _kind(value: Any) -> str | None:
    kinds = [kind for kind in KINDS if kind != "withdraw"]
    return None if value in kinds else f"is not one of {', '.join(kinds)}"


_COLUMN = "a column's name"
_WORDS = "a table of words"

KEYS: tuple[Key, ...] = (
    Key(
        "file",
        "encoding",
        " ".join(f"`{name}`" for name in ENCODINGS),
        "how the letters are coded; `utf-8` if left out. A byte order mark at the start of the file counts more",
        _one_of(*ENCODINGS),
    ),
    Key(
        "file",
        "separator",
        "`,` `;` `tab` `|`",
        "what stands between the fields; `,` if left out",
        _one_of(*SEPARATORS),
    ),
    Key("file", "decimal", "`.` `,`", "the decimal mark; `.` if left out", _one_of(".", ",")),
    Key(
        "file",
        "thousands",
        "`.` `,` `'` or a blank",
        "what parts groups of three digits; if left out, no number may have such groups",
        _one_of(".", ",", "'", " "),
    ),
    Key(
        "file",
        "header_line",
        "a whole number",
        "the line with the columns' names, 1 if left out; what stands above it is skipped. 0: there is none",
        _whole,
    ),
    Key("file", "columns", "a list of names", "the columns' names where header_line is 0", _texts),
    Key(
        "file",
        "skip_lines",
        "a whole number",
        "how many lines to skip after the header (a line of units), or at the start where there is none",
        _whole,
    ),
    Key("file", "remarks_start_with", "text", "lines that start with it are skipped, e.g. `#`", _text),
    Key(
        "file",
        "trailing_separator",
        "`true` `false`",
        "every line but the header ends with one separator too many",
        _flag,
    ),
    Key(
        "time",
        "columns",
        "a column's name or a list",
        "where the time stands; several columns are joined with a blank, in the order given",
        _text_or_texts,
        required=True,
    ),
    Key(
        "time",
        "format",
        "`iso` `unix-s` `unix-ms` or a pattern",
        "how the time is written; see below. Whether the day or the month comes first is never guessed",
        _text,
        required=True,
    ),
    Key(
        "time",
        "zone",
        "an IANA time zone or an offset",
        "whose local time it is; needed unless the time itself carries an offset",
        _zone,
    ),
    Key(
        "time",
        "fold",
        "`refuse` `first` `second`",
        "the hour that comes twice at the end of summer time: which of the two is meant; `refuse` if left out",
        _one_of("refuse", "first", "second"),
    ),
    Key("row", "kind", "a kind", "the kind of observation", _kind, required=True),
    Key("row", "subject", "text", "the subject, the same in every line", _text),
    Key("row", "subject_column", _COLUMN, "the subject is read from this column instead", _text),
    Key(
        "row",
        "subject_words",
        _WORDS,
        "what the texts of that column mean; a text that is not listed is refused",
        _words,
    ),
    Key("row", "subject_prefix", "text", "is put before the subject that was read, e.g. `satellite:`", _text),
    Key("row", "value", "text", "the value, the same in every line that `when` picks", _text),
    Key("row", "value_column", _COLUMN, "the value is read from this column instead", _text),
    Key(
        "row",
        "value_words",
        _WORDS,
        "what the texts of that column mean; a text that is not listed is refused, unless the kind takes numbers and "
        "it is one",
        _words,
    ),
    Key("row", "value_suffix", "text", "ends every number of that column and is taken off, e.g. `dB`", _text),
    Key("row", "scale", "a number", "numbers are multiplied by it, e.g. 1000 for A to mA; 1 if left out", _scale),
    Key("row", "offset", "a number", "is added after that; 0 if left out", _number(-1e9, 1e9)),
    Key("row", "unit", "a unit", "the unit, the same in every line; blank if left out", _text),
    Key("row", "unit_column", _COLUMN, "the unit is read from this column instead", _text),
    Key(
        "row",
        "unit_words",
        _WORDS,
        "what the texts of that column mean; a text that is not listed is refused",
        _words,
    ),
    Key(
        "row",
        "unreadable",
        "a list of texts",
        "value texts that say: tried, no reading. They become `unreadable`",
        _texts,
    ),
    Key(
        "row", "absent", "a list of texts", "value texts that say: not looked. Like a blank, they give no row", _texts
    ),
    Key(
        "row",
        "when",
        "a table of columns and texts",
        "only lines where each column holds its text (or one of a list)",
        _when,
    ),
    Key("row", "note_column", _COLUMN, "is kept as the row's note", _text),
    Key("row", "source", "a source name", "who or what saw it; `import` if left out", _source),
    Key("row", "span_s", "a number", "each value covers this many seconds before its time", _number(0, MAX_SECONDS)),
)

TABLES = ("file", "time", "row")


def keys_of(table: str) -> dict[str, Key]:
    """The keys of one table of the map by name."""
    return {key.name: key for key in KEYS if key.table == table}


def markdown_table() -> str:
    """The keys as a Markdown table, the one that stands in the documentation."""
    lines = ["| table | key | holds | what it says |", "| --- | --- | --- | --- |"]
    for key in KEYS:
        table = "[[row]]" if key.table == "row" else f"[{key.table}]"
        holds = key.holds.replace("|", "\\|")
        needed = "**needed**: " if key.required else ""
        lines.append(f"| {table} | `{key.name}` | {holds} | {needed}{key.says} |")
    return "\n".join(lines) + "\n"
