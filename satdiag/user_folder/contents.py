"""What a file of each kind must hold before it is kept."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from satdiag.csv_text import decode, quoted
from satdiag.errors import BadInput, Problem, bad_input
from satdiag.sheet import KEYS, line_of_key, load_toml
from satdiag.tables import parse_lineup
from satdiag.user_folder.places import KINDS, name_trouble
from satdiag.user_folder.zip_file import MAX_FILE_BYTES

Check = Callable[[str, str], object]
"""Looks at a text (first) of a file with a name (second). Raises BadInput."""

Checks = Mapping[str, Check]
"""Checks by kind, for the kinds whose rooms stand further on: profiles and constellations."""


def parse_receiver_values(text: str, file: str) -> dict[str, Any]:
    """A receiver's normal values: keys of [receiver] as in job.toml, but never its id. Raises BadInput."""
    data = load_toml(text, file)
    known = {key: check for key, check in KEYS["receiver"].items() if key != "id"}
    table = data.get("receiver")
    if not isinstance(table, dict) or not table or len(data) > 1:
        mend = f"Write [receiver] and below it any of: {', '.join(known)}."
        raise bad_input(file, "it does not hold the table [receiver] alone", mend, 1)
    problems = []
    for key, value in table.items():
        line = line_of_key(text, "receiver", key)
        if key == "id":
            what = "the id belongs to one receiver, not to all of its kind"
            problems.append(Problem(file, what, "Take it out; `satdiag new --receiver-id` sets it.", line, key))
        elif key not in known:
            problems.append(
                Problem(
                    file, f"unknown key {quoted(key)}", f"Known here: {', '.join(known)}.", line, quoted(key)[1:-1]
                )
            )
        elif trouble := known[key](value):
            problems.append(Problem(file, f"{_shown(value)} {trouble}", "Mend it or leave it out.", line, key))
    if problems:
        raise BadInput(problems)
    return table


def _shown(value: Any) -> str:
    try:
        return quoted(str(value))
    except ValueError:  # a whole number with thousands of digits
        return "a very long number"


def parse_learned(text: str, file: str) -> dict[str, Any]:
    """Learned counts: one JSON object (RFC 8259). Raises BadInput."""
    mend = "Take the file as satdiag wrote it."
    try:
        data = json.loads(text, parse_constant=_no_constant)
        json.dumps(data, ensure_ascii=False).encode()  # half a surrogate pair ("\\ud800") is no text
    except json.JSONDecodeError as error:
        raise bad_input(file, f"not valid JSON: {error.msg}", mend, error.lineno) from None
    except (ValueError, RecursionError) as error:
        raise bad_input(file, f"not readable as JSON: {error}", mend) from None
    if not isinstance(data, dict):
        raise bad_input(file, "it is not one JSON object", mend, 1)
    return data


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is not a number in JSON")


_OWN_CHECKS: Checks = {"lineups": parse_lineup, "receivers": parse_receiver_values, "learned": parse_learned}


def check_entry(kind: str, file: str, data: bytes, checks: Checks) -> None:
    """Look at the name and the content of a file of that kind. Raises BadInput."""
    if trouble := name_trouble(kind, file):
        mend = f"Call it NAME{KINDS[kind].suffix}, with letters, digits, '.', '_' and '-' in NAME."
        raise bad_input(file, f"the file's name {trouble}", mend)
    if len(data) > MAX_FILE_BYTES:
        raise bad_input(file, f"the file is larger than {MAX_FILE_BYTES} bytes", "Is it the right file?")
    {**_OWN_CHECKS, **checks}[kind](decode(data, file), file)


def check_all(files: Mapping[str, bytes], checks: Checks) -> None:
    """Look at files named 'kind/file'. Raises BadInput with everything that is wrong in any of them."""
    problems: list[Problem] = []
    for name, data in files.items():
        kind, _, file = name.partition("/")
        try:
            check_entry(kind, file, data, checks)
        except BadInput as error:
            problems += (replace(problem, file=name) for problem in error.problems)
    if problems:
        raise BadInput(problems)
