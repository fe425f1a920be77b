"""The small plain tables of a job folder: the channel line-up, the horizon, the obstacles."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from satdiag.csv_text import Record, header_problems, quoted, records, shape_problem
from satdiag.errors import BadInput, Problem, bad_input
from satdiag.rows import parse_number
from satdiag.vocabulary import TEMPLATES

MOST_CHANNELS = 1_000_000
"""Of a line-up, or of a log: thousands of times what a service has. `satdiag docs log` says what so many take."""

LINEUP_COLUMNS = ("channel", "name", "category", "packages")
HORIZON_COLUMNS = ("azimuth_deg", "elevation_deg")
OBSTACLE_COLUMNS = ("azimuth_from_deg", "azimuth_to_deg", "distance_m", "height_m", "note")


@dataclass(frozen=True, slots=True)
class LineUpChannel:
    """One channel of the line-up. Empty `packages` means unknown; 'open' marks one that plays without an account."""

    channel: int
    name: str
    category: str
    packages: frozenset[str]

    @property
    def is_open(self) -> bool:
        """True if the channel plays without a subscription."""
        return "open" in self.packages


@dataclass(frozen=True)
class HorizonPoint:
    """One clinometer reading: the elevation of the skyline at an azimuth from true north."""

    azimuth_deg: float
    elevation_deg: float


@dataclass(frozen=True)
class Obstacle:
    """Something that stands in the way; its height is above the antenna. The span runs clockwise from `from`."""

    azimuth_from_deg: float
    azimuth_to_deg: float
    distance_m: float
    height_m: float
    note: str


Checks = dict[str, Callable[[str], str | None]]


def _range(low: float, high: float) -> Callable[[str], str | None]:
    def check(text: str) -> str | None:
        number = parse_number(text)
        if number is None:
            return f"is not a number from {low:g} to {high:g} (decimal point, no comma, no unit)"
        return None if low <= number <= high else f"is outside {low:g} .. {high:g}"

    return check


def _packages(text: str) -> str | None:
    ok = text == "" or re.fullmatch(r"[a-z0-9-]+( [a-z0-9-]+)*", text, re.ASCII)
    return None if ok else "is not a list of words (small letters, digits, '-') parted by single blanks"


def _channel(text: str) -> str | None:
    ok = re.fullmatch(TEMPLATES["CHANNEL"], text, re.ASCII)
    return None if ok else "is not a channel number 0..9999999 without leading zeros"


_PLAIN_LINE = re.compile(
    rf'({TEMPLATES["CHANNEL"]}),([^",\r\n]{{0,9999}}),([^",\r\n]{{0,9999}}),((?:[a-z0-9-]+(?: [a-z0-9-]+)*)?)',
    re.ASCII,
)
"""A line of lineup.csv in which nothing is in quotes and nothing is wrong."""

_LINEUP_CHECKS: Checks = {"channel": _channel, "packages": _packages}
_HORIZON_CHECKS: Checks = {"azimuth_deg": _range(0, 360), "elevation_deg": _range(-10, 90)}
_OBSTACLE_CHECKS: Checks = {
    "azimuth_from_deg": _range(0, 360),
    "azimuth_to_deg": _range(0, 360),
    "distance_m": _range(0.01, 100_000),
    "height_m": _range(-1000, 10_000),
}


def _read(text: str, file: str, columns: Sequence[str], checks: Checks, problems: list[Problem]) -> Iterator[Record]:
    """The records of a table whose fields pass their checks, in turn; what is wrong with others joins `problems`.

    Raises BadInput if the header is not that of the table.
    """
    body = records(text, file)
    first = next(body, None)
    if first is None:
        raise bad_input(file, "the file is empty", f"Write the header: {','.join(columns)}", 1)
    header_problems(file, first.fields, columns, ())
    try:
        for record in body:
            if wrong := shape_problem(file, record, columns):
                problems.append(wrong)
            elif wrong_fields := list(_field_problems(file, record, columns, checks)):
                problems += wrong_fields
            else:
                yield record
    except BadInput as error:  # nothing behind a quote that was left open can be told apart
        problems += error.problems


def _sound(text: str, file: str, columns: Sequence[str], checks: Checks) -> list[list[str]]:
    """The fields of every record of a table. Raises BadInput with all that is wrong."""
    problems: list[Problem] = []
    found = [record.fields for record in _read(text, file, columns, checks, problems)]
    if problems:
        raise BadInput(problems)
    return found


def _field_problems(file: str, record: Record, columns: Sequence[str], checks: Checks) -> Iterator[Problem]:
    for column, field in zip(columns, record.fields, strict=True):
        trouble = checks[column](field) if column in checks else None
        if trouble:
            yield Problem(file, f"{quoted(field)} {trouble}", "Mend the field.", record.line, column)


def parse_lineup(text: str, file: str = "lineup.csv") -> tuple[LineUpChannel, ...]:
    """lineup.csv as channels. Raises BadInput, also for a channel that stands twice."""
    if (plain := _plain_lineup(text)) is not None:
        return plain
    rows: list[LineUpChannel] = []
    problems: list[Problem] = []
    first: dict[str, int] = {}
    alike = _Alike()
    for record in _read(text, file, LINEUP_COLUMNS, _LINEUP_CHECKS, problems):
        channel, name, category, packages = record.fields
        if channel in first:
            what = f"channel {channel} stands in line {first[channel]} already"
            problems.append(Problem(file, what, "Keep one line a channel.", record.line, "channel"))
        first.setdefault(channel, record.line)
        rows.append(LineUpChannel(int(channel), name, *alike.shared(category, packages)))
        if len(rows) > MOST_CHANNELS:
            what = f"it holds more than the {MOST_CHANNELS:,} channels that are taken"
            mend = "Keep the channels of the one service that is received."
            raise BadInput([*problems, Problem(file, what, mend, record.line)])
    if problems:
        raise BadInput(problems)
    return tuple(rows)


@lru_cache(maxsize=1)
def _plain_lineup(text: str) -> tuple[LineUpChannel, ...] | None:
    """The channels of a line-up without quotes and without anything wrong; None: it has to be read with care.

    The last one is kept: a job that is recorded is checked again with every change of its sheet.
    """
    head, *lines = text.removesuffix("\n").split("\n")
    if head != ",".join(LINEUP_COLUMNS) or len(lines) > MOST_CHANNELS:
        return None
    alike, fits = _Alike(), _PLAIN_LINE.fullmatch
    rows = []
    for line in lines:
        if (found := fits(line)) is None:
            return None
        channel, name, category, packages = found.groups()
        rows.append(LineUpChannel(int(channel), name, *alike.shared(category, packages)))
    return tuple(rows) if len({row.channel for row in rows}) == len(rows) else None


class _Alike:
    """One object for equal categories and for equal packages, of which a line-up has a few."""

    def __init__(self) -> None:
        self._categories: dict[str, str] = {}
        self._packages: dict[str, frozenset[str]] = {}

    def shared(self, category: str, packages: str) -> tuple[str, frozenset[str]]:
        """The category, and the packages as a set."""
        if packages not in self._packages:
            self._packages[packages] = frozenset(packages.split())
        return self._categories.setdefault(category, category), self._packages[packages]


def parse_horizon(text: str, file: str = "horizon.csv") -> tuple[HorizonPoint, ...]:
    """horizon.csv as clinometer readings. Raises BadInput."""
    return tuple(
        HorizonPoint(float(azimuth), float(elevation))
        for azimuth, elevation in _sound(text, file, HORIZON_COLUMNS, _HORIZON_CHECKS)
    )


def parse_obstacles(text: str, file: str = "obstacles.csv") -> tuple[Obstacle, ...]:
    """obstacles.csv as obstacles. Raises BadInput."""
    return tuple(
        Obstacle(*_four(fields), note=fields[4]) for fields in _sound(text, file, OBSTACLE_COLUMNS, _OBSTACLE_CHECKS)
    )


def _four(fields: Sequence[str]) -> tuple[float, float, float, float]:
    return float(fields[0]), float(fields[1]), float(fields[2]), float(fields[3])
