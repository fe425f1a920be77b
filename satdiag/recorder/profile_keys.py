"""Every key of a line profile in one table, from which checks, messages and the documentation are all made."""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from satdiag.recorder import profile_checks as checks
from satdiag.recorder.profile_checks import Trouble
from satdiag.recorder.profile_pattern import MAX_CHARACTERS

PARTS = ("words", "delimited", "pattern", "json")
LINE_ENDS: dict[str, bytes | None] = {"any": None, "lf": b"\n", "crlf": b"\r\n", "cr": b"\r"}
ENCODINGS = ("ascii", "utf-8", "latin-1", "cp1252", "cp437")


class Key(NamedTuple):
    """One key: what is wrong with a value of it, what it takes and what it means, and what holds without it.

    `default` is None for a key that must be there.
    """

    trouble: Trouble
    takes: str
    default: str | None
    meaning: str


_COLUMN = 'text, or `{field = "..."}`'

TABLES: dict[str, dict[str, Key]] = {
    "": {
        "name": Key(checks.name, "a plain name", None, "stands in the rows' source, e.g. `serial:bench-lines`"),
        "kind": Key(
            checks.one_of("bench", "vehicle"),
            "bench, vehicle",
            None,
            "what is at the other end. Nothing is ever sent to a vehicle, so `[poll]` is refused for one",
        ),
        "about": Key(checks.text, "text", "blank", "what the device and its lines are, for people"),
    },
    "port": {
        "baud": Key(checks.number(50, 10_000_000, whole=True), "a whole number", "9600", "speed, bits a second"),
        "data_bits": Key(checks.one_of(5, 6, 7, 8), "5, 6, 7, 8", "8", "bits of a character"),
        "parity": Key(
            checks.one_of("none", "even", "odd", "mark", "space"),
            "none, even, odd, mark, space",
            "none",
            "the parity bit",
        ),
        "stop_bits": Key(checks.one_of(1, Decimal("1.5"), 2), "1, 1.5, 2", "1", "stop bits of a character"),
        "handshake": Key(
            checks.one_of("none", "xonxoff", "rtscts"), "none, xonxoff, rtscts", "none", "how the flow is stopped"
        ),
        "line_end": Key(
            checks.one_of(*LINE_ENDS),
            ", ".join(LINE_ENDS),
            "any",
            "what ends a line. any: a line feed, with or without a carriage return before it",
        ),
        "encoding": Key(
            checks.one_of(*ENCODINGS), ", ".join(ENCODINGS), "ascii", "how the bytes stand for characters"
        ),
        "silent_after_s": Key(
            checks.number(0.5, 86_400),
            "seconds",
            "never",
            "without a line that was understood for so long, the source counts as silent",
        ),
    },
    "poll": {
        "text": Key(checks.message, "text", None, 'what asks the device for its next line, e.g. "READ?\\n"'),
        "period_s": Key(checks.number(0.05, 86_400), "seconds", None, "how often it is asked"),
    },
    "line": {
        "part": Key(
            checks.one_of(*PARTS),
            ", ".join(PARTS),
            None,
            "how a line is parted into fields. words: at blanks and tabs; delimited: at the separator; pattern: by a "
            "regular expression; json: each line is a JSON object (RFC 8259), numbers are kept as written, true and "
            "false are these words, null as a value means unreadable and is elsewhere as if it were left out",
        ),
        "names": Key(
            checks.names,
            "list of texts",
            "fields are numbered",
            "words and delimited: the names of the fields in their order; a line with more fields is not understood. "
            'Without it the fields are called "1", "2", ...',
        ),
        "separator": Key(
            checks.separator, "text", '","', 'delimited: what stands between two fields, e.g. ";" or "\\t"'
        ),
        "quote": Key(
            checks.mark,
            "one character",
            "no quoting",
            "delimited: a field between two of these may hold the separator; the separator is one character then",
        ),
        "pattern": Key(
            checks.patterns,
            "text or list of texts",
            "needed for pattern",
            "pattern: regular expressions as Python writes them; the first that matches the whole line gives the "
            "fields, by its named groups. `\\d`, `\\w`, `\\s` mean ASCII. A line longer than "
            f"{MAX_CHARACTERS} characters is not understood. A pattern that may try too many ways is refused, and so "
            "are look-ahead, look-behind and back references",
        ),
        "required": Key(
            checks.names,
            "list of fields",
            "words, delimited: all names, or all numbers that are used; else none",
            "a line without one of these fields is not understood",
        ),
        "ignore": Key(
            checks.beginnings,
            "list of texts",
            "none",
            "a line that begins with one of these is a remark: it means nothing",
        ),
        "ignore_pattern": Key(
            checks.pattern, "text", "none", "a line that this regular expression matches as a whole means nothing"
        ),
    },
    "reading": {
        "kind": Key(checks.column, _COLUMN, None, "the kind of the observation"),
        "subject": Key(checks.column, _COLUMN, None, "its subject"),
        "value": Key(
            checks.column,
            _COLUMN,
            None,
            "its value, as it came unless a key below changes it. An empty field is not understood unless `absent` "
            'or `unreadable` holds ""; a field that the line does not have makes no reading',
        ),
        "unit": Key(checks.column, _COLUMN, "blank", "its unit; left blank beside 'unreadable'"),
        "note": Key(checks.column, _COLUMN, "blank", "a remark to keep beside it"),
        "span_s": Key(checks.column, _COLUMN, "blank", "the seconds before its time that it covers"),
        "time": Key(
            checks.column,
            'a field, `{field = "..."}`',
            "when the line came",
            "the line's own time, ISO 8601, if it carries one",
        ),
        "when": Key(
            checks.condition,
            '`{field = "...", is = "..."}`',
            "always",
            "this reading is made only of lines whose field is that text, or one of a list of texts",
        ),
        "absent": Key(
            checks.texts,
            "list of texts",
            "none",
            "values that mean that there is no reading: no row is made, and all is well",
        ),
        "unreadable": Key(
            checks.texts,
            "list of texts",
            "none",
            "values that mean that it was tried and nothing could be read: the row's value is 'unreadable'",
        ),
        "unreadable_beyond": Key(
            checks.number(0, float("1e300")),
            "a number",
            "none",
            "a number at least this far from zero, on either side, means 'unreadable' (some devices say overload so)",
        ),
        "decimal_comma": Key(checks.flag, "true, false", "false", "the value is written with a decimal comma"),
        "scale": Key(checks.scale, "a number", "as it came", "the value is multiplied by this"),
        "offset": Key(checks.number(-1e12, 1e12), "a number", "as it came", "this is added, after the scale"),
        "decimals": Key(
            checks.number(0, 12, whole=True),
            "0 .. 12",
            "as many as it takes",
            "the value is rounded to so many decimals, a half to the even digit",
        ),
    },
    "field": {
        "field": Key(
            checks.field,
            "a name or a number",
            None,
            "which field of the line; in JSON a.b is the b in the a, a.1 the first of a list",
        ),
        "words": Key(
            checks.words,
            "table of texts",
            "as it came",
            'what each text stands for, e.g. `{"1" = "yes", "0" = "no"}`; another text is not understood',
        ),
    },
    "when": {
        "field": Key(checks.field, "a name or a number", None, "which field of the line"),
        "is": Key(checks.wanted, "text or list of texts", None, "what stands in it"),
    },
}

_HEADS = {
    "": "At the top of the file",
    "port": "[port]: how the bytes come",
    "poll": "[poll]: what asks a bench device for its next line (used with --poll only)",
    "line": "[line]: how a line is parted into fields",
    "reading": "[[reading]]: one observation that a line may hold; as many as there are",
    "field": 'Inside {field = "..."}',
    "when": "Inside when = {...}",
}

NUMBER_KEYS = ("unreadable_beyond", "decimal_comma", "scale", "offset", "decimals")
"""Keys that take the value for a number."""

VALUE_KEYS = ("absent", "unreadable", *NUMBER_KEYS)
"""Keys that look at the value's text, so that it must come from a field."""


def profile_keys_markdown() -> str:
    """The keys of a line profile as Markdown tables, the ones printed in the documentation."""
    pieces = []
    for table, keys in TABLES.items():
        pieces += [f"### {_HEADS[table]}\n", "| key | takes | without it | meaning |", "| --- | --- | --- | --- |"]
        for name, key in keys.items():
            without = "must be there" if key.default is None else key.default
            cells = (cell.replace("|", r"\|") for cell in (f"`{name}`", key.takes, without, key.meaning))
            pieces.append(f"| {' | '.join(cells)} |")
        pieces.append("")
    return "\n".join(pieces)
