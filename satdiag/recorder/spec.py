"""What a person names to listen to: `serial:COM3?profile=bench-lines`, `gnss:/dev/ttyACM0`, `replay:my-job?speed=60`.

A driver is imported when a source is made, not before.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from satdiag.csv_text import quoted
from satdiag.errors import SatdiagError

if TYPE_CHECKING:
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.heard import Source

SLOWEST, FASTEST = 0.001, 1e6
BAUDS = (50, 10_000_000)


@dataclass(frozen=True)
class Spec:
    """A source as it was asked for: `kind` is a key of `KINDS`, `options` are those given, as texts."""

    text: str
    kind: str
    where: str
    options: Mapping[str, str]


@dataclass(frozen=True)
class Wanted:
    """What a source is made with, besides its spec."""

    clock: Clock
    poll: bool
    folders: Sequence[Path]
    taken_names: Collection[str]


@dataclass(frozen=True)
class Kind:
    """A kind of source: how it is written, what its options take, and what makes it."""

    form: str
    options: Mapping[str, Callable[[str], object]]
    make: Callable[[Spec, Wanted], Source]


def parse_spec(text: str) -> Spec:
    """Read a spec. Raises SatdiagError that says what was asked, what there is, and what to do.

    Our own options are the known names behind the last '?', parted with '&'; what else stands there belongs to a URL.
    """
    kind, colon, rest = text.partition(":")
    if not colon or kind not in KINDS:
        raise SatdiagError(f"{quoted(text)}: {quoted(kind)} is no kind of source. Write {_forms()}.")
    where, options = _options(text, kind, rest)
    if not where.strip():
        raise SatdiagError(f"{quoted(text)} does not say where. Write {KINDS[kind].form}.")
    for name, value in options.items():
        _checked(text, kind, name, value)
    if kind == "serial" and "profile" not in options:
        raise SatdiagError(
            f"{quoted(text)} does not say what the lines mean. Write {KINDS[kind].form}. {_profiles_there_are()}"
        )
    return Spec(text, kind, where, options)


def make_source(
    spec: Spec, clock: Clock, poll: bool = False, folders: Sequence[Path] = (), taken_names: Collection[str] = ()
) -> Source:
    """The source of a spec, not opened yet. `folders` are looked into for profiles.

    Its name is not among `taken_names`: a second `gnss` is called `gnss/2`. Raises SatdiagError.
    """
    return KINDS[spec.kind].make(spec, Wanted(clock, poll, folders, taken_names))


def _options(text: str, kind: str, rest: str) -> tuple[str, dict[str, str]]:
    """The place and our own options, parted."""
    where, sign, tail = rest.rpartition("?")
    if not sign:
        return rest, {}
    options: dict[str, str] = {}
    others = []
    for piece in tail.split("&"):
        name, equals, value = piece.partition("=")
        if not equals or name not in KINDS[kind].options:
            others.append(piece)
        elif name in options:
            raise SatdiagError(f"{quoted(text)}: '{name}' stands there twice. Take one out.")
        else:
            options[name] = value
    if others and "://" in where:
        where = f"{where}?{'&'.join(others)}"
    elif others:
        names = ", ".join(f"{name}=..." for name in KINDS[kind].options)
        raise SatdiagError(f"{quoted(text)}: {quoted(others[0])} is not an option of {kind}. There is {names}.")
    return where, options


def _checked(text: str, kind: str, name: str, value: str) -> object:
    """The value of an option. Raises SatdiagError."""
    try:
        return KINDS[kind].options[name](value)
    except ValueError as error:
        raise SatdiagError(f"{quoted(text)}: {quoted(f'{name}={value}')} {error}.") from None


def _forms() -> str:
    return " or ".join(kind.form for kind in KINDS.values())


def _profiles_there_are() -> str:
    from satdiag.recorder.profile import packaged_profiles

    return f"Profiles that come with satdiag: {', '.join(packaged_profiles())}; NAME.toml is one of your own."


def _a_text(value: str) -> str:
    if not value.strip():
        raise ValueError("is blank: name one")
    return value


def _a_baud(value: str) -> int:
    if not (value.isascii() and value.isdigit() and BAUDS[0] <= int(value[:9]) <= BAUDS[1]):
        raise ValueError(f"is not a speed: write a whole number from {BAUDS[0]} to {BAUDS[1]}, e.g. baud=9600")
    return int(value)


def _a_speed(value: str) -> float:
    from satdiag.rows import parse_number

    if value == "max":
        return math.inf
    number = parse_number(value)
    if number is None or not SLOWEST <= number <= FASTEST:
        raise ValueError(
            f"is not a speed: write a number from {SLOWEST:g} to {FASTEST:.0f}, e.g. speed=60, or speed=max"
        )
    return number


def _home(where: str) -> str:
    """A path with '~' written out."""
    return os.path.expanduser(where) if where.startswith("~") else where


def _free(name: str, taken: Collection[str]) -> str:
    """The name, or with the first number behind it that is free."""
    if name not in taken:
        return name
    return next(numbered for number in count(2) if (numbered := f"{name}/{number}") not in taken)


def _serial(spec: Spec, wanted: Wanted) -> Source:
    from satdiag.recorder.profile import load_profile
    from satdiag.recorder.serial_source import SerialSource

    profile = load_profile(_home(spec.options["profile"]), wanted.folders)
    name = _free(f"serial:{profile.name}", wanted.taken_names)
    return SerialSource(spec.where, profile, wanted.clock, name, wanted.poll)


def _gnss(spec: Spec, wanted: Wanted) -> Source:
    from satdiag.recorder.gnss_source import GnssSource

    name = _free("gnss", wanted.taken_names)
    if "baud" not in spec.options:
        return GnssSource(_home(spec.where), wanted.clock, name=name)
    return GnssSource(_home(spec.where), wanted.clock, baud=_a_baud(spec.options["baud"]), name=name)


def _replay(spec: Spec, wanted: Wanted) -> Source:
    from satdiag.recorder.replay_source import ReplaySource

    speed = _a_speed(spec.options.get("speed", "1"))
    return ReplaySource(_home(spec.where), speed, wanted.clock, _free("replay", wanted.taken_names))


KINDS: dict[str, Kind] = {
    "serial": Kind("serial:PORT-OR-URL?profile=NAME-OR-FILE", {"profile": _a_text}, _serial),
    "gnss": Kind("gnss:PORT-OR-URL-OR-FILE[?baud=N]", {"baud": _a_baud}, _gnss),
    "replay": Kind("replay:JOB[?speed=N]", {"speed": _a_speed}, _replay),
}
"""Every kind of source that can be named."""
