"""What stands around the vehicle, entered one edge at a time: a bearing and how high the edge reaches (horizon.csv).

Nothing here writes into a job: it says which document would be another, and the deck writes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from satdiag.csv_text import csv_line, decode
from satdiag.errors import BadInput, Problem, bad_input
from satdiag.language import tell
from satdiag.tables import HORIZON_COLUMNS, HorizonPoint, parse_horizon

FILE = "horizon.csv"
MOST = 360
LIMITS: Mapping[str, tuple[float, float]] = {"azimuth_deg": (0.0, 360.0), "elevation_deg": (-10.0, 90.0)}
"""What a reading may be, as `satdiag.tables` has it."""

SAME_DEG = 0.05
"""Readings are kept to a tenth of a degree: no hand reads an edge more closely."""


class Skyline(NamedTuple):
    """The document, words for the log, and the readings by azimuth; degrees, azimuths from true north, clockwise."""

    data: bytes
    words: str
    readings: tuple[HorizonPoint, ...]


def readings_of(documents: Mapping[str, bytes]) -> tuple[HorizonPoint, ...]:
    """The readings that a job's documents hold, by azimuth."""
    found = parse_horizon(decode(documents[FILE], FILE)) if FILE in documents else ()
    return tuple(sorted(found, key=lambda point: point.azimuth_deg))


def with_reading(documents: Mapping[str, bytes], azimuth_deg: Any, elevation_deg: Any) -> Skyline:
    """The skyline with one more reading; it takes the place of one at the same azimuth. Raises BadInput."""
    new = _checked(azimuth_deg, elevation_deg)
    before = readings_of(documents)
    kept = [point for point in before if not _same(point.azimuth_deg, new.azimuth_deg)]
    if len(kept) >= MOST:
        raise bad_input(FILE, tell("there are {n} readings already", n=MOST), tell("Take one out first."))
    return _made([*kept, new], f"skyline: {new.azimuth_deg:g} deg: {new.elevation_deg:g} deg")


def without_reading(documents: Mapping[str, bytes], azimuth_deg: Any) -> Skyline:
    """The skyline without the readings at an azimuth; where there are none it stays as it is. Raises BadInput."""
    azimuth = _checked(azimuth_deg, 0.0).azimuth_deg
    before = readings_of(documents)
    kept = [point for point in before if not _same(point.azimuth_deg, azimuth)]
    return _made(kept, f"skyline: {azimuth:g} deg taken out" if len(kept) < len(before) else "")


def _same(one_deg: float, other_deg: float) -> bool:
    """Whether two azimuths are one; 360 is 0."""
    return abs((one_deg - other_deg + 180.0) % 360.0 - 180.0) < SAME_DEG


def _checked(azimuth_deg: Any, elevation_deg: Any) -> HorizonPoint:
    values = {"azimuth_deg": azimuth_deg, "elevation_deg": elevation_deg}
    problems = []
    for name, value in values.items():
        low, high = LIMITS[name]
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            problems.append(Problem(FILE, tell("that is not a number"), tell("Give degrees."), None, name))
        elif not low <= value <= high:
            what = tell("is outside {low} .. {high}", low=f"{low:g}", high=f"{high:g}")
            problems.append(Problem(FILE, f"'{value:g}' {what}", tell("Mend it."), None, name))
    if problems:
        raise BadInput(problems)
    return HorizonPoint(round(float(azimuth_deg), 1), round(float(elevation_deg), 1))


def _made(points: list[HorizonPoint], words: str) -> Skyline:
    ordered = sorted(points, key=lambda point: point.azimuth_deg)
    lines = [csv_line(HORIZON_COLUMNS)]
    lines += [csv_line([f"{point.azimuth_deg:g}", f"{point.elevation_deg:g}"]) for point in ordered]
    return Skyline("\n".join([*lines, ""]).encode(), words, tuple(ordered))
