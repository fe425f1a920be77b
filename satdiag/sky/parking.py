"""How to park for the satellites, in compass words from true north."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import SatelliteSky
from satdiag.sky.place_prior import UNDER_A_ROOF
from satdiag.sky.skyline_at import EdgeAt

Floats = NDArray[np.float64]

COMPASS = (
    "north",
    "north-northeast",
    "northeast",
    "east-northeast",
    "east",
    "east-southeast",
    "southeast",
    "south-southeast",
    "south",
    "south-southwest",
    "southwest",
    "west-southwest",
    "west",
    "west-northwest",
    "northwest",
    "north-northwest",
)
# judgement, no source: from here up a satellite is over the vehicle, and only what hangs over it is in the way.
OVERHEAD_DEG = 60.0
# judgement, no source: from here up a compass direction says nothing to a person.
STEEP_DEG = 80.0
# judgement, no source: less clear than this is worth moving the vehicle for.
DOUBTFUL = 0.8
# judgement, no source: what stands beside a lane, above the height of an antenna on a roof.
WALL_M = 5.0
# From here up a wall is beside the vehicle, and moving away from it is all there is to say.
WALL_STEEPEST_DEG = 85.0
_KNOWN_FROM = {
    "horizon": "the measured skyline",
    "obstacles": "the listed obstacles",
    "place": "the word for the place",
    "gnss": "the navigation satellites that were heard",
}
TRUE_NORTH = "Directions are from true north, not magnetic."


@dataclass(frozen=True)
class Standing:
    """What the advice needs of one satellite.

    `leading_lowest_deg` is its lowest elevation while it is the highest of all that stand high enough, None where it
    never is; `leading_azimuths_deg` its azimuths then, None where it does not move. Where a skyline is known: `edge`
    is the skyline below or above one that stands, `behind` at which of the azimuths one that moves is behind it.
    """

    sky: SatelliteSky
    moves: bool
    leading_lowest_deg: float | None
    leading_azimuths_deg: Floats | None
    edge: EdgeAt | None = None
    behind: NDArray[np.bool_] | None = None


def compass_word(azimuth_deg: float) -> str:
    """The nearest of 16 compass points: 0 is north, 157 south-southeast."""
    return COMPASS[round(azimuth_deg / 22.5) % 16]


def parking_advice(standing: Sequence[Standing], minimum_deg: float, place: str | None) -> tuple[str, ...]:
    """How to park, in sentences."""
    still = [one.sky for one in standing if not one.moves]
    high = [sky for sky in still if (sky.elevation_deg or 0.0) >= minimum_deg]
    moving = [one for one in standing if one.moves and one.leading_lowest_deg is not None]
    said = []
    if place in UNDER_A_ROOF:
        said.append(f"The vehicle stands {place}: take it out under the open sky first.")
    if high:
        said += _for_those_that_stand(high)
    if moving:
        said.append(
            _for_those_that_move(moving, any(one.leading_lowest_deg is not None for one in standing if not one.moves))
        )
    if not high and not moving:
        said.append("No satellite stands high enough here on this day: no way of parking will do.")
    low = [sky for sky in still if sky not in high] + [
        one.sky for one in standing if one.moves and _never_up(one, minimum_deg)
    ]
    said += [_too_low(sky, minimum_deg) for sky in low]
    for one in standing:
        if one.sky in high and one.sky.p_clear is not None:
            said += [_hidden(one)] if one.sky.p_clear < DOUBTFUL else _free(one)
    if behind := _behind(moving):
        said.append(behind)
    return (*said, TRUE_NORTH) if high or moving else tuple(said)


def _never_up(one: Standing, minimum_deg: float) -> bool:
    return (one.sky.elevation_deg or 0.0) < minimum_deg


def _for_those_that_stand(high: list[SatelliteSky]) -> list[str]:
    """Where they stand and which side to keep free; satellites in one compass direction are told together."""
    sides: dict[str, list[SatelliteSky]] = {}
    for sky in high:
        steep = (sky.elevation_deg or 0.0) >= STEEP_DEG
        side = "nearly overhead" if steep else f"in the {compass_word(sky.azimuth_deg or 0.0)}"
        sides.setdefault(side, []).append(sky)
    parts = [f"{side} ({_names([sky.name for sky in group])}), {_height(group)} up" for side, group in sides.items()]
    verb = "stands" if len(high) == 1 else "stand"
    noun = "satellite" if len(high) == 1 else "satellites"
    keep = "keep that side" if len(sides) == 1 else "keep those sides"
    if list(sides) == ["nearly overhead"]:
        return [f"The {noun} {verb} {parts[0]}: keep the sky overhead free of roofs and trees."]
    lowest = min(sky.elevation_deg or 0.0 for sky in high)
    free_m = WALL_M / math.tan(math.radians(lowest))
    return [
        f"The {noun} {verb} {', and '.join(parts)}: {keep} free of walls and trees.",
        f"What rises {WALL_M:g} m above the antenna there must be {max(1, math.ceil(free_m))} m away or more.",
    ]


def _height(group: list[SatelliteSky]) -> str:
    whole = sorted({round(sky.elevation_deg or 0.0) for sky in group})
    return f"{whole[0]} degrees" if len(whole) == 1 else f"{whole[0]} to {whole[-1]} degrees"


def _for_those_that_move(moving: list[Standing], beside_others: bool) -> str:
    """Where the highest satellite of the moment is to be found over the day."""
    lowest = min(one.leading_lowest_deg for one in moving if one.leading_lowest_deg is not None)
    azimuths = np.concatenate([one.leading_azimuths_deg for one in moving if one.leading_azimuths_deg is not None])
    who = _names([one.sky.name for one in moving])
    leads = "The highest of them at any time is"
    if beside_others:
        leads = "While it is the highest, it is" if len(moving) == 1 else "While one of them is the highest, it is"
    elif len(moving) == 1:
        leads = "While it is high enough, it is"
    where = f"The satellites that move are {who}." if len(moving) > 1 else f"Satellite {who} moves."
    if lowest >= OVERHEAD_DEG:
        return (
            f"{where} {leads} never lower than {lowest:.0f} degrees: keep the sky overhead free of roofs and trees."
        )
    at_least = f"at its lowest {lowest:.0f} degrees up"
    return f"{where} {leads} {_sides(azimuths)}, {at_least}: keep that free of walls and trees."


def _sides(azimuths_deg: Floats) -> str:
    """The directions that azimuths fill, as one arc clockwise: all but the widest gap between them."""
    ordered = np.sort(np.unique(np.round(azimuths_deg, 1)))
    gaps = np.diff(np.append(ordered, ordered[0] + 360.0))
    widest = int(np.argmax(gaps))
    if gaps[widest] < 45.0:
        return "on every side in turn"
    begin, finish = compass_word(float(ordered[(widest + 1) % len(ordered)])), compass_word(float(ordered[widest]))
    return f"in the {begin}" if begin == finish else f"between the {begin} and, clockwise, the {finish}"


def _too_low(sky: SatelliteSky, minimum_deg: float) -> str:
    height = sky.elevation_deg or 0.0
    if height <= 0.0:
        return f"Satellite {sky.name} does not rise here: do not count on it."
    least = f"below the {minimum_deg:g} at which the service is offered"
    return f"Satellite {sky.name} gets only {height:.0f} degrees up, {least}: do not count on it."


def _hidden(one: Standing) -> str:
    sky = one.sky
    side = compass_word(sky.azimuth_deg or 0.0)
    known = _KNOWN_FROM.get(sky.from_, "what is known of the sky")
    chance = "probably hidden" if (sky.p_clear or 0.0) < 0.5 else "doubtful"
    return (
        f"Going by {known}, satellite {sky.name} in the {side} is {chance} where the vehicle stands: move it."
        f"{_farther(one)}"
    )


def _farther(one: Standing) -> str:
    """How high the skyline stands there, and how much farther from it is far enough; '' where that is not known."""
    elevation = one.sky.elevation_deg or 0.0
    if one.edge is None or elevation <= 0.0:
        return ""
    edge, low, high = (float(part[0]) for part in one.edge)
    said = (
        f" At azimuth {one.sky.azimuth_deg or 0.0:.0f} degrees the skyline reaches {edge:.0f} degrees (90 %: "
        f"{max(low, 0.0):.0f} to {max(high, 0.0):.0f}), and the satellite stands at {elevation:.0f}."
    )
    if not elevation < high < WALL_STEEPEST_DEG:
        return said
    # An upright obstacle seen at elevation a from one distance is seen at e from tan a / tan e times that distance.
    times = math.tan(math.radians(high)) / math.tan(math.radians(elevation))
    return f"{said} {math.ceil(times * 10.0) / 10.0:.1f} times as far from what stands there is far enough."


def _free(one: Standing) -> list[str]:
    """By how much a satellite stands above the skyline, where that is known and not within its band."""
    if one.edge is None:
        return []
    spare = (one.sky.elevation_deg or 0.0) - float(one.edge.high_deg[0])
    if spare <= 0.0:
        return []
    return [
        f"Satellite {one.sky.name} at azimuth {one.sky.azimuth_deg or 0.0:.0f} degrees is free where the vehicle "
        f"stands, {max(1, math.floor(spare))} degrees above the upper end of the skyline's range."
    ]


def _behind(moving: list[Standing]) -> str:
    """How long the highest satellite of the moment is behind the skyline, and on which sides; '' where unknown."""
    known = [one for one in moving if one.behind is not None and one.leading_azimuths_deg is not None]
    if not known:
        return ""
    behind = np.concatenate([one.behind for one in known if one.behind is not None])
    azimuths = np.concatenate([one.leading_azimuths_deg for one in known if one.leading_azimuths_deg is not None])
    if not behind.any():
        return "By the skyline there, the one that is highest of those that move is free all the time."
    share = min(99, max(1, round(100.0 * float(behind.mean()))))
    return (
        f"By the skyline there, the one that is highest of those that move is behind it for about {share} % of the "
        f"time that one of them is the highest, {_sides(azimuths[behind])}: stand farther from what rises there."
    )


def _names(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
