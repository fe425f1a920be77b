"""Small changes to a sound input, each named by an operator and two numbers: drawn at random, by hypothesis, or kept.

An input is (seed, changes): the same plan gives the same bytes, so that what broke something can be told in a line,
made smaller by leaving changes out, and put into a test.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

LARGEST = 400_000
"""Bytes of an input: what grows beyond it is cut."""

MOST_NUMBER = 2**32 - 1


class Change(NamedTuple):
    """One change: the operator, where it acts and with what, both 0..`MOST_NUMBER`."""

    operator: str
    where: int
    what: int


Operator = Callable[[bytes, int, int], bytes]

NUMBERS = (
    *(
        "0",
        "-0",
        "-1",
        "1",
        "+1",
        "00012",
        ".5",
        "7.",
        "1e1",
        "1e308",
        "1e309",
        "-1e999",
        "1e-400",
        "1E+10",
        "4e9999",
    ),
    *("NaN", "nan", "inf", "-Infinity", "1_000", "0x10", "1,5", "1.5.2", "--", "−5", "١٢", "１２", "²", "1" * 400),
    *("9" * 5000, "0." + "3" * 3000, "2147483648", "9223372036854775808", "-9223372036854775809", "1e-7", "360.0001"),
)
TIMES = (
    *("2031-05-03T13:40:00Z", "2031-05-03T13:40:60Z", "2031-05-03T24:00:00Z", "2031-02-29T00:00:00Z"),
    *(
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-12:00",
        "9999-12-31T23:59:59.999999Z",
        "0001-01-01T00:00:00Z",
    ),
    *("2038-01-19T03:14:08Z", "1969-12-31T23:59:59Z", "1969-12-31T23:59:59.5-23:59", "2100-02-29T00:00:00Z"),
    *("2031-03-09T02:30:00", "2031-11-02T01:30:00", "2031-05-03T13:40:00+99:99", "2031-05-03 13:40:00Z"),
    *(
        "2031-W18-6",
        "20310503T134000Z",
        "1677-09-21T00:00:00Z",
        "2262-04-12T00:00:00Z",
        "2031-05-03T13:40:00.1234567Z",
    ),
)
ODD_TEXTS = (
    *(
        "",
        " ",
        "\t",
        "\x00",
        "\x1b[31m",
        "\x7f",
        "\x85",
        "\u2028",
        "\u200f",
        "\u202e",
        "\ufeff",
        "\ufffd",
        "e\u0301" * 40,
    ),
    *("é", "文", "😀", "ß", "İ", "ǆ", "\U0010ffff", "٣", "x" * 70_000, "é" * 300, '"', "''", '"""', "\\", "\\ud800"),
    *("\\u0000", "%s%n", "{0}{x}", "{{7*7}}", "<script>x</script>", "&amp;", "../../x", "C:\\x", "CON", "nul.txt"),
    *("=1+1", "@x", "#", ";", ",", ":", "=", "[", "]", "{", "}", "[" * 2000, "(" * 2000, "{" * 600, "a." * 900 + "a"),
    *("true", "false", "null", "None", "unreadable", "any", "vehicle", "open", "satellite:", "withdraw", "UTC"),
    *("-----", "\r", "\r\n", "\n", "\n\n\n", "\x1f", "\x1e", "(a+)+$", "(?P<n>", "[[:alpha:]]", "\\d{1,9999}"),
)
ODD = (*NUMBERS, *TIMES, *ODD_TEXTS)

ODD_BYTES = (
    *(
        b"\xff",
        b"\xc3\x28",
        b"\xed\xa0\x80",
        b"\xf4\x90\x80\x80",
        b"\xef\xbb\xbf",
        b"\xff\xfe",
        b"\x00",
        b"\x1a",
        b"\xc2",
    ),
    *(
        b"\xe2\x80",
        b"\r",
        b"\n",
        b"\r\n",
        b"\t",
        b'"',
        b"'",
        b",",
        b";",
        b"\\",
        b"\x80" * 40,
        b"\x00" * 512,
        b"$",
        b"*",
    ),
)
_TOKEN = re.compile(rb"[^\s,;=\[\]{}()<>\"':]+")


def _odd(what: int) -> bytes:
    return ODD[what % len(ODD)].encode("utf-8", "surrogatepass")


def _span(data: bytes, where: int, what: int) -> tuple[int, int]:
    """A stretch of the input: short ones mostly."""
    start = where % (len(data) + 1)
    length = (what >> 4) % (5, 40, 400, max(len(data), 1))[what % 4] + 1
    return start, min(start + length, len(data))


def _flip(data: bytes, where: int, what: int) -> bytes:
    if not data:
        return b"\x00"
    at = where % len(data)
    return data[:at] + bytes([data[at] ^ (1 << what % 8)]) + data[at + 1 :]


def _byte(data: bytes, where: int, what: int) -> bytes:
    at = where % (len(data) + 1)
    return data[:at] + bytes([what % 256]) + data[at + 1 :]


def _delete(data: bytes, where: int, what: int) -> bytes:
    start, end = _span(data, where, what)
    return data[:start] + data[end:]


def _double(data: bytes, where: int, what: int) -> bytes:
    start, end = _span(data, where, what)
    return data[:end] + data[start:end] + data[end:]


def _often(data: bytes, where: int, what: int) -> bytes:
    start, end = _span(data, where, what)
    piece = data[start:end] or b"x"
    return data[:end] + piece * min(2000, LARGEST // len(piece)) + data[end:]


def _cut(data: bytes, where: int, what: int) -> bytes:
    at = where % (len(data) + 1)
    return data[at:] if what % 8 == 0 else data[:at]


def _put(data: bytes, where: int, what: int) -> bytes:
    at = where % (len(data) + 1)
    return data[:at] + _odd(what) + data[at:]


def _put_bytes(data: bytes, where: int, what: int) -> bytes:
    at = where % (len(data) + 1)
    return data[:at] + ODD_BYTES[what % len(ODD_BYTES)] + data[at:]


def _token(data: bytes, where: int, what: int) -> bytes:
    """A word or number of the input becomes something odd, or another word of the same input."""
    found = list(_TOKEN.finditer(data[:LARGEST]))
    if not found:
        return _put(data, where, what)
    one = found[where % len(found)]
    other = found[(what >> 8) % len(found)][0] if what % 4 == 0 else _odd(what >> 2)
    return data[: one.start()] + other + data[one.end() :]


def _near_number(data: bytes, where: int, what: int) -> bytes:
    """A whole number of the input becomes one that is a step, a sign or a factor away."""
    found = list(re.finditer(rb"\d+", data[:LARGEST]))
    if not found:
        return _put(data, where, what)
    one = found[where % len(found)]
    number = int(one[0][:300])
    made = (number + 1, number - 1, -number, number * 10, number * 1000, number // 2, number + 2**31, 0)[what % 8]
    return data[: one.start()] + str(made).encode() + data[one.end() :]


def _lines(data: bytes) -> list[bytes]:
    return data.split(b"\n")


def _line_again(data: bytes, where: int, what: int) -> bytes:
    lines = _lines(data)
    lines.insert(what % (len(lines) + 1), lines[where % len(lines)])
    return b"\n".join(lines)


def _line_away(data: bytes, where: int, what: int) -> bytes:
    lines = _lines(data)
    del lines[where % len(lines)]
    return b"\n".join(lines)


def _lines_swapped(data: bytes, where: int, what: int) -> bytes:
    lines = _lines(data)
    first, second = where % len(lines), what % len(lines)
    lines[first], lines[second] = lines[second], lines[first]
    return b"\n".join(lines)


def _fields(data: bytes, where: int) -> tuple[list[bytes], int, list[bytes], bytes]:
    lines = _lines(data)
    number = where % len(lines)
    mark = next((one for one in (b",", b";", b"\t", b" ") if one in lines[number]), b",")
    return lines, number, lines[number].split(mark), mark


def _field(data: bytes, where: int, what: int) -> bytes:
    lines, number, fields, mark = _fields(data, where)
    fields[(where >> 12) % len(fields)] = _odd(what)
    lines[number] = mark.join(fields)
    return b"\n".join(lines)


def _field_away(data: bytes, where: int, what: int) -> bytes:
    lines, number, fields, mark = _fields(data, where)
    del fields[what % len(fields)]
    lines[number] = mark.join(fields)
    return b"\n".join(lines)


def _field_quoted(data: bytes, where: int, what: int) -> bytes:
    lines, number, fields, mark = _fields(data, where)
    at = (where >> 12) % len(fields)
    fields[at] = (b'"%s"', b'"%s', b'%s"', b'""%s""')[what % 4] % fields[at]
    lines[number] = mark.join(fields)
    return b"\n".join(lines)


def _column_again(data: bytes, where: int, what: int) -> bytes:
    """A column of a table stands twice, or is taken out, in every line."""
    made = []
    for line in _lines(data):
        fields = line.split(b",")
        at = where % len(fields)
        made.append(b",".join([*fields, fields[at]] if what % 2 else fields[:at] + fields[at + 1 :]))
    return b"\n".join(made)


def _whole(data: bytes, where: int, what: int) -> bytes:
    """The input as another program may have saved it."""
    text = data.decode("utf-8", "replace")
    return (
        lambda: data.replace(b"\n", b"\r\n"),
        lambda: data.replace(b"\n", b"\r"),
        lambda: b"\xef\xbb\xbf" + data,
        lambda: text.encode("utf-16"),
        lambda: text.encode("latin-1", "replace"),
        lambda: text.encode("utf-16-le"),
        lambda: data.replace(b",", b";"),
        lambda: data.replace(b".", b","),
        lambda: data.upper(),
        lambda: data + b"\x00" * 4096,
        lambda: data + b"\x1a",
        lambda: data.replace(b"\n", b""),
        lambda: b"\n" * 300 + data,
        lambda: data.rstrip(),
        lambda: text.encode("utf-7", "replace"),
        lambda: data * min(20, LARGEST // max(len(data), 1) + 1),
    )[what % 16]()


# --- JSON --------------------------------------------------------------------------------------------------------

JSON_VALUES = (
    *(
        "null",
        "true",
        "-1",
        "0",
        "1.5",
        "1e308",
        "1e999",
        "NaN",
        "-Infinity",
        "1" * 5000,
        '""',
        '"\\ud800"',
        '"\\u0000"',
    ),
    *('"x"', '"' + "é" * 3000 + '"', '"7\\r\\n8"', "[]", "[null]", "{}", '{"a": {"b": []}}', '[["x"]]', '["x", 1]'),
    *("[" * 500 + "]" * 500, "[" * 20_000 + "]" * 20_000, '{"a":' * 3000 + "1" + "}" * 3000, '{"a": 1, "a": 2}'),
    *('"<script>"', '"2031-05-03T13:40:00Z"', '"9999-12-31T23:59:59-12:00"', '"../x"', '"\\u202e"', "1E400", "-0.0"),
)
_HERE = "@here@"


def spots(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The places in a JSON value, each as the keys that lead there."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(spot for key, one in inside for spot in spots(one, (*path, key)))]


def _exchanged(value: Any, path: tuple[Any, ...], other: Any) -> Any:
    if not path:
        return other
    made = dict(value) if isinstance(value, dict) else list(value)
    made[path[0]] = _exchanged(value[path[0]], path[1:], other)
    return made


def _json_value(data: bytes, where: int, what: int) -> bytes:
    """A value of a JSON text becomes another one; also of the line of a text of JSON lines."""
    lines = [data]
    at = 0
    try:
        value = json.loads(data)
    except (ValueError, RecursionError):
        lines = _lines(data)
        at = (where >> 10) % len(lines)
        try:
            value = json.loads(lines[at])
        except (ValueError, RecursionError):
            return _token(data, where, what)
    try:
        found = spots(value)
        text = json.dumps(_exchanged(value, found[where % len(found)], _HERE), ensure_ascii=False)
    except (ValueError, RecursionError):
        return _token(data, where, what)
    wrong = JSON_VALUES[what % len(JSON_VALUES)]
    lines[at] = text.replace(json.dumps(_HERE), wrong, 1).encode("utf-8", "surrogatepass")
    return b"\n".join(lines)


def _json_key(data: bytes, where: int, what: int) -> bytes:
    """A key of a JSON object is taken away or renamed."""
    try:
        value = json.loads(data)
        found = [path for path in spots(value) if path and isinstance(path[-1], str)]
        if not found:
            return data
        path = found[where % len(found)]
        parent = value
        for key in path[:-1]:
            parent = parent[key]
        kept = parent.pop(path[-1])
        if what % 3:
            parent[ODD_TEXTS[what % len(ODD_TEXTS)]] = kept
        return json.dumps(value).encode()
    except (ValueError, RecursionError):
        return _token(data, where, what)


BYTES: Mapping[str, Operator] = {
    "flip": _flip,
    "byte": _byte,
    "delete": _delete,
    "double": _double,
    "cut": _cut,
    "put-bytes": _put_bytes,
}
TEXT: Mapping[str, Operator] = {
    **BYTES,
    "put": _put,
    "token": _token,
    "near-number": _near_number,
    "often": _often,
    "line-again": _line_again,
    "line-away": _line_away,
    "lines-swapped": _lines_swapped,
    "whole": _whole,
}
TABLE: Mapping[str, Operator] = {
    **TEXT,
    "field": _field,
    "field-away": _field_away,
    "field-quoted": _field_quoted,
    "column-again": _column_again,
}
JSON: Mapping[str, Operator] = {**TEXT, "json-value": _json_value, "json-key": _json_key}


def changed(data: bytes, changes: Sequence[Change], operators: Mapping[str, Operator]) -> bytes:
    """The input with the changes made one after the other."""
    for change in changes:
        data = operators[change.operator](data, change.where, change.what)[:LARGEST]
    return data
