"""Satellites in any orbit: element sets (TLE or OMM) carried to an instant with SGP4, as Earth-fixed positions.

SGP4 gives positions in its own frame (TEME, true equator and mean equinox of date). They are turned to the Earth
by Greenwich mean sidereal time (IAU 1982) alone, with UT1 taken as UTC and without polar motion. What that costs at
most: UTC is kept within 0.9 s of UT1 (ITU-R TF.460), in which the Earth turns by 0.0038 deg. Seen from the ground
that is 0.005 deg for a 24-h orbit and 0.06 deg for one 500 km high as it passes overhead (about 0.1 s of its way);
UT1-UTC has stayed under 0.1 s for years (from memory), a ninth of that. Polar motion (under 0.6 arc seconds, 20 m)
moves the latter by under 0.003 deg. The elements themselves are worse than all of it.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sgp4 import omm
from sgp4.api import SGP4_ERRORS, Satrec
from sgp4.io import verify_checksum

from satdiag.csv_text import quoted
from satdiag.errors import SatdiagError, bad_input, shown

Floats = NDArray[np.float64]
Instants = NDArray[np.datetime64]
_EPOCH_1970_JD = 2440587.5
_MOST_DAYS = 2_900_000
"""From 1970: what a date of four digits can say."""
_EXTENDED_EPHEMERIS = 4  # from memory: column 63 of a TLE that was made for another theory than SGP4


@dataclass(frozen=True)
class AgeLimits:
    """From how many days off their epoch elements are used with a word of warning, and from how many not at all."""

    warn_days: float
    refuse_days: float


# judgement, no source. SGP4 knows no station keeping: of the demo's 24-h orbits the apogee drifts by 0.5 deg in 30
# days and 5 deg in 180. Low orbits lose their place along the track within days, as drag is not foreseen.
DEEP_SPACE_LIMITS = AgeLimits(30.0, 180.0)
NEAR_EARTH_LIMITS = AgeLimits(5.0, 30.0)


@dataclass(frozen=True)
class ElementSet:
    """One satellite's elements: `name` is the title line or OBJECT_NAME, '' where there is none."""

    name: str
    epoch: np.datetime64
    record: Any

    def age_days(self, instant: np.datetime64) -> float:
        """Days from the elements' epoch to an instant, either way."""
        return abs(float((instant - self.epoch) / np.timedelta64(1, "us"))) / 86400e6

    @property
    def age_limits(self) -> AgeLimits:
        """How old the elements may be; SGP4 itself parts orbits at a period of 225 minutes."""
        return DEEP_SPACE_LIMITS if self.record.method == "d" else NEAR_EARTH_LIMITS

    @property
    def period_s(self) -> float:
        """Time of one turn, from the mean motion."""
        return 60.0 * 2.0 * np.pi / float(self.record.no_kozai)


def parse_elements(text: str, file_name: str) -> tuple[ElementSet, ...]:
    """The element sets of an elements.tle or elements.omm text.

    OMM (CCSDS 502.0, Orbit Mean-Elements Message) may be XML, JSON, CSV or the KEY = value notation. Raises
    BadInput.
    """
    reader = _tle_sets if file_name.endswith(".tle") else _omm_sets
    sets = tuple(reader(text, file_name))
    if not sets:
        mend = "Put in the two lines of a TLE, or an OMM, for each satellite."
        raise bad_input(file_name, "no element set was found", mend)
    return sets


def find_set(sets: tuple[ElementSet, ...], satellite_name: str, file_name: str) -> ElementSet:
    """The set titled with the satellite's name, or the only one there is. Raises BadInput."""
    titled = [entry for entry in sets if entry.name.lower() == satellite_name.lower()]
    if len(titled) == 1:
        return titled[0]
    if not titled and len(sets) == 1:
        return sets[0]
    what = f"{len(titled) or 'none'} of {len(sets)} element sets has the title {quoted(satellite_name)}"
    mend = "Put the satellite's name of constellation.toml on the line above its elements (OBJECT_NAME in an OMM)."
    raise bad_input(file_name, what, mend)


def positions_km(elements: ElementSet, instants: Instants) -> Floats:
    """Earth-fixed positions, shape (n, 3), km, at n UTC instants. Raises SatdiagError where SGP4 gives up."""
    jd, fraction = _julian(instants)
    return teme_to_earth_fixed(teme_positions_km(elements, instants), jd, fraction)


def teme_positions_km(elements: ElementSet, instants: Instants) -> Floats:
    """SGP4's own positions, frame TEME, shape (n, 3), km. Raises SatdiagError where SGP4 gives up."""
    codes, teme_km, _ = elements.record.sgp4_array(*_julian(instants))
    if np.any(codes) or not np.all(np.isfinite(teme_km)):
        reason = SGP4_ERRORS[int(codes[codes != 0][0])] if np.any(codes) else "no position came out"
        raise SatdiagError(
            f"the elements of {quoted(elements.name or 'the satellite')} cannot be carried to the time of the job: "
            f"{reason}. Put newer elements into the job."
        )
    return np.asarray(teme_km, dtype=float)


def _julian(instants: Instants) -> tuple[Floats, Floats]:
    """Instants as the beginning of their UTC day (a Julian date) and the fraction of it, both (n,)."""
    micros = np.atleast_1d(instants).astype("datetime64[us]").astype("int64")
    days, rest = np.divmod(micros, 86_400_000_000)
    return days + _EPOCH_1970_JD, rest / 86_400e6


def teme_to_earth_fixed(teme_km: Floats, jd: Floats, fraction: Floats) -> Floats:
    """Turn TEME positions (n, 3) about the pole by Greenwich mean sidereal time."""
    angle = gmst_rad(jd, fraction)
    x, y, z = np.moveaxis(teme_km, -1, 0)
    cosine, sine = np.cos(angle), np.sin(angle)
    return np.stack([cosine * x + sine * y, cosine * y - sine * x, z], axis=-1)


def gmst_rad(jd: Floats, fraction: Floats) -> Floats:
    """Greenwich mean sidereal time of the IAU 1982 model, radians.

    Aoki et al. 1982, Astronomy and Astrophysics 105, 359; the model that belongs to TEME (Vallado et al. 2006,
    AIAA 2006-6753, appendix C).
    """
    centuries = (jd - 2451545.0 + fraction) / 36525.0
    seconds = 67310.54841 + centuries * (8640184.812866 + centuries * (0.093104 - 6.2e-6 * centuries))
    turns = seconds / 86400.0 + (jd - 2451545.0) % 1.0 + fraction
    return np.asarray(2.0 * np.pi * (turns % 1.0))


def _set_of(record: Any, name: str, file_name: str, line: int | None = None) -> ElementSet:
    days = (record.jdsatepoch - _EPOCH_1970_JD) + record.jdsatepochF
    numbers = (days, record.no_kozai, record.ecco, record.inclo, record.nodeo, record.argpo, record.mo, record.bstar)
    if not all(map(math.isfinite, numbers)) or record.no_kozai <= 0 or abs(days) > _MOST_DAYS:
        what = "the epoch, the turns a day or an angle is a number that no satellite has"
        raise bad_input(file_name, what, "Copy the elements again, unchanged.", line)
    return ElementSet(name, np.datetime64(round(days * 86400e6), "us"), record)


def _tle_sets(text: str, file_name: str) -> Iterator[ElementSet]:
    title, first = "", ""
    for number, line in enumerate((line.rstrip() for line in text.splitlines()), 1):
        if re.match(r"1 .{60}", line):
            first = line
        elif re.match(r"2 .{60}", line) and first:
            yield _set_of(_tle_record(first, line, file_name, number), title, file_name, number)
            title, first = "", ""
        elif re.match(r"[12] [ 0-9A-Z]{5}", line):
            what = "a TLE line is cut short, or line 2 comes without line 1"
            raise bad_input(file_name, what, "A TLE line has 69 characters; copy both again.", number)
        elif line:
            title = line.removeprefix("0 ").strip()
    if first:
        raise bad_input(file_name, "line 1 of a TLE comes without line 2", "Copy both lines again.")


def _tle_record(first: str, second: str, file_name: str, line: int) -> Any:
    mend = "Copy both lines again, unchanged."
    try:
        verify_checksum(first, second)
        record = Satrec.twoline2rv(first, second)
    except ValueError as error:
        raise bad_input(file_name, f"not a valid TLE: {_one_line(error)}", mend, line) from None
    if record.error or first[2:7] != second[2:7]:
        reason = SGP4_ERRORS.get(record.error, "the two lines are of different satellites")
        raise bad_input(file_name, f"not a valid TLE: {reason}", mend, line)
    if record.ephtype == _EXTENDED_EPHEMERIS:
        what = "the elements are for the extended theory (ephemeris type 4), which cannot be carried here"
        raise bad_input(file_name, what, "Get the elements for SGP4 (ephemeris type 0).", line)
    return record


def _omm_sets(text: str, file_name: str) -> Iterator[ElementSet]:
    try:
        messages = list(_omm_fields(text))
    except (ElementTree.ParseError, csv.Error, ValueError, RecursionError, AttributeError, TypeError) as error:
        what = f"not readable as an OMM: {_one_line(error)}"
        raise bad_input(file_name, what, "Use an OMM in XML, JSON, CSV or KEY = value lines.") from None
    for fields in messages:
        yield _omm_set(fields, file_name)


def _omm_fields(text: str) -> Iterator[Mapping[str, Any]]:
    start = text.lstrip()[:1]
    if start == "<":
        yield from omm.parse_xml(io.StringIO(text))
    elif start in ("[", "{"):
        data = json.loads(text)
        yield from data if isinstance(data, list) else [data]
    elif re.search(r"^[ \t]*EPOCH[ \t]*=", text, re.MULTILINE):
        yield from _omm_key_values(text)
    else:
        yield from csv.DictReader(io.StringIO(text))


def _omm_key_values(text: str) -> Iterator[dict[str, str]]:
    fields: dict[str, str] = {}
    for line in text.splitlines():
        found = re.match(r"\s*([A-Z_0-9]+)\s*=(.*)", line)
        if not found:
            continue
        if found[1] == "CCSDS_OMM_VERS" and fields:
            yield fields
            fields = {}
        value = found[2].strip()
        fields[found[1]] = value[: value.rfind("[")].rstrip() if "[" in value and value.endswith("]") else value
    if fields:
        yield fields


# What a message may leave out (CCSDS 502.0: the TLE-related block is optional); none of it moves the orbit but BSTAR.
_OMM_DEFAULTS = {
    "CLASSIFICATION_TYPE": "U",
    "OBJECT_ID": "",
    "EPHEMERIS_TYPE": "0",
    "ELEMENT_SET_NO": "0",
    "REV_AT_EPOCH": "0",
    "NORAD_CAT_ID": "0",
    "BSTAR": "0",
    "MEAN_MOTION_DOT": "0",
    "MEAN_MOTION_DDOT": "0",
}


# What a message may say of its elements, where it says it: anything else is not for SGP4.
_OMM_THEORY = {"MEAN_ELEMENT_THEORY": ("SGP4", "SGP/SGP4"), "REF_FRAME": ("TEME",), "TIME_SYSTEM": ("UTC",)}


def _check_theory(fields: Mapping[str, Any], file_name: str) -> None:
    for key, known in _OMM_THEORY.items():
        value = str(fields.get(key) or known[0]).strip()
        if value.upper() not in known:
            what = f"the OMM's {key} is {shown(value, 40)}, and only {known[0]} can be carried here"
            raise bad_input(file_name, what, "Get the elements as an OMM for SGP4.")


def _omm_set(given: Mapping[str, Any], file_name: str) -> ElementSet:
    record = Satrec()
    try:
        fields = {**_OMM_DEFAULTS, **{key: value for key, value in given.items() if value is not None}}
        _check_theory(fields, file_name)
        epoch = datetime.fromisoformat(str(fields["EPOCH"]))
        epoch = epoch.astimezone(UTC) if epoch.tzinfo else epoch
        fields["EPOCH"] = epoch.strftime("%Y-%m-%dT%H:%M:%S.%f")
        if not 0 <= int(fields["EPHEMERIS_TYPE"]) <= 9:
            raise ValueError("EPHEMERIS_TYPE is one digit")
        omm.initialize(record, fields)
    except KeyError as error:
        what, mend = f"the OMM has no {error.args[0]}", "Copy the whole message again."
        raise bad_input(file_name, what, mend) from None
    except (ValueError, TypeError, AttributeError, OverflowError) as error:
        what = f"a value of the OMM cannot be read: {_one_line(error)}"
        raise bad_input(file_name, what, "Copy the whole message again.") from None
    if record.error:
        raise bad_input(file_name, f"not a valid OMM: {SGP4_ERRORS[record.error]}", "Copy the whole message again.")
    return _set_of(record, str(fields.get("OBJECT_NAME") or "").strip(), file_name)


def _one_line(error: Exception) -> str:
    return shown(" ".join(str(error).split()), 200)
