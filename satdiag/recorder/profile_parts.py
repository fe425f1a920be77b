"""Parts one line into named fields: at blanks, at a separator, by regular expressions, or as a JSON object."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

from satdiag.csv_text import quoted
from satdiag.recorder.profile_checks import MAX_FIELDS
from satdiag.recorder.profile_pattern import MAX_CHARACTERS, compile_pattern
from satdiag.rows import parse_number

Fields = Mapping[str, str | None]
"""The fields of a line by name. None is the null of JSON; a field that the line does not have is not there."""

Part = Callable[[str], Fields]
"""Parts a line without blanks around it. Raises NotUnderstood."""

_BLANKS = re.compile(r"[ \t]+")
_NUMBERS = tuple(str(number) for number in range(1, MAX_FIELDS + 1))
_MISSING = object()


class NotUnderstood(Exception):
    """Why a line, or one reading of it, is not understood, in plain words. Never leaves the profile."""


def part_of(line: Mapping[str, Any], used: Collection[str]) -> Part:
    """What parts lines as the table [line] says. `used` are the fields that somebody looks at."""
    names: Sequence[str] | None = line.get("names")
    if line["part"] == "json":
        part = _json_part(used)
    elif line["part"] == "pattern":
        part = _pattern_part(line["pattern"])
    elif line["part"] == "words":
        part = _listed(_split_words, names)
    else:
        part = _listed(_splitter(line.get("separator", ","), line.get("quote")), names)
    if "required" in line:
        required = frozenset(line["required"])
    else:
        listed = line["part"] in ("words", "delimited")
        required = frozenset((used if names is None else names) if listed else ())
    return _with_required(part, required) if required else part


def _with_required(part: Part, required: frozenset[str]) -> Part:
    def parted(text: str) -> Fields:
        fields = part(text)
        if not required <= fields.keys():
            missing = sorted(required - fields.keys())
            raise NotUnderstood(f"it has no field {', '.join(quoted(name) for name in missing)}")
        return fields

    return parted


def _listed(split: Callable[[str], list[str]], names: Sequence[str] | None) -> Part:
    """Fields by their place: named, or numbered from 1."""
    keys = _NUMBERS if names is None else tuple(names)

    def part(text: str) -> Fields:
        found = split(text)
        if len(found) > len(keys):
            raise NotUnderstood(f"it has {len(found)} fields, more than {len(keys)}")
        return dict(zip(keys, found, strict=False))

    return part


def _split_words(text: str) -> list[str]:
    # Only blanks and tabs part words; str.split() would also do it at a no-break space.
    return text.split() if text.isascii() else _BLANKS.split(text)


def _splitter(separator: str, quote: str | None) -> Callable[[str], list[str]]:
    if quote is None:
        return lambda text: [field.strip(" \t") for field in text.split(separator)]

    def split(text: str) -> list[str]:
        try:
            reader = csv.reader(
                [text], delimiter=separator, quotechar=quote, skipinitialspace=separator not in " \t", strict=True
            )
            return [field.strip(" \t") for field in next(reader)]
        except csv.Error:
            raise NotUnderstood(f"a {quote} is opened and not closed properly") from None

    return split


def _pattern_part(texts: str | Sequence[str]) -> Part:
    patterns = [compile_pattern(text) for text in ([texts] if isinstance(texts, str) else texts)]

    def part(text: str) -> Fields:
        if len(text) > MAX_CHARACTERS:
            raise NotUnderstood(f"it is longer than {MAX_CHARACTERS} characters")
        for pattern in patterns:
            found = pattern.fullmatch(text)
            if found:
                return {name: each.strip(" \t") for name, each in found.groupdict().items() if each is not None}
        raise NotUnderstood("it does not match the pattern")

    return part


# --- JSON lines -------------------------------------------------------------------------------------------------


def _json_part(used: Collection[str]) -> Part:
    """Fields of a JSON object (RFC 8259): numbers as they were written, true and false as those words."""
    paths = [(name, name.split(".")) for name in sorted(used)]
    decoder = json.JSONDecoder(
        object_pairs_hook=_without_doubles, parse_float=_number, parse_int=_number, parse_constant=_no_number
    )

    def part(text: str) -> Fields:
        try:
            found = decoder.decode(text)
        except RecursionError:
            raise NotUnderstood("its JSON is nested too deeply") from None
        except json.JSONDecodeError as error:
            raise NotUnderstood(f"it is no JSON: {error.msg.lower()} at character {error.pos + 1}") from None
        if not isinstance(found, dict):
            raise NotUnderstood("it is no JSON object {...}")
        fields = {}
        for name, path in paths:
            value = _look_up(found, name, path)
            if value is not _MISSING:
                fields[name] = _scalar(name, value)
        return fields

    return part


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        double = next(name for at, name in enumerate(names) if name in names[:at])
        raise NotUnderstood(f"{quoted(double)} stands in it twice")
    return found


def _number(text: str) -> str:
    if parse_number(text) is None:
        raise NotUnderstood(f"{quoted(text)} is no number that can be held")
    return text


def _no_number(text: str) -> str:
    raise NotUnderstood(f"{text} is no number in JSON")


def _look_up(found: dict[str, Any], name: str, path: Sequence[str]) -> Any:
    """The value of a field: of that very name, else a step into an object (by name) or a list (from 1) a dot."""
    value: Any = found.get(name, _MISSING)
    if value is not _MISSING or len(path) == 1:
        return value
    value = found
    for step in path:
        if isinstance(value, dict):
            value = value.get(step, _MISSING)
        elif isinstance(value, list) and step.isascii() and step.isdigit() and len(step) <= 4:
            value = value[int(step) - 1] if 1 <= int(step) <= len(value) else _MISSING
        else:
            return _MISSING
    return value


def _scalar(name: str, value: Any) -> str | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None or isinstance(value, str):
        return value
    raise NotUnderstood(f"{quoted(name)} is a {'list' if isinstance(value, list) else 'JSON object'}, not a value")
