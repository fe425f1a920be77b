"""A channel list that was pasted from anywhere, as a line-up: a table, or lines with a number and a name each.

Nothing is guessed: a line that can be read in two ways is left out, and it is said why. '(open)' behind a name, or a
column of that name, marks a channel that plays without an account.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from satdiag.csv_text import records
from satdiag.errors import BadInput
from satdiag.language import mark, tell, tell_many, translated
from satdiag.live.pasted_words import HEADED, HEADS, IN_COLUMN, is_ticked, says_open, without_open
from satdiag.tables import parse_lineup

MAX_BYTES = 200_000
MAX_LINES = 5000
MAX_LINE = 300
"""A longer line is no channel. Characters."""

MAX_NAME = 100
MAX_COLUMNS = 40
_NUMBER = r"([0-9]{1,7})(?![0-9])"
_WORD = r"(?:(?:channel|chan|ch|number|no|nr)\b\.?\s*|#\s*)"
_DASH = "-\u2010-\u2015\u2212"
_HALF = re.compile("[\ud800-\udfff]")
_BARE = re.compile(rf"{_WORD}?{_NUMBER}[.):]?", re.IGNORECASE)
_LEADING = re.compile(rf"{_WORD}?{_NUMBER}(?:[.:](?![0-9])|[{_DASH})|=]| )[{_DASH} .:)|=]*(\S.*)", re.IGNORECASE)
_TRAILING = re.compile(rf"(?: ?[{_DASH}:|=] ?{_WORD}?| {_WORD}| ?\({_WORD}){_NUMBER}\)?$", re.IGNORECASE)
_RANGE = re.compile(rf"(?<![0-9A-Za-z])[0-9]+ ?(?:[{_DASH}]|to |\.\.+|\u2026) ?{_WORD}?[0-9]+\b", re.IGNORECASE)
_SPACED = re.compile(rf" [{_DASH}] ")
_ASIDE = re.compile(r"(.*\S) ?[(\[]([^()\[\]]+)[)\]]$")
_GAP = "  "
_SEVERAL = re.compile(rf"[,;/] ?{_WORD}?[0-9]+ ?[:)]", re.IGNORECASE)
_COUNT = re.compile(r" ?\([0-9]+( channels?| stations?)?\)$", re.IGNORECASE)
_BULLET = re.compile(rf"^[*\u2022\u00b7{_DASH}] ")
_MARKED = re.compile(
    r"=+ ?([^=]*[^= ]) ?=+|[#*]+ ?([^#*]*[^#* ]) ?[#*]*|\[([^\[\]]+)\]|([^:]+):|-+ ?([^-]*[^- ]) ?-+"
)


class PastedChannel(NamedTuple):
    """A channel that was read. `packages` as lineup.csv has them, blank where the list says nothing of them."""

    number: int
    name: str
    category: str
    packages: str = ""


class LeftOut(NamedTuple):
    """A line that was not taken: its number from 1 on, its text (cut short), and why."""

    line: int
    text: str
    why: str


class Pasted(NamedTuple):
    """What was read from a text; `how` says in a sentence how it was read."""

    channels: tuple[PastedChannel, ...]
    left_out: tuple[LeftOut, ...]
    how: str


class _Line(NamedTuple):
    number: int
    raw: str
    text: str


class _Found(NamedTuple):
    """What a line turned out to be: a channel, or words on why it is none."""

    line: _Line
    what: PastedChannel | str


def read_channels(text: str) -> Pasted:
    """Read a channel list from any text: CSV, a table with tabs, or lines with a number and a name. Never raises."""
    lines, cut = _lines_of(text)
    if not cut and (own := _own_lineup(text)):
        return Pasted(own, (), _how(tell("Read as lineup.csv, packages kept"), len(own)))
    rows = [line for line in lines if line.text]
    found, how = _as_table(rows) or _by_lines(rows)
    channels: dict[int, PastedChannel] = {}
    first: dict[int, int] = {}
    left_out = []
    for line, what in found:
        if isinstance(what, str):
            left_out.append(LeftOut(line.number, line.text[:80], what))
        elif what.number in channels:
            left_out.append(LeftOut(line.number, line.text[:80], _twice(what.number, first[what.number])))
        else:
            channels[what.number], first[what.number] = _opened(what), line.number
    kept = tuple(channels.values())
    said = _how(how, len(kept)) if kept else tell("No channel was found: a line needs a number and a name.")
    return Pasted(kept, (*left_out, *cut), said)


def _opened(channel: PastedChannel) -> PastedChannel:
    """The channel marked `open` if '(open)' stands behind its name, or its category is called so."""
    if (name := without_open(channel.name)) is not None:
        return channel._replace(name=name, packages=channel.packages or "open")
    return channel._replace(packages="open") if says_open(channel.category) and not channel.packages else channel


# --- lines --------------------------------------------------------------------------------------------------------


def on_one_line(text: str, limit: int = MAX_NAME) -> str:
    """Text on one line with single blanks, without marks that cannot be seen; two numbers never become one."""
    kept = "".join("\x20" if mark.isspace() else mark if _is_seen(mark) else "\0" for mark in text)
    apart = re.sub(r"(?<=[0-9])\0+(?=[0-9])", " ", kept).replace("\0", "")
    return " ".join(apart.split())[:limit].rstrip()


def _is_seen(mark: str) -> bool:
    return not unicodedata.category(mark).startswith("C")


def _lines_of(text: str) -> tuple[list[_Line], list[LeftOut]]:
    """The lines that are looked at, and what was cut off."""
    data = _HALF.sub(" ", text).encode()
    whole = re.split(r"\r\n|[\r\n]", data[:MAX_BYTES].decode(errors="ignore"))
    cut = []
    if len(data) > MAX_BYTES:
        whole.pop()  # the line that the cut goes through
        cut.append(LeftOut(len(whole) + 1, "", tell("the text is larger than 200 kB; from here on nothing was read")))
    if len(whole) > MAX_LINES and any(line.strip() for line in whole[MAX_LINES:]):
        why = tell("there are more than {most} lines; from here on nothing was read", most=MAX_LINES)
        cut = [LeftOut(MAX_LINES + 1, "", why)]
    numbered = enumerate(whole[:MAX_LINES], 1)
    return [_Line(number, raw, on_one_line(raw, MAX_LINE + 1)) for number, raw in numbered], cut


def _twice(number: int, line: int) -> str:
    return tell("channel {number} stands in line {line} already; the first is kept", number=number, line=line)


def _how(way: str, count: int) -> str:
    return tell_many("{way}: 1 channel.", "{way}: {n} channels.", count, way=way)


def _own_lineup(text: str) -> tuple[PastedChannel, ...]:
    """The channels of a text that is a lineup.csv, else none."""
    try:
        plain = re.sub(r"\r\n?", "\n", text.lstrip("\ufeff")).rstrip("\n")
        parse_lineup(plain)
        body = list(records(plain, "lineup.csv"))
    except BadInput:
        return ()
    return tuple(
        PastedChannel(int(number), on_one_line(name), on_one_line(category), packages)
        for number, name, category, packages in (record.fields for record in body[1:])
    )


# --- a table ------------------------------------------------------------------------------------------------------


def _as_table(rows: Sequence[_Line]) -> tuple[list[_Found], str] | None:
    """The rows read as a table, or None if they are none."""
    signs = {"\t": tell("tabs"), ";": "';'", "|": "'|'", ",": tell("commas"), _GAP: tell("gaps")}
    for sign, shown in signs.items():
        cells = [_cells(line.raw, sign) for line in rows]
        wide = [fields for fields in cells if len(fields) > 1]
        if not wide or len(wide) < len(cells) / 2:
            continue
        at = next(index for index, fields in enumerate(cells) if len(fields) > 1)
        columns = _headed(cells[at])
        if columns:
            named = [translated(HEADED[role]).format(head=cells[at][index]) for role, index in columns.items()]
        elif columns := _columns(wide):
            at, named = -1, [translated(IN_COLUMN[role]).format(number=index + 1) for role, index in columns.items()]
        else:
            continue
        width = len(cells[at]) if at >= 0 else MAX_COLUMNS
        body = [(line, fields) for index, (line, fields) in enumerate(zip(rows, cells, strict=True)) if index != at]
        how = tell("Read as a table parted by {mark}, {columns}", mark=shown, columns=", ".join(named))
        return list(_table_rows(body, columns, width)), how
    return None


def _cells(raw: str, mark: str) -> list[str]:
    """The fields of one line, cleaned; '|' may also stand at both ends."""
    if mark == "|":
        raw = raw.strip().removeprefix("|").removesuffix("|")
    try:
        fields = (
            re.split(r"\s{2,}", raw.strip())
            if mark == _GAP
            else next(csv.reader([raw], delimiter=mark, skipinitialspace=True), [])
        )
    except csv.Error:
        fields = raw.split(mark)
    return [on_one_line(field, MAX_LINE + 1) for field in fields[:MAX_COLUMNS]]


def _headed(fields: Sequence[str]) -> dict[str, int]:
    """The columns that a head line names, by what they hold; empty if it is no head line."""
    words = [field.lower().rstrip(".:") for field in fields]
    found = {role: index for role, heads in HEADS.items() for index, word in enumerate(words) if word in heads}
    if "channel" in words and ("number" in found) != ("name" in found):
        found["name" if "number" in found else "number"] = words.index("channel")
    return found if {"number", "name"} <= found.keys() else {}


def _columns(wide: Sequence[Sequence[str]]) -> dict[str, int]:
    """Which column holds what, told by the fields; empty if no column holds the numbers of most rows."""
    columns = [[fields[index] for fields in wide if index < len(fields)] for index in range(max(map(len, wide)))]
    numbers = [index for index, column in enumerate(columns) if _share(column) >= 0.7 and len(column) > len(wide) / 2]
    counters = [index for index in numbers if columns[index] == [str(number) for number in range(1, len(wide) + 1)]]
    if len(numbers) > 1:  # a column that counts the rows is not what is meant
        numbers = [index for index in numbers if index not in counters] or numbers
    different = {index: len({text for text in column if text}) for index, column in enumerate(columns)}
    texts = [index for index in different if different[index] and index not in {*numbers, *counters}]
    if not numbers or not texts:
        return {}
    most = max(different[index] for index in texts)
    found = {"number": numbers[0], "name": next(index for index in texts if different[index] >= 0.9 * most)}
    texts.remove(found["name"])
    if texts:
        found["category"] = min(texts, key=lambda index: different[index])
    return found


def _share(column: Sequence[str]) -> float:
    """Which share of the fields are channel numbers."""
    return sum(_BARE.fullmatch(field) is not None for field in column) / len(column)


def _table_rows(body: Sequence[tuple[_Line, list[str]]], columns: dict[str, int], width: int) -> Iterator[_Found]:
    category = ""
    for line, fields in body:
        filled = [field for field in fields if field]
        if len(filled) == 1 and not _BARE.fullmatch(filled[0]) and (heading := _heading(filled[0])):
            category = heading
            continue
        said = {role: fields[index] for role, index in columns.items() if index < len(fields)}
        if len(line.text) > MAX_LINE:
            yield _Found(line, translated(_TOO_LONG))
        elif any(fields[width:]):
            yield _Found(line, tell("it has more fields than the head line; put a name with a comma in quotes"))
        elif not (number := _BARE.fullmatch(said.get("number", ""))):
            part = _parts(line.text) if len(filled) == 1 else _Parts()
            one = None if part.doubt else _choose(part, 0)
            why = tell("no channel number stands in the column of the numbers")
            if _RANGE.search(said.get("number", "")):
                why = translated(_A_RANGE)
            yield _Found(line, _channel(one, part.aside, False, category) if one else why)
        elif not said.get("name"):
            yield _Found(line, translated(_NO_NAME))
        else:
            packages = said.get("packages", "")
            words = packages if re.fullmatch(r"[a-z0-9-]+( [a-z0-9-]+)*", packages) else ""
            words = words or ("open" if is_ticked(said.get("open", "")) else "")
            named = said.get("category") or category
            yield _Found(line, PastedChannel(int(number[1]), said["name"][:MAX_NAME], named[:MAX_NAME], words))


# --- line by line -------------------------------------------------------------------------------------------------

_A_RANGE = mark("a range of channel numbers, not one channel")
_TWO_WAYS = mark("two numbers stand in it, and either may be the channel's; write the number, a colon and the name")
_TOO_LONG = mark("the line is too long for a channel")
_NO_NAME = mark("the name is missing")


class _Parts(NamedTuple):
    """A line taken apart: number and name if the number leads, if it trails; what stands in brackets at the end.

    `spaced`: a dash with blanks parts number and name. `doubt`: two numbers stand at it, as in a range.
    """

    leading: tuple[int, str] | None = None
    trailing: tuple[int, str] | None = None
    aside: str = ""
    spaced: bool = False
    doubt: bool = False


def _by_lines(rows: Sequence[_Line]) -> tuple[list[_Found], str]:
    """The rows read one by one; at which end the number stands is told by the rows that leave no doubt."""
    parts = [_parts(line.text) for line in rows]
    sure = [part for part in parts if not part.doubt and (part.leading is None) != (part.trailing is None)]
    lead, trail = [part for part in sure if part.leading], [part for part in sure if part.trailing]
    balance, usual = len(lead) - len(trail), max(lead, trail, key=len)
    is_spaced = 2 * sum(part.spaced for part in usual) > len(usual)
    are = [None if part.doubt and not is_spaced else _choose(part, balance) for part in parts]
    asides = sum(bool(part.aside) for part, one in zip(parts, are, strict=True) if one)
    has_asides = 2 * asides > sum(one is not None for one in are)
    leads_on = [one is None and after is not None for one, after in pairwise([*are, None])]
    if are and are[0] and 2 * sum(leads_on) >= sum(one is not None for one in are):
        leads_on = [False] * len(are)  # a line behind each channel says something of that channel
    found, category, headings = [], "", 0
    for index, (line, part, one) in enumerate(zip(rows, parts, are, strict=True)):
        if one:
            found.append(_Found(line, _channel(one, part.aside, has_asides, category)))
        elif not (part.leading or part.trailing) and (heading := _heading(line.text, leads_on[index])):
            category, headings = heading, headings + 1
        else:
            found.append(_Found(line, _why_not(line.text, part)))
    after, before = (
        tell("Read line by line, the number after the name"),
        tell("Read line by line, the number before the name"),
    )
    ways = [tell("the category in brackets")] * has_asides + [tell("lines of their own as categories")] * bool(
        headings
    )
    return found, ", ".join([after if balance < 0 else before, *ways])


def _channel(one: tuple[int, str], aside: str, is_category: bool, category: str) -> PastedChannel:
    """A channel; what stands in brackets is its category where that is the way of the list, else part of the name."""
    if aside and not is_category:
        return PastedChannel(one[0], f"{one[1]} ({aside})"[:MAX_NAME], category)
    return PastedChannel(one[0], one[1][:MAX_NAME], aside[:MAX_NAME] or category)


def _parts(text: str) -> _Parts:
    text = _BULLET.sub("", text, count=1)
    ranges = [found for found in _RANGE.finditer(text) if _at_an_end(text, found)]
    if len(text) > MAX_LINE or _SEVERAL.search(text) or any(not _SPACED.search(found[0]) for found in ranges):
        return _Parts()
    text, aside = _without_aside(text)
    leading, trailing = _LEADING.fullmatch(text), _TRAILING.search(text)
    first = (int(leading[1]), leading[2]) if leading and _has_letter(leading[2]) else None
    name = text[: trailing.start()].strip() if trailing else ""
    if not aside:
        name, aside = _without_aside(name)
    last = (int(trailing[1]), name) if trailing and _has_letter(name) else None
    return _Parts(first, last, aside, _SPACED.search(text) is not None, bool(ranges))


def _without_aside(text: str) -> tuple[str, str]:
    """The text and what stands in brackets at its end; a number there, or brackets alone, stay."""
    split = _ASIDE.fullmatch(text)
    if split is None or re.search("[0-9]", split[2]) or _BARE.fullmatch(split[1]):
        return text, ""
    return split[1], split[2].strip()


def _at_an_end(text: str, found: re.Match[str]) -> bool:
    """A range at either end of a line is one of channels; one within a name does no harm."""
    before, after = text[: found.start()].strip(" (#."), text[found.end() :].strip(" ).:")
    return not before or not after or re.fullmatch("channels?|ch", before, re.IGNORECASE) is not None


def _choose(part: _Parts, balance: int) -> tuple[int, str] | None:
    """The number and the name of a line, or None if there are none or it can be read in two ways."""
    if part.doubt or (part.leading and part.trailing):
        return part.leading if balance > 0 else part.trailing if balance < 0 else None
    return part.leading or part.trailing


def _has_letter(text: str) -> bool:
    return any(mark.isalpha() for mark in text)


def _heading(text: str, leads_on: bool = True) -> str:
    """The category that a line of its own names, or blank. An unmarked one must lead on to a channel."""
    text = _COUNT.sub("", text)
    marked = _MARKED.fullmatch(text)
    name = next((group for group in marked.groups() if group), "") if marked else text
    is_one = _has_letter(name) and len(name) <= 40 and not re.search(r"(?<!\w)[0-9]+(?!\w)", name)
    return name.strip() if is_one and (marked or leads_on) else ""


def _why_not(text: str, part: _Parts) -> str:
    if len(text) > MAX_LINE:
        return translated(_TOO_LONG)
    if (part.leading and part.trailing) or part.doubt:
        return translated(_TWO_WAYS)
    if any(_at_an_end(text, found) for found in _RANGE.finditer(_BULLET.sub("", text, count=1))):
        return translated(_A_RANGE)
    if _SEVERAL.search(text):
        return tell("several channels stand in one line")
    if re.search("[0-9]{8}", text):
        return tell("a channel number has seven digits at most")
    return translated(_NO_NAME) if _BARE.fullmatch(text) else tell("no channel number stands apart from the name")
