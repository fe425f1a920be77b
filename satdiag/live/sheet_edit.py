"""Changes to job.toml that leave every other line, its comments and its order as they were."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, Problem, bad_input
from satdiag.language import mark, tell, translated
from satdiag.live.known_words import CHECKED, said
from satdiag.sheet import FILE, KEYS, Receiver, load_toml, parse_sheet

FIXED = ("job.id", "job.opened")
"""What a job is known by; not to be changed."""

_TABLES = ("job", "receiver", "service", "feed", "supply", "feedline")
_LONGEST_STATEMENT = 200
_BY_HAND = mark("Change it in job.toml by hand, or write it there as a [table] with key = value lines.")


class Edited(NamedTuple):
    """The new text, and for each change words such as 'receiver.antenna_lead: unknown -> dual'.

    In the words the receiver's identifier is masked, and what cannot be shown is written as an escape.
    """

    text: str
    words: tuple[str, ...]


class _Change(NamedTuple):
    """One key to set, or to take out where `value` is None. `nth` counts the tables of that name from 0."""

    table: str
    nth: int
    key: str
    value: Any
    name: str


class _Item(NamedTuple):
    """A table's head (`key` blank) or a statement, in the lines from `start` to before `end`."""

    start: int
    end: int
    table: str
    nth: int
    key: str


def edited(text: str, changes: Mapping[str, Any]) -> Edited:
    """The text of job.toml with changes to it; a value that is the same already changes nothing.

    Keys are 'table.key' of any table but the sites, with a value or None to take the key out; and 'site' with a
    mapping (name, latitude_deg, longitude_deg, height_m, timezone), which changes the site of that name or adds one.
    Raises BadInput, with the key of each wrong change as the column; nothing else is wrong with a text that
    `parse_sheet` takes, unless a table is written in a rare way (dotted or inline).
    """
    before = parse_sheet(text)
    wanted = load_toml(text, FILE)
    steps = list(_steps(wanted, changes))
    words = []
    lines = text.split("\n")
    for step in steps:
        old = _set(wanted, step)
        if not _same(old, step.value):
            lines = _with_change(lines, step)
            words.append(f"{step.name}: {_shown(step, old)} -> {_shown(step, step.value)}")
    made = "\n".join(lines)
    _check(made, wanted, steps)
    ids = [found for found in (before.receiver.id, parse_sheet(made).receiver.id) if found and len(found) > 3]
    for receiver_id in ids:
        words = [word.replace(receiver_id, Receiver(id=receiver_id).masked_id) for word in words]
    return Edited(made, tuple(words))


def _check(made: str, wanted: Mapping[str, Any], steps: list[_Change]) -> None:
    """The text says what it should, and is a sheet. Raises BadInput."""
    names = ", ".join(step.name for step in steps)
    try:
        is_so = tomllib.loads(made) == wanted
    except tomllib.TOMLDecodeError:
        is_so = False
    if not is_so:
        what = tell("the file is written in a way that cannot be changed from here")
        raise bad_input(FILE, what, translated(_BY_HAND), None, names)
    try:
        parse_sheet(made)
    except BadInput as error:  # what several keys say together
        keys = {step.key: step.name for step in steps}
        raise BadInput(
            [Problem(FILE, one.what, one.mend, None, keys.get(one.column or "", names)) for one in error.problems]
        ) from None


# --- what is to be changed ----------------------------------------------------------------------------------------


def _steps(data: Mapping[str, Any], changes: Mapping[str, Any]) -> Iterator[_Change]:
    """The changes, each value checked by itself. Raises BadInput with everything that is wrong."""
    problems: list[Problem] = []
    steps: list[_Change] = []
    for name, value in changes.items():
        table, _, key = name.partition(".")
        if name == "site":
            steps += _site_steps(data, value, problems)
        elif table not in _TABLES or key not in KEYS[table]:
            known = ", ".join(f"{one}.{key}" for one in _TABLES for key in KEYS[one] if f"{one}.{key}" not in FIXED)
            problems.append(
                Problem(
                    FILE,
                    tell("{name} is no key of it", name=quoted(name)),
                    tell("Known: {names}.", names=f"{known}, site"),
                    None,
                    name,
                )
            )
        elif name in FIXED:
            problems.append(
                Problem(FILE, tell("{name} cannot be changed", name=name), tell("Leave it as it is."), None, name)
            )
        else:
            steps.append(_Change(table, 0, key, value, name))
    problems += [problem for step in steps for problem in _trouble(step)]
    if problems:
        raise BadInput(problems)
    yield from steps


def _site_steps(data: Mapping[str, Any], site: Any, problems: list[Problem]) -> list[_Change]:
    if not isinstance(site, Mapping) or not isinstance(site.get("name"), str) or not site["name"]:
        mend = tell("Give its name, latitude_deg and longitude_deg.")
        problems.append(Problem(FILE, tell("the site has no name"), mend, None, "site"))
        return []
    if unknown := [key for key in site if key not in KEYS["site"]]:
        mend = tell("Known: {names}.", names=", ".join(KEYS["site"]))
        what = tell("{name} is no key of a site", name=quoted(str(unknown[0])))
        problems.append(Problem(FILE, what, mend, None, "site"))
        return []
    names = [one["name"] for one in data.get("site", [])]
    is_new = site["name"] not in names
    for key in ("latitude_deg", "longitude_deg"):
        if site.get(key) is None and (is_new or key in site):
            what = tell("'{key}' is missing in the site", key=key)
            problems.append(Problem(FILE, what, tell("Add it."), None, f"site.{key}"))
    nth = len(names) if is_new else names.index(site["name"])
    ordered = [key for key in KEYS["site"] if key in site]
    return [_Change("site", nth, key, site[key], f"site.{key}") for key in ordered]


def _trouble(step: _Change) -> Iterator[Problem]:
    if step.value is None:
        return
    trouble = KEYS[step.table][step.key](step.value)
    if trouble is None and isinstance(step.value, str):
        try:
            step.value.encode()
        except UnicodeEncodeError:
            trouble = tell("holds half a character")
    if trouble:
        is_needed = step.key in ("name", "latitude_deg", "longitude_deg")
        mend = tell("Mend it.") if is_needed else tell("Mend it or leave it out.")
        yield Problem(FILE, f"{quoted(str(step.value)[:80])} {said(trouble, CHECKED).text}", mend, None, step.name)


def _set(data: dict[str, Any], step: _Change) -> Any:
    """Make the change in the data of a sheet; returns the value that was there, or None."""
    if step.value is None and step.table not in data:
        return None
    if step.table == "site":
        sites = data.setdefault("site", [])
        if step.nth == len(sites):
            sites.append({})
        table = sites[step.nth]
    else:
        table = data.setdefault(step.table, {})
    old = table.pop(step.key, None)
    if step.value is not None:
        table[step.key] = step.value
    return old


def _same(old: Any, new: Any) -> bool:
    """Whether a value is what it was: a page sends 45 for 45.0, and that is no change; true is never 1."""
    if isinstance(old, list) and isinstance(new, list):
        return len(old) == len(new) and all(map(_same, old, new))
    numbers = [type(value) in (int, float) for value in (old, new)]
    return bool(old == new and (all(numbers) or type(old) is type(new)))


def _shown(step: _Change, value: Any) -> str:
    if value is None:
        return "unknown"
    if step.name == "receiver.id":
        return Receiver(id=str(value)).masked_id
    text = value if isinstance(value, str) else _toml(value)
    return "".join(mark if mark.isprintable() else mark.encode("unicode_escape").decode() for mark in text) or "blank"


# --- lines --------------------------------------------------------------------------------------------------------


def _items(lines: list[str]) -> list[_Item]:
    """The heads and the statements of a TOML text; comments and blank lines lie between them."""
    found: list[_Item] = []
    table, at, counts = "", 0, dict[str, int]()
    while at < len(lines):
        start = lines[at].strip()
        if not start or start.startswith("#"):
            at += 1
            continue
        key, end = _statement(lines, at)
        if start.startswith("["):
            table, key = key, ""
            counts[table] = counts.get(table, -1) + 1
        found.append(_Item(at, end, table, counts.get(table, 0), key))
        at = end
    return found


def _statement(lines: list[str], start: int) -> tuple[str, int]:
    """The first key of a statement or head, and where it ends: as few lines as are TOML by themselves."""
    for end in range(start + 1, min(len(lines), start + _LONGEST_STATEMENT) + 1):
        try:
            return next(iter(tomllib.loads("\n".join(lines[start:end]) + "\n"))), end
        except tomllib.TOMLDecodeError:
            continue
    what = tell("a value runs over too many lines to be changed from here")
    raise bad_input(FILE, what, translated(_BY_HAND), start + 1)


def _with_change(lines: list[str], step: _Change) -> list[str]:
    items = _items(lines)
    mine = [item for item in items if (item.table, item.nth) == (step.table, step.nth)]
    there = next((item for item in mine if item.key == step.key), None)
    if there is not None:
        return [*lines[: there.start], *_changed(lines[there.start : there.end], step), *lines[there.end :]]
    if step.value is None:
        return lines
    new = [f"{step.key} = {_toml(step.value)}{_line_end(lines)}"]
    if mine:
        at = _place(lines, mine, step.key)
    else:
        at = _place_of_table(lines, items, step.table)
        head = "[[site]]" if step.table == "site" else f"[{step.table}]"
        blank = [_line_end(lines)] if at and lines[at - 1].strip() else []
        new = [*blank, head + _line_end(lines), *new]
    return [*lines[:at], *new, *(lines[at:] or [""])]


def _line_end(lines: list[str]) -> str:
    """What stands before the line feed."""
    return "\r" if lines[0].endswith("\r") else ""


def _place(lines: list[str], mine: list[_Item], key: str) -> int:
    """Where a new key goes: behind a comment that keeps its place ('# key = ...'), else at the end of its table."""
    held = {line for item in mine for line in range(item.start, item.end)}
    for at in range(mine[0].start, _behind_comments(lines, mine[-1].end)):
        if at not in held and re.match(rf"\s*#\s*{key}\s*=", lines[at]):
            return at + 1
    return mine[-1].end


def _place_of_table(lines: list[str], items: list[_Item], table: str) -> int:
    """Where a new table goes: a site behind the other sites, the first one behind the job; any other at the end."""
    for before in ("site", "job") if table == "site" else ():
        if found := [item for item in items if item.table == before]:
            return _behind_comments(lines, found[-1].end)
    return len(lines) - (lines[-1] == "")


def _behind_comments(lines: list[str], at: int) -> int:
    while at < len(lines) and lines[at].strip().startswith("#"):
        at += 1
    return at


def _changed(old: list[str], step: _Change) -> list[str]:
    """The lines of a statement with another value, the comment behind it in its column; without it, the comment."""
    statement = "\n".join(old)
    end = "\r" if statement.endswith("\r") else ""
    code, comment = _comment_of(statement.removesuffix("\r"))
    if step.value is None:
        return [comment + end] if comment else []
    head = re.match(r"[^=]*=[ \t]*", code)
    new = f"{head[0] if head else step.key + ' = '}{_toml(step.value)}"
    if not comment:
        return [new + end]
    width = len(code.rsplit("\n", 1)[-1])
    return [f"{new:<{width - 1}} {comment}{end}"] if width else [f"{new} {comment}{end}"]


def _comment_of(statement: str) -> tuple[str, str]:
    """A statement, with the blanks behind it, and the comment that follows it, or blank."""
    for found in re.finditer("#", statement):
        code = statement[: found.start()]
        try:
            if tomllib.loads(code):
                return code, statement[found.start() :]
        except tomllib.TOMLDecodeError:  # a '#' within a text
            continue
    return statement, ""


_WRITERS: Mapping[type, Callable[[Any], str]] = {
    bool: lambda value: "true" if value else "false",
    # JSON texts are TOML basic strings (https://toml.io/en/v1.0.0#string) but for the DEL character.
    str: lambda value: json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f"),
    list: lambda value: "[" + ", ".join(map(_toml, value)) + "]",
}


def _toml(value: Any) -> str:
    """A value of a sheet in TOML."""
    return _WRITERS.get(type(value), repr)(value)
