"""What [feedline] of the job sheet holds: the antenna lead as it is known, for reading a reflection sweep of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

CABLES = ("rg-174", "rg-58", "rg-316", "195-type", "240-type")
"""Classes of cable by their names in the trade."""

VELOCITY = (0.3, 1.0)
"""No cable is slower or faster than these."""
LENGTH_M = (0.05, 1000.0)
MOST_JOINTS = 20


@dataclass(frozen=True)
class Feedline:
    """What is known of the antenna lead. Absent is unknown.

    `expected_length_m` and `joints_m` count along the lead from the receiver's end of it, which stands
    `reference_plane_m` beyond the plane of calibration (of cable of the same kind).
    """

    velocity_factor: float | None = None
    velocity_factor_range: tuple[float, float] | None = None
    cable: str | None = None
    expected_length_m: float | None = None
    reference_plane_m: float = 0.0
    joints_m: tuple[float, ...] = ()


def velocities_trouble(value: Any) -> str | None:
    """What is wrong with a range of velocity factors, or None."""
    if not isinstance(value, list) or len(value) != 2 or not all(_between(part, *VELOCITY) for part in value):
        return f"is not a pair of velocity factors from {VELOCITY[0]:g} to {VELOCITY[1]:g} such as [0.65, 0.67]"
    return None if value[0] < value[1] else "does not rise from the first number to the second"


def joints_trouble(value: Any) -> str | None:
    """What is wrong with a list of joints, or None."""
    ok = (
        isinstance(value, list)
        and len(value) <= MOST_JOINTS
        and all(_between(part, 0, LENGTH_M[1]) for part in value)
    )
    return None if ok else f"is not a list of at most {MOST_JOINTS} distances in metres such as [1.2, 3.0]"


def outside_range(table: Mapping[str, Any]) -> bool:
    """True if the velocity factor of a sound table lies outside its own range."""
    low, high = table.get("velocity_factor_range", (0.0, 1.0))
    return "velocity_factor" in table and not low <= table["velocity_factor"] <= high


def feedline_of(table: Mapping[str, Any]) -> Feedline:
    """The sound table as numbers."""
    ends = table.get("velocity_factor_range")
    velocity, length = table.get("velocity_factor"), table.get("expected_length_m")
    return Feedline(
        velocity_factor=None if velocity is None else float(velocity),
        velocity_factor_range=None if ends is None else (float(ends[0]), float(ends[1])),
        cable=table.get("cable"),
        expected_length_m=None if length is None else float(length),
        reference_plane_m=float(table.get("reference_plane_m", 0.0)),
        joints_m=tuple(sorted(float(part) for part in table.get("joints_m", ()))),
    )


def _between(value: Any, low: float, high: float) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high
