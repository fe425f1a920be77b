"""Line profiles: how the lines of a device become readings. A profile is a TOML file; some come with satdiag.

Keys: `profile_keys`. A profile reads any bytes and never fails: what it cannot read it names.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, NamedTuple

from satdiag.csv_text import decode, quoted
from satdiag.errors import SatdiagError, bad_input
from satdiag.recorder.framing import LIMIT, LineFramer
from satdiag.recorder.profile_checks import NAME
from satdiag.recorder.profile_file import MAX_BYTES, read_profile_text
from satdiag.recorder.profile_keys import LINE_ENDS
from satdiag.recorder.profile_parts import NotUnderstood, Part, part_of
from satdiag.recorder.profile_pattern import MAX_CHARACTERS, compile_pattern
from satdiag.recorder.profile_reading import Rule, Understood, read_fields, rule_of, used_fields

__all__ = [
    "Poll",
    "Port",
    "Profile",
    "Understood",
    "load_profile",
    "packaged_profiles",
    "parse_profile",
    "profile_text",
]

_NO_TEXT = re.compile(r"[\x00-\x08\x0a-\x1f\x7f-\x9f]")
_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Port:
    """How the bytes come. `parity`: none, even, odd, mark, space; `handshake`: none, xonxoff, rtscts.

    `line_end` is what ends a line; None: a line feed, with or without a carriage return before it.
    """

    baud: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: float = 1
    handshake: str = "none"
    line_end: bytes | None = None
    encoding: str = "ascii"
    silent_after_s: float | None = None


class Poll(NamedTuple):
    """What asks a bench device for its next line, and how often."""

    text: str
    period_s: float


@dataclass(frozen=True)
class _Reader:
    """How lines are read: which are remarks, what parts the others, and what the parts become."""

    part: Part
    rules: tuple[Rule, ...]
    keeps_blanks: bool
    ignore: tuple[str, ...]
    ignore_pattern: re.Pattern[str] | None


@dataclass(frozen=True)
class Profile:
    """One line profile. `kind` is bench or vehicle; `silent_after_s` None: the source may be quiet for ever."""

    name: str
    kind: str
    about: str
    port: Port
    poll: Poll | None
    _reader: _Reader = field(repr=False, compare=False)

    @property
    def silent_after_s(self) -> float | None:
        """Without an understood line for so long the source counts as silent; None: never."""
        return self.port.silent_after_s

    def framer(self) -> LineFramer:
        """A new framer for lines that end as this profile says."""
        return LineFramer(self.port.line_end)

    def read_line(self, data: bytes) -> Understood:
        """What one line says, given without its line end. Never raises: what is not understood is said in `why`."""
        try:
            text = data.removeprefix(_BOM).decode(self.port.encoding)
        except UnicodeDecodeError as error:
            return Understood((), f"the byte 0x{error.object[error.start]:02x} in it is not {self.port.encoding}")
        reader, bare = self._reader, text.strip(" \t\r\n")
        if not bare or (reader.ignore and bare.startswith(reader.ignore)):
            return Understood()
        if len(text) > LIMIT:
            return Understood((), f"it is longer than {LIMIT} characters")
        strange = _NO_TEXT.search(bare)
        if strange:
            return Understood((), f"the character 0x{ord(strange[0]):02x} stands in it, which is no text")
        pattern = reader.ignore_pattern
        if pattern is not None and len(bare) <= MAX_CHARACTERS and pattern.fullmatch(bare):
            return Understood()
        try:
            fields = reader.part(text.strip("\r\n") if reader.keeps_blanks else bare)
        except NotUnderstood as error:
            return Understood((), str(error))
        return read_fields(reader.rules, fields)


def parse_profile(text: str, file: str) -> Profile:
    """The profile that a TOML text says; `file` is its name in messages. Raises BadInput with all that is wrong."""
    data = read_profile_text(text, file)
    line = data["line"]
    rules = tuple(rule_of(table) for table in data["reading"])
    ignore = line.get("ignore_pattern")
    return Profile(
        name=data["name"],
        kind=data["kind"],
        about=data.get("about", ""),
        port=_port(data.get("port", {})),
        poll=Poll(data["poll"]["text"], float(data["poll"]["period_s"])) if "poll" in data else None,
        _reader=_Reader(
            part=part_of(line, used_fields(rules) | set(line.get("required", ()))),
            rules=rules,
            keeps_blanks=line["part"] == "delimited",
            ignore=tuple(line.get("ignore", ())),
            ignore_pattern=None if ignore is None else compile_pattern(ignore),
        ),
    )


def _port(table: Mapping[str, Any]) -> Port:
    given = dict(table)
    if "line_end" in given:
        given["line_end"] = LINE_ENDS[given["line_end"]]
    for key in ("stop_bits", "silent_after_s"):
        if key in given:
            given[key] = float(given[key])
    return Port(**given)


# --- where profiles are -----------------------------------------------------------------------------------------


def load_profile(name_or_path: str, folders: Sequence[Path] = ()) -> Profile:
    """A profile by name (a packaged one, else NAME.toml in one of the folders) or by the path of its file.

    Raises BadInput for a profile that is wrong, SatdiagError for one that is not there.
    """
    return parse_profile(*profile_text(name_or_path, folders))


def profile_text(name_or_path: str, folders: Sequence[Path] = ()) -> tuple[str, str]:
    """The text of a profile and the name of its file for messages. Raises as `load_profile`."""
    packaged = _packaged()
    if name_or_path in packaged:
        return packaged[name_or_path].read_text(encoding="utf-8"), f"{name_or_path}.toml"
    places = [folder / f"{name_or_path}.toml" for folder in folders] if NAME.fullmatch(name_or_path) else []
    if name_or_path:
        places.append(Path(name_or_path))
    found = next((place for place in places if _is_file(place)), None)
    if found is None:
        raise SatdiagError(_unknown(name_or_path, folders))
    return _read(found), str(found)


def packaged_profiles() -> dict[str, str]:
    """The profiles that come with satdiag, with what each is about, by name."""
    return {name: load_profile(name).about for name in sorted(_packaged())}


def _packaged() -> dict[str, Traversable]:
    folder = files("satdiag.recorder") / "profiles"
    return {each.name.removesuffix(".toml"): each for each in folder.iterdir() if each.name.endswith(".toml")}


def _is_file(place: Path) -> bool:
    try:
        return place.is_file()
    except (OSError, ValueError):  # no such name can be: too long, a NUL in it
        return False


def _read(place: Path) -> str:
    try:
        with place.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise bad_input(str(place), f"it cannot be read ({error.strerror})", "Check its name and rights.") from None
    if len(data) > MAX_BYTES:
        raise bad_input(str(place), "the file is larger than 1 MB", "A line profile is a page or two at most.")
    return decode(data, str(place))


def _unknown(name: str, folders: Sequence[Path]) -> str:
    names = {*_packaged(), *(each.stem for folder in folders if folder.is_dir() for each in folder.glob("*.toml"))}
    put = f"put it as NAME.toml into {folders[0]} or give its path" if folders else "give the path of its file"
    return (
        f"There is no line profile {quoted(name)}. Known: {', '.join(sorted(names))}. "
        f"To write one, begin with what `satdiag profile show bench-lines` prints, and {put}."
    )
