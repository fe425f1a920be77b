"""The channel line-up of a job: put in, marked by category, told to the page, and kept in the user folder for others.

Nothing here writes into a job: it says which documents would be others, and the deck writes them.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from satdiag.csv_text import csv_line, decode, quoted, records
from satdiag.errors import BadInput, bad_input
from satdiag.folder import bytes_of
from satdiag.job import document_problems
from satdiag.language import tell, tell_many
from satdiag.live.pasted import Pasted, PastedChannel, on_one_line, read_channels
from satdiag.live.sheet_edit import edited
from satdiag.sheet import FILE as SHEET_FILE
from satdiag.sheet import KEYS, parse_sheet
from satdiag.tables import LINEUP_COLUMNS, LineUpChannel, parse_lineup
from satdiag.user_folder import KINDS, entries, find, import_from
from satdiag.user_folder.places import name_trouble
from satdiag.user_folder.zip_file import MAX_FILE_BYTES, pack

FILE = "lineup.csv"
KIND = "lineups"
"""Where the user folder keeps line-ups."""

MOST_CHANNELS = 2000
MOST_CATEGORIES = 300
MOST_WORDS = 50
"""What the page is told of the job's line-up holds no more categories, and of each no more package words."""

OTHER = "other"
"""The package word of channels that do not belong to the package that was ordered."""

_NAMED = "service.package"
_DEVICE = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


class Marks(NamedTuple):
    """Categories whose channels the package does not hold, and those whose channels it does; others stay.

    `package` is the word for what was ordered, to be put into the sheet; blank: as the sheet says.
    """

    outside: Collection[str] = ()
    inside: Collection[str] = ()
    package: str = ""


class Change(NamedTuple):
    """The documents to be written, all or none; words for the log; how many channels the line-up has.

    Without documents nothing changes.
    """

    documents: Mapping[str, bytes]
    words: str
    channel_count: int


# --- what a person changes ------------------------------------------------------------------------------------------


def put_lineup(documents: Mapping[str, bytes], channels: Sequence[PastedChannel], marks: Marks) -> Change:
    """Another line-up in a job of these documents. Raises BadInput; then nothing may be changed."""
    sheet, words = _with_package(documents, marks)
    data = lineup_bytes(channels, marks, parse_sheet(sheet.decode()).package)
    return _change(documents, sheet, data, words, len(channels))


def mark_lineup(documents: Mapping[str, bytes], marks: Marks) -> Change:
    """The job's own line-up with other marks; every other field of it stays as it is. Raises BadInput."""
    if FILE not in documents:
        raise bad_input(FILE, tell("the job has no line-up yet"), tell("Paste a list of channels first."))
    sheet, words = _with_package(documents, marks)
    package = parse_sheet(sheet.decode()).package
    text = decode(documents[FILE], FILE)
    head, *body = records(text, FILE)
    lines = [head.raw]
    for record in body:
        number, name, category, packages = record.fields
        held = " ".join(_marked(packages.split(), category, marks, package))
        lines.append(record.raw if held == packages else csv_line([number, name, category, held]))
    data = "\n".join(lines) + "\n" * text.endswith("\n")
    return _change(documents, sheet, data.encode(), words, len(body))


def lineup_bytes(channels: Iterable[PastedChannel], marks: Marks, package: str) -> bytes:
    """The channels as lineup.csv. Those of categories that are not marked hold `package` if the list says nothing.

    A blank `package` is unknown: their packages stay blank then. Raises BadInput for a number that stands twice or
    cannot be, and for a package word that cannot be.
    """
    if trouble := KEYS["service"]["package"](package):
        raise bad_input(SHEET_FILE, f"{quoted(package)} {trouble}", tell("Mend the package."), column=_NAMED)
    lines = [csv_line(LINEUP_COLUMNS)]
    for channel in channels:
        said = channel.packages.split() or ([package] if package else [])
        held = _marked(said, channel.category, marks, package)
        name, category = on_one_line(channel.name), on_one_line(channel.category)
        lines.append(csv_line([str(channel.number), name, category, " ".join(held)]))
    text = "\n".join(lines) + "\n"
    parse_lineup(text)
    return text.encode()


def _marked(packages: Sequence[str], category: str, marks: Marks, package: str) -> Sequence[str]:
    """The package words of a channel after the marks: other words stay, and a channel that is open stays open."""
    other = OTHER if package != OTHER else f"{OTHER}-2"
    if category in marks.outside:
        return [word for word in packages if word != package] or [other]
    if category in marks.inside and not {package, "open"} & {*packages}:
        return [*(word for word in packages if word != other), package]
    return packages


def _with_package(documents: Mapping[str, bytes], marks: Marks) -> tuple[bytes, list[str]]:
    """The sheet with the package that the marks name, and words for what changed. Raises BadInput."""
    if both := sorted(set(marks.outside) & set(marks.inside)):
        what = tell("{category} is marked both ways", category=quoted(both[0]))
        raise bad_input(FILE, what, tell("Mark it one way."), column="outside")
    data, words = documents[SHEET_FILE], list[str]()
    if marks.package:
        made = edited(data.decode(), {_NAMED: marks.package})
        if made.words:
            data, words = made.text.encode(), [f"sheet: {'; '.join(made.words)}"]
    elif (marks.outside or marks.inside) and not parse_sheet(data.decode()).package:
        what = tell("categories are marked, and the sheet does not say which package was ordered")
        raise bad_input(SHEET_FILE, what, tell("Say what the package is called."), column=_NAMED)
    return data, words


def _change(documents: Mapping[str, bytes], sheet: bytes, lineup: bytes, words: list[str], count: int) -> Change:
    """What is to be written. Raises BadInput if the job would not be sound with it."""
    check_package(sheet, lineup)
    made = {SHEET_FILE: sheet, FILE: lineup}
    if problems := document_problems({**documents, **made}):
        raise BadInput(problems)
    changed = {name: data for name, data in made.items() if documents.get(name) != data}
    if documents.get(FILE) != lineup:
        words = [*words, f"line-up: {_words_of(lineup, parse_sheet(sheet.decode()).package, count)}"]
    return Change(changed, "; ".join(words), count)


def check_package(sheet: bytes, lineup: bytes | None) -> None:
    """See that a channel of the line-up holds the sheet's package, as a job must. Raises BadInput."""
    package = parse_sheet(sheet.decode()).package
    if not package or lineup is None:
        return
    if not any(package in channel.packages for channel in parse_lineup(decode(lineup, FILE))):
        what = tell("no channel of the line-up is in the package {package}", package=quoted(package))
        mend = tell("Mark under 'Channel list' what is not in it, and name the package there.")
        raise bad_input(FILE, what, mend, column=_NAMED)


def _words_of(data: bytes, package: str, count: int) -> str:
    categories = summary(parse_lineup(data.decode()))["categories"]
    outside = [on_one_line(one["category"]) or "no category" for one in categories if _is_out(one, package)]
    return _counted(count) + (f", outside {package}: {', '.join(outside)}" if outside else "")


def _counted(count: int) -> str:
    return "1 channel" if count == 1 else f"{count} channels"


def _is_out(category: Mapping[str, Any], package: str) -> bool:
    """True if all of a category's channels that need an account are known not to belong to the package."""
    told = category["channels"] - category["open"]
    return bool(package and told) and not category["blank"] and package not in dict(category["packages"])


# --- what the page is told ------------------------------------------------------------------------------------------


def summary(channels: Iterable[LineUpChannel]) -> dict[str, Any]:
    """A line-up by category, in the order in which they come.

    Of each: its name, how many channels, how many that are `open` (play without an account), how many of the others
    are `blank` (their packages are unknown), and how many of the others each package word holds.
    """
    found: dict[str, dict[str, Any]] = {}
    count = 0
    for channel in channels:
        count += 1
        fresh = {"category": channel.category, "channels": 0, "open": 0, "blank": 0, "packages": {}}
        one = found.setdefault(channel.category, fresh)
        one["channels"] += 1
        one["open"] += channel.is_open
        one["blank"] += not channel.packages
        for word in () if channel.is_open else sorted(channel.packages):
            one["packages"][word] = one["packages"].get(word, 0) + 1
    categories = [{**one, "packages": sorted(one["packages"].items())} for one in found.values()]
    return {"channels": count, "categories": categories}


def folded(told: dict[str, Any], package: str) -> dict[str, Any]:
    """A summary that stays short: of very many categories the first, the others as one of the name None.

    Of very many package words it names the most frequent ones of a category, and `package`.
    """
    kept = told["categories"][:MOST_CATEGORIES]
    if others := told["categories"][MOST_CATEGORIES:]:
        sums = {key: sum(one[key] for one in others) for key in ("channels", "open", "blank")}
        words = Counter[str]()
        for one in others:
            words.update(dict(one["packages"]))
        kept = [*kept, {"category": None, **sums, "packages": sorted(words.items())}]
    return {**told, "categories": [{**one, "packages": _few(one["packages"], package)} for one in kept]}


def _few(words: Sequence[tuple[str, int]], package: str) -> list[tuple[str, int]]:
    often = sorted(words, key=lambda one: (one[0] != package, -one[1]))
    return sorted(often[:MOST_WORDS])


def told(pasted: Pasted) -> dict[str, Any]:
    """A list that was read as the page gets it: channels, what was left out, how it was read, its `summary`."""
    lines = [LineUpChannel(*one[:3], frozenset(one.packages.split())) for one in pasted.channels]
    return {
        "channels": [one._asdict() for one in pasted.channels],
        "left_out": [one._asdict() for one in pasted.left_out],
        "how": pasted.how,
        "lineup": summary(lines),
    }


# --- the user folder ------------------------------------------------------------------------------------------------


def kept_names() -> list[str]:
    """The names of the line-ups that are kept for all jobs. Raises SatdiagError."""
    return [entry.name for entry in entries() if entry.kind == KIND]


def read_kept(name: str) -> Pasted:
    """A kept line-up, read as a pasted list is. Raises BadInput if there is none or it is not in order."""
    there = [one for one in entries() if (one.kind, one.name) == (KIND, name)]  # a name never becomes a path
    if not there:
        what = tell("no list is kept as {name}", name=quoted(name))
        raise bad_input(KIND, what, tell("Take one that is there."), column="name")
    place = there[0].path
    if there[0].size_bytes > MAX_FILE_BYTES:
        what = tell("the file is larger than {size} bytes", size=MAX_FILE_BYTES)
        raise bad_input(place.name, what, tell("Is it the right file?"))
    text = decode(bytes_of(place), place.name)
    count = len(parse_lineup(text, place.name))
    found = read_channels(text)
    if not 0 < count <= MOST_CHANNELS or len(found.channels) != count:
        what = tell(
            "it holds {count} channels; from 1 to {most} can be taken from here", count=count, most=MOST_CHANNELS
        )
        raise bad_input(place.name, what, tell("Take it with `satdiag new --lineup`."))
    return found._replace(
        how=tell_many("Kept as '{name}': 1 channel.", "Kept as '{name}': {n} channels.", count, name=name)
    )


def keep(name: str, data: bytes, replace: bool) -> str:
    """Keep a line-up for other jobs: 'new', 'replaced', or 'same' if it was kept already. Raises SatdiagError.

    BadInput for a name that cannot be, and, unless `replace`, for one that another line-up has: column 'replace'.
    """
    file = name + KINDS[KIND].suffix
    if trouble := name_trouble(KIND, file):
        trouble = tell("is a name that Windows keeps for devices") if _DEVICE.fullmatch(name) else trouble
        what = tell("the name {name} {trouble}", name=quoted(name), trouble=trouble)
        raise bad_input(KIND, what, tell("Take another name."), column="name")
    there = {one.lower(): one for one in kept_names()}.get(name.lower(), name)
    if there != name:
        what = tell("a list is kept as {name}, and some systems do not tell capitals apart", name=quoted(there))
        raise bad_input(KIND, what, tell("Take that name, or quite another."), column="name")
    place = find(KIND, name)
    if place is not None and not replace and bytes_of(place) != data:
        what = tell("another list is kept as {name} already", name=quoted(name))
        raise bad_input(KIND, what, tell("Replace it, or take another name."), column="replace")
    with TemporaryDirectory(prefix="satdiag-") as folder:
        # By way of a zip file the user folder checks and places it by its name alone.
        parcel = Path(folder) / "lineup.zip"
        parcel.write_bytes(pack({f"{KIND}/{file}": data}))
        carried = import_from(parcel, {}, replace)
    return "new" if carried.added else "replaced" if carried.replaced else "same"
