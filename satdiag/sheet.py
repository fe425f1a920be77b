"""The job sheet, job.toml: who, where, which receiver, which service. Absent optional keys mean 'unknown'."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timezone
from typing import Any, Literal
from zoneinfo import ZoneInfo

from satdiag import feed_keys, lead_keys
from satdiag.csv_text import quoted, quoted_value
from satdiag.errors import BadInput, Problem, bad_input, shown
from satdiag.rows import parse_offset
from satdiag.toml_text import deep_key, places_of
from satdiag.vocabulary import REASONS, bars_of

FILE = "job.toml"
MAX_TOML_BYTES = 1_000_000
_FILE_SAFE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}", re.ASCII)
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


@dataclass(frozen=True)
class Site:
    """A place where the vehicle stands. WGS84, north and east positive."""

    name: str
    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0
    timezone: str | None = None


@dataclass(frozen=True)
class Receiver:
    """What is known of the receiver and its readouts."""

    id: str | None = None
    second_hand: bool | None = None
    antenna_lead: str = "unknown"
    adaptor: str = "unknown"
    level_scale: str | None = None
    level_floor: float | None = None
    noise_bandwidth_hz: float | None = None
    bias_nominal_v: float | None = None
    bias_normal_ma: tuple[float, float] | None = None
    bias_series_ohm: float | None = None
    bias_learnt_v: tuple[float, ...] = ()
    bias_learnt_ma: tuple[float, ...] = ()
    antenna_gain_dbic: tuple[float, float] | None = None
    noise_temperature_k: tuple[float, float] | None = None

    @property
    def masked_id(self) -> str:
        """The identifier with all but its last characters hidden: three stay, of a short one a third at the most."""
        if not self.id:
            return "unknown"
        hidden = len(self.id) - min(len(self.id) // 3, 3)
        return "•" * max(hidden, 3) + self.id[hidden:]

    def floor_of(self, unit: str) -> float | None:
        """The reading of a level in `unit` that means 'no signal', or None if none is known."""
        if self.level_floor is not None and self.level_scale in (None, unit):
            return self.level_floor
        return 0.0 if unit == "percent" or bars_of(unit) is not None else None


@dataclass(frozen=True)
class Supply:
    """What is known of the supply: the receiver's supply code, the current awake, the battery's capacity."""

    code: Literal["A", "B", "C", "D"] | None = None
    awake_a: float | None = None
    battery_ah: float | None = None


@dataclass(frozen=True)
class Sheet:
    """job.toml as typed data. `opened` is UTC; `naive_times` is the offset of times written without one.

    `feed` holds the ranges of [feed] by key; a single number there is a range of no width.
    """

    id: str
    opened: datetime | None = None
    reason: str = "unknown"
    vehicle: str = ""
    technician: str = ""
    naive_times: timezone | None = None
    sites: tuple[Site, ...] = ()
    receiver: Receiver = field(default_factory=Receiver)
    feed: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    feedline: lead_keys.Feedline = field(default_factory=lead_keys.Feedline)
    constellation: str | None = None
    package: str = ""
    supply: Supply = field(default_factory=Supply)


@dataclass(frozen=True)
class Check:
    """What a key may hold: `trouble` says what is wrong with a value, `schema` tells the same as JSON Schema."""

    trouble: Callable[[Any], str | None]
    schema: Mapping[str, Any]

    def __call__(self, value: Any) -> str | None:
        """What is wrong with the value, or None."""
        return self.trouble(value)


def _text(value: Any) -> str | None:
    return None if isinstance(value, str) else "is not text in quotes"


def _flag(value: Any) -> str | None:
    return None if isinstance(value, bool) else "is not true or false"


def _number(low: float = -1e12, high: float = 1e12) -> Check:
    def trouble(value: Any) -> str | None:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:  # NaN
            return "is not a number"
        return None if low <= value <= high else f"is outside {low:g} .. {high:g}"

    return Check(trouble, {"type": "number", "minimum": low, "maximum": high})


def _one_of(*words: str) -> Check:
    return Check(lambda value: None if value in words else f"is not one of {', '.join(words)}", {"enum": list(words)})


def _file_safe(value: Any) -> str | None:
    safe = isinstance(value, str) and _FILE_SAFE.fullmatch(value) and not _RESERVED.fullmatch(value)
    return None if safe and not value.endswith(".") else "is not file-name safe (letters, digits, '.', '_', '-')"


def _moment(value: Any) -> str | None:
    return None if isinstance(value, datetime) else "is not a date and time such as 2031-05-03T13:40:00Z"


def _offset(value: Any) -> str | None:
    ok = isinstance(value, str) and parse_offset(value) is not None
    return None if ok else "is not an offset such as -05:00"


def zone_named(name: str) -> ZoneInfo:
    """A time zone by its IANA name. Raises ValueError for any other text."""
    if len(name) > _LONGEST_ZONE:  # a path of thousands of parts takes the search for it down
        raise ValueError("the name is too long")
    try:
        return ZoneInfo(name)
    except (OSError, LookupError) as error:  # an unknown zone is a KeyError
        raise ValueError(str(error)) from None


_LONGEST_ZONE = 100


def _zone(value: Any) -> str | None:
    try:
        zone_named(value)
    except (ValueError, TypeError):
        return "is not an IANA time zone such as America/Chicago"
    return None


def _scale(value: Any) -> str | None:
    ok = isinstance(value, str) and (value in ("dB", "dB-Hz", "percent") or bars_of(value) is not None)
    return None if ok else "is not dB, dB-Hz, percent or bars/N such as bars/5"


def _range(value: Any) -> str | None:
    if not isinstance(value, list) or len(value) != 2 or any(_POSITIVE(part) for part in value):
        return "is not a pair of numbers such as [15, 80]"
    return None if value[0] < value[1] else "does not rise from the first number to the second"


_POSITIVE = _number(0)
_PACKAGE = re.compile(r"[a-z0-9-]*", re.ASCII)


def _package(value: Any) -> str | None:
    ok = isinstance(value, str) and _PACKAGE.fullmatch(value) and value != "open"
    return None if ok else "is not a package word (small letters, digits, '-'; not 'open')"


_TEXT = Check(_text, {"type": "string"})
_FLAG = Check(_flag, {"type": "boolean"})
_OFFSET = r"^(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$"

KEYS: dict[str, dict[str, Check]] = {
    "job": {
        "id": Check(_file_safe, {"type": "string", "pattern": rf"^{_FILE_SAFE.pattern}$"}),
        "opened": Check(_moment, {"type": "string", "format": "date-time"}),
        "reason": _one_of(*REASONS),
        "vehicle": _TEXT,
        "technician": _TEXT,
        "naive_times": Check(_offset, {"type": "string", "pattern": _OFFSET}),
    },
    "site": {
        "name": _TEXT,
        "latitude_deg": _number(-90, 90),
        "longitude_deg": _number(-180, 180),
        "height_m": _number(-500, 9000),
        "timezone": Check(_zone, {"type": "string"}),
    },
    "receiver": {
        "id": _TEXT,
        "second_hand": _FLAG,
        "antenna_lead": _one_of("single", "dual", "unknown"),
        "adaptor": _one_of("none", "combiner", "satellite-only", "unknown"),
        "level_scale": Check(_scale, {"type": "string", "pattern": "^(dB|dB-Hz|percent|bars/[1-9][0-9]{0,3})$"}),
        "level_floor": _number(),
        "noise_bandwidth_hz": _number(1),
        "bias_nominal_v": _number(0, 60),
        "bias_normal_ma": Check(
            _range, {"type": "array", "items": dict(_POSITIVE.schema), "minItems": 2, "maxItems": 2}
        ),
        "bias_series_ohm": _number(0, 1000),
        "bias_learnt_v": Check(feed_keys.learnt_trouble, feed_keys.LEARNT_SCHEMA),
        "bias_learnt_ma": Check(feed_keys.learnt_trouble, feed_keys.LEARNT_SCHEMA),
        "antenna_gain_dbic": Check(feed_keys.range_trouble(-20, 30), feed_keys.range_schema(-20, 30)),
        "noise_temperature_k": Check(feed_keys.range_trouble(10, 10_000), feed_keys.range_schema(10, 10_000)),
    },
    "service": {
        "constellation": _TEXT,
        "package": Check(_package, {"type": "string", "pattern": f"^{_PACKAGE.pattern}$", "not": {"const": "open"}}),
    },
}
KEYS["feed"] = {
    key: Check(feed_keys.range_trouble(*limits), feed_keys.range_schema(*limits))
    for key, limits in feed_keys.LIMITS.items()
}
KEYS["feedline"] = {
    "velocity_factor": _number(*lead_keys.VELOCITY),
    "velocity_factor_range": Check(lead_keys.velocities_trouble, {"type": "array", "minItems": 2, "maxItems": 2}),
    "cable": _one_of(*lead_keys.CABLES),
    "expected_length_m": _number(*lead_keys.LENGTH_M),
    "reference_plane_m": _number(-lead_keys.LENGTH_M[1], lead_keys.LENGTH_M[1]),
    "joints_m": Check(lead_keys.joints_trouble, {"type": "array", "items": {"type": "number"}}),
}
KEYS["supply"] = {
    "code": _one_of("A", "B", "C", "D"),
    "awake_a": _number(0.01, 500),
    "battery_ah": _number(1, 1000),
}
REQUIRED = {"job": ("id",), "site": ("name", "latitude_deg", "longitude_deg")}


def load_toml(text: str, file: str) -> dict[str, Any]:
    """TOML text as a dict. Raises BadInput with the line where the parser stopped."""
    if len(text.encode()) > MAX_TOML_BYTES:
        raise bad_input(file, "the file is larger than 1 MB", "A TOML file of a job is a page at most.")
    if line := deep_key(text):
        raise bad_input(file, "a key has a hundred parts or more", "Write a key as one word.", line)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"at line (\d+)", str(error))
        what = shown(re.sub(r" \(at .*\)$", "", str(error)), 200)
        raise bad_input(
            file,
            f"not valid TOML: {what}",
            'Write key = value, with text in "quotes".',
            int(found[1]) if found else text.count("\n") + 1,
        ) from None
    except (RecursionError, ValueError) as error:
        raise bad_input(file, f"not readable as TOML: {error}", "Write it afresh with `satdiag new`.") from None


def line_of_key(text: str, table: str, key: str | None = None, nth: int = 0) -> int | None:
    """The line of a table's head, or of a key in it, for messages; `nth` counts repeated [[tables]]."""
    places = places_of(text)
    head = places.get((table, nth, ""))
    return places.get((table, nth, key), head) if key else head


def _check_table(text: str, name: str, table: Any, nth: int) -> list[Problem]:
    if not isinstance(table, dict):
        heading = f"[[{name}]]" if name == "site" else f"[{name}]"
        return [Problem(FILE, f"'{name}' is not a table", f"Write {heading} on a line of its own.", 1)]
    problems = []
    for key, value in table.items():
        line = line_of_key(text, name, key, nth)
        check = KEYS[name].get(key)
        if check is None:
            mend = f"Known keys of [{name}]: {', '.join(KEYS[name])}."
            problems.append(Problem(FILE, f"unknown key {quoted(key)} in [{name}]", mend, line, key))
        elif trouble := check(value):
            mend = "Mend it." if key in REQUIRED.get(name, ()) else "Mend it or leave the key out."
            problems.append(Problem(FILE, f"{quoted_value(value)} {trouble}", mend, line, key))
    for key in REQUIRED.get(name, ()):
        if key not in table:
            head = line_of_key(text, name, None, nth)
            problems.append(Problem(FILE, f"'{key}' is missing in [{name}]", "Add it.", head, key))
    return problems


def _cross_checks(text: str, data: dict[str, Any]) -> list[Problem]:
    problems = []
    opened = data["job"].get("opened")
    if opened is not None and opened.tzinfo is None and "naive_times" not in data["job"]:
        line = line_of_key(text, "job", "opened")
        mend = "Add Z or an offset, or set naive_times."
        problems.append(Problem(FILE, f"'{opened}' has no offset", mend, line, "opened"))
    if opened is not None and not 1900 <= opened.year <= 9998:
        line = line_of_key(text, "job", "opened")
        problems.append(
            Problem(FILE, f"'{opened}' is in no year we know", "Write the year of the job.", line, "opened")
        )
    if lead_keys.outside_range(data.get("feedline", {})):
        line = line_of_key(text, "feedline", "velocity_factor")
        what = "velocity_factor is outside velocity_factor_range"
        problems.append(Problem(FILE, what, "Mend one of the two.", line, "velocity_factor"))
    names = [site["name"] for site in data.get("site", [])]
    for nth, name in enumerate(names):
        if not name or name in names[:nth]:
            line = line_of_key(text, "site", "name", nth)
            mend = "Give each site a name of its own."
            problems.append(Problem(FILE, f"the site name {quoted(name)} is empty or used twice", mend, line, "name"))
    return problems


def parse_sheet(text: str) -> Sheet:
    """job.toml as a `Sheet`. Raises BadInput naming every key that is wrong."""
    data = load_toml(text, FILE)
    problems = []
    for name, table in data.items():
        if name not in KEYS:
            line, mend = line_of_key(text, name) or 1, f"Known tables: {', '.join(KEYS)}."
            problems.append(Problem(FILE, f"unknown table [{quoted(name)[1:-1]}]", mend, line))
        elif name == "site":
            tables = table if isinstance(table, list) else [None]
            problems += [p for nth, site in enumerate(tables) for p in _check_table(text, "site", site, nth)]
        else:
            problems += _check_table(text, name, table, 0)
    if "job" not in data:
        problems.append(Problem(FILE, "the table [job] is missing", 'Add [job] with id = "..."', 1))
    if not problems:
        problems = _cross_checks(text, data)
    if problems:
        raise BadInput(problems)
    return _sheet(data)


def _sheet(data: dict[str, Any]) -> Sheet:
    job, receiver, service = data["job"], dict(data.get("receiver", {})), data.get("service", {})
    naive = parse_offset(job["naive_times"]) if "naive_times" in job else None
    opened = job.get("opened")
    if opened is not None:
        opened = (opened if opened.tzinfo else opened.replace(tzinfo=naive)).astimezone(UTC)
    if "bias_normal_ma" in receiver:
        low, high = receiver["bias_normal_ma"]
        receiver["bias_normal_ma"] = (float(low), float(high))
    for key in ("bias_learnt_v", "bias_learnt_ma"):
        receiver[key] = tuple(float(number) for number in receiver.get(key, ()))
    link = {key: receiver[key] for key in ("antenna_gain_dbic", "noise_temperature_k") if key in receiver}
    receiver |= feed_keys.ranges_of(link)
    receiver["id"] = receiver.get("id") or None
    return Sheet(
        id=job["id"],
        opened=opened,
        reason=job.get("reason", "unknown"),
        vehicle=job.get("vehicle", ""),
        technician=job.get("technician", ""),
        naive_times=naive,
        sites=tuple(Site(**site) for site in data.get("site", [])),
        receiver=Receiver(**receiver),
        feed=feed_keys.ranges_of(data.get("feed", {})),
        feedline=lead_keys.feedline_of(data.get("feedline", {})),
        constellation=service.get("constellation") or None,
        package=service.get("package", ""),
        supply=Supply(**data.get("supply", {})),
    )
