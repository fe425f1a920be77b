"""Constellation files: which satellites carry the service and where they stand.

A constellation is packaged with satdiag and called by its name, or lies in the job as constellation.toml.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from satdiag.csv_text import quoted, quoted_value
from satdiag.errors import BadInput, Problem, SatdiagError
from satdiag.language import listed, mark, tell_many
from satdiag.sheet import line_of_key, load_toml
from satdiag.vocabulary import TEMPLATES

JOB_FILE = "constellation.toml"
ELEMENT_FILES = ("elements.tle", "elements.omm")
FROM_MEMORY = "from memory"
"""The status of a slot that somebody remembers and nobody has looked up; whatever uses it must say so."""
INVENTED = mark("invented")
"""The status of a slot of the packaged demo: no satellite stands there."""


@dataclass(frozen=True)
class Satellite:
    """One satellite: geostationary at `longitude_deg` (east positive), or any orbit from elements.

    `elements` names a file beside the constellation, `tle` and `omm` are the text itself. `status` says where the
    figure comes from.
    """

    name: str
    longitude_deg: float | None = None
    elements: str | None = None
    eirp_dbw: float | None = None
    frequency_mhz: float | None = None
    status: str = ""
    tle: str | None = None
    omm: str | None = None


@dataclass(frozen=True)
class Constellation:
    """The satellites of one service. Below `coverage_min_elevation_deg` the service is not offered."""

    name: str
    satellites: tuple[Satellite, ...]
    source: str = ""
    band_mhz: tuple[float, float] | None = None
    coverage_min_elevation_deg: float = 0.0

    @property
    def caution(self) -> str | None:
        """The line that must stand beside everything worked out with slots from memory; None where there are none."""
        names = [satellite.name for satellite in self.satellites if satellite.status == FROM_MEMORY]
        if not names:
            return None
        return tell_many(
            "the slot of satellite {satellites} in '{constellation}' is from memory and not checked: check it "
            "against a current list of orbital positions before you rely on a direction",
            "the slots of satellites {satellites} in '{constellation}' are from memory and not checked: check them "
            "against a current list of orbital positions before you rely on a direction",
            len(names),
            satellites=listed(names),
            constellation=self.name,
        )


def packaged_names() -> tuple[str, ...]:
    """The names of the constellations that come with satdiag."""
    folder = files("satdiag.sky") / "constellations"
    names = (entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return tuple(sorted(name.removesuffix(".toml") for name in names))


def load_packaged(name: str) -> Constellation:
    """A constellation that comes with satdiag. Raises SatdiagError for a name that is not there."""
    if name not in packaged_names():
        raise SatdiagError(
            f"{quoted(name)} is not a packaged constellation; packaged are: {', '.join(packaged_names())}. Set "
            f'constellation in [service] of job.toml to one of them, or to "{JOB_FILE}" with that file in the job.'
        )
    path = files("satdiag.sky") / "constellations" / f"{name}.toml"
    return parse_constellation(path.read_text(encoding="utf-8"), f"{name}.toml")


def parse_constellation(text: str, file_name: str = JOB_FILE) -> Constellation:
    """A constellation from TOML text. Raises BadInput naming every key that is wrong."""
    data = load_toml(text, file_name)
    satellites = data.pop("satellite", [])
    problems = _table_problems(_File(text, file_name, None, 0), data, _KEYS, ("name",))
    if not isinstance(satellites, list) or not all(isinstance(entry, dict) for entry in satellites):
        line = line_of_key(text, "satellite")
        problems.append(Problem(file_name, "'satellite' is no list of tables", _SATELLITE_MEND, line))
    elif not satellites:
        problems.append(Problem(file_name, "no satellite is named", _SATELLITE_MEND))
    else:
        problems += _satellite_problems(text, file_name, satellites)
    if problems:
        raise BadInput(problems)
    band = data.get("band_mhz")
    return Constellation(
        name=data["name"],
        satellites=tuple(Satellite(**_as_floats(entry)) for entry in satellites),
        source=data.get("source", ""),
        band_mhz=(float(band[0]), float(band[1])) if band else None,
        coverage_min_elevation_deg=float(data.get("coverage_min_elevation_deg", 0.0)),
    )


_SATELLITE_MEND = "Write [[satellite]] with name and longitude_deg, once for each satellite."
_ORBIT_KEYS = ("longitude_deg", "elements", "tle", "omm")
Check = Callable[[Any], str | None]


def _text(value: Any) -> str | None:
    return None if isinstance(value, str) and value else "is not text in quotes"


def _satellite_name(value: Any) -> str | None:
    if isinstance(value, str) and re.fullmatch(TEMPLATES["NAME"], value, re.ASCII):
        return None
    return "cannot stand in satellite:NAME (letters, digits, '.', '_', '-')"


def _elements(value: Any) -> str | None:
    return None if value in ELEMENT_FILES else f"is not one of {', '.join(ELEMENT_FILES)}"


def _number(low: float, high: float) -> Check:
    def check(value: Any) -> str | None:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:
            return "is not a number"
        return None if low <= value <= high else f"is outside {low:g} .. {high:g}"

    return check


_frequency = _number(100.0, 100_000.0)


def _band(value: Any) -> str | None:
    if not isinstance(value, list) or len(value) != 2 or any(_frequency(part) for part in value):
        return "is not a pair of frequencies in MHz such as [2320.0, 2345.0]"
    return None if value[0] < value[1] else "does not rise from the first frequency to the second"


_KEYS: dict[str, Check] = {
    "name": _text,
    "source": _text,
    "band_mhz": _band,
    "coverage_min_elevation_deg": _number(0.0, 89.0),
}
_SATELLITE_KEYS: dict[str, Check] = {
    "name": _satellite_name,
    "longitude_deg": _number(-180.0, 180.0),
    "elements": _elements,
    "eirp_dbw": _number(-50.0, 120.0),
    "frequency_mhz": _frequency,
    "status": _text,
    "tle": _text,
    "omm": _text,
}


@dataclass(frozen=True)
class _File:
    """Where in which file a table stands, for messages."""

    text: str
    name: str
    table: str | None
    nth: int

    def line(self, key: str | None = None) -> int | None:
        if self.table is not None:
            return line_of_key(self.text, self.table, key, self.nth)
        # line_of_key looks inside named tables only; the keys of the file's head stand before any of them.
        pattern = re.compile(rf"\s*\"?{re.escape(key or '')}\"?\s*=")
        for number, line in enumerate(self.text.splitlines(), 1):
            if line.lstrip().startswith("["):
                break
            if pattern.match(line):
                return number
        return 1


def _table_problems(
    where: _File, table: dict[str, Any], keys: dict[str, Check], required: tuple[str, ...]
) -> list[Problem]:
    problems = []
    for key, value in table.items():
        if key not in keys:
            what, mend = f"unknown key {quoted(key)}", f"Known keys here: {', '.join(keys)}."
            problems.append(Problem(where.name, what, mend, where.line(key), key))
        elif trouble := keys[key](value):
            what = f"{quoted_value(value)} {trouble}"
            problems.append(Problem(where.name, what, "Mend the value.", where.line(key), key))
    for key in required:
        if key not in table:
            problems.append(Problem(where.name, f"'{key}' is missing", "Add it.", where.line(), key))
    return problems


def _satellite_problems(text: str, file_name: str, satellites: list[dict[str, Any]]) -> list[Problem]:
    problems = []
    names: list[Any] = []
    for nth, entry in enumerate(satellites):
        where = _File(text, file_name, "satellite", nth)
        problems += _table_problems(where, entry, _SATELLITE_KEYS, ("name",))
        if sum(key in entry for key in _ORBIT_KEYS) != 1:
            what = "a satellite needs one of longitude_deg, elements, tle and omm, and no more than one"
            mend = "Write longitude_deg for a geostationary satellite, elements (a file), tle or omm (text) else."
            problems.append(Problem(file_name, what, mend, where.line()))
        problems += _orbit_text_problems(where, entry)
        if "name" in entry and entry["name"] in names:
            what = f"the satellite name {quoted_value(entry['name'])} stands twice"
            problems.append(Problem(file_name, what, "Give each a name of its own.", where.line(), "name"))
        names += [entry["name"]] if "name" in entry else []
    return problems


def _orbit_text_problems(where: _File, entry: dict[str, Any]) -> list[Problem]:
    """What is wrong with elements written into the constellation itself."""
    from satdiag.sky.elements import find_set, parse_elements

    name = entry.get("name")
    for key in ("tle", "omm"):
        text = entry.get(key)
        if isinstance(text, str) and text and isinstance(name, str):
            try:
                find_set(parse_elements(text, f"elements.{key}"), name, where.name)
            except BadInput as error:
                line = where.line(key)
                return [Problem(where.name, part.what, part.mend, line, key) for part in error.problems]
    return []


def _as_floats(entry: dict[str, Any]) -> dict[str, Any]:
    return {key: float(value) if isinstance(value, int) else value for key, value in entry.items()}
