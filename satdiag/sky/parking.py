"""How to park for the satellites, in compass words from true north."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import SatelliteSky
from satdiag.language import in_figures, listed, mark, tell, tell_many, translated
from satdiag.sky.compass import compass_word, sides_text
from satdiag.sky.place_prior import UNDER_A_ROOF
from satdiag.sky.skyline_at import EdgeAt

Floats = NDArray[np.float64]

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
    "horizon": mark("the measured skyline"),
    "obstacles": mark("the listed obstacles"),
    "place": mark("the word for the place"),
    "gnss": mark("the navigation satellites that were heard"),
}
TRUE_NORTH = mark("Directions are from true north, not magnetic.")


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


def parking_advice(standing: Sequence[Standing], minimum_deg: float, place: str | None) -> tuple[str, ...]:
    """How to park, in sentences."""
    still = [one.sky for one in standing if not one.moves]
    high = [sky for sky in still if (sky.elevation_deg or 0.0) >= minimum_deg]
    moving = [one for one in standing if one.moves and one.leading_lowest_deg is not None]
    said = []
    if place in UNDER_A_ROOF:
        said.append(tell("The vehicle stands {place}: take it out under the open sky first.", place=place))
    if high:
        said += _for_those_that_stand(high)
    if moving:
        said.append(
            _for_those_that_move(moving, any(one.leading_lowest_deg is not None for one in standing if not one.moves))
        )
    if not high and not moving:
        said.append(tell("No satellite stands high enough here on this day: no way of parking will do."))
    low = [sky for sky in still if sky not in high] + [
        one.sky for one in standing if one.moves and _never_up(one, minimum_deg)
    ]
    said += [_too_low(sky, minimum_deg) for sky in low]
    for one in standing:
        if one.sky in high and one.sky.p_clear is not None:
            said += [_hidden(one)] if one.sky.p_clear < DOUBTFUL else _free(one)
    if behind := _behind(moving):
        said.append(behind)
    return (*said, translated(TRUE_NORTH)) if high or moving else tuple(said)


def _never_up(one: Standing, minimum_deg: float) -> bool:
    return (one.sky.elevation_deg or 0.0) < minimum_deg


def _for_those_that_stand(high: list[SatelliteSky]) -> list[str]:
    """Where they stand and which side to keep free; satellites in one compass direction are told together."""
    sides: dict[str | None, list[SatelliteSky]] = {}
    for sky in high:
        steep = (sky.elevation_deg or 0.0) >= STEEP_DEG
        sides.setdefault(None if steep else compass_word(sky.azimuth_deg or 0.0), []).append(sky)
    where = _where(sides)
    if list(sides) == [None]:
        return [
            tell_many(
                "The satellite stands {where}: keep the sky overhead free of roofs and trees.",
                "The satellites stand {where}: keep the sky overhead free of roofs and trees.",
                len(high),
                where=where,
            )
        ]
    lowest = min(sky.elevation_deg or 0.0 for sky in high)
    free_m = WALL_M / math.tan(math.radians(lowest))
    return [
        _keep_free(len(high), len(sides), where),
        tell(
            "What rises {wall:g} m above the antenna there must be {distance} m away or more.",
            wall=WALL_M,
            distance=max(1, math.ceil(free_m)),
        ),
    ]


def _where(sides: Mapping[str | None, list[SatelliteSky]]) -> str:
    """'in the south (east), 41 degrees up, and nearly overhead (west), 82 degrees up'."""
    said = ""
    for side, group in sides.items():
        names, height = listed([sky.name for sky in group]), _height(group)
        if side is None:
            part = tell("nearly overhead ({satellites}), {height} up", satellites=names, height=height)
        else:
            part = tell("in the {side} ({satellites}), {height} up", side=side, satellites=names, height=height)
        said = tell("{first}, and {next}", first=said, next=part) if said else part
    return said


def _keep_free(satellites: int, sides: int, where: str) -> str:
    if sides > 1:
        return tell("The satellites stand {where}: keep those sides free of walls and trees.", where=where)
    return tell_many(
        "The satellite stands {where}: keep that side free of walls and trees.",
        "The satellites stand {where}: keep that side free of walls and trees.",
        satellites,
        where=where,
    )


def _height(group: list[SatelliteSky]) -> str:
    whole = sorted({round(sky.elevation_deg or 0.0) for sky in group})
    if len(whole) == 1:
        return tell("{angle} degrees", angle=whole[0])
    return tell("{low} to {high} degrees", low=whole[0], high=whole[-1])


def _for_those_that_move(moving: list[Standing], beside_others: bool) -> str:
    """Where the highest satellite of the moment is to be found over the day."""
    lowest = min(one.leading_lowest_deg for one in moving if one.leading_lowest_deg is not None)
    azimuths = np.concatenate([one.leading_azimuths_deg for one in moving if one.leading_azimuths_deg is not None])
    who = listed([one.sky.name for one in moving])
    if len(moving) > 1:
        where = tell("The satellites that move are {satellites}.", satellites=who)
    else:
        where = tell("Satellite {satellite} moves.", satellite=who)
    if lowest >= OVERHEAD_DEG:
        text = translated(_leads(len(moving), beside_others)[0])
        return f"{where} {text.format(lowest=in_figures(f'{lowest:.0f}'))}"
    text = translated(_leads(len(moving), beside_others)[1])
    return f"{where} {text.format(sides=sides_text(azimuths), lowest=in_figures(f'{lowest:.0f}'))}"


def _leads(moving: int, beside_others: bool) -> tuple[str, str]:
    """What is said of the highest that moves: where it is overhead all the time, and where it is not."""
    if beside_others and moving > 1:
        return (
            mark(
                "While one of them is the highest, it is never lower than {lowest} degrees: "
                "keep the sky overhead free of roofs and trees."
            ),
            mark(
                "While one of them is the highest, it is {sides}, at its lowest {lowest} degrees up: "
                "keep that free of walls and trees."
            ),
        )
    if beside_others:
        return (
            mark(
                "While it is the highest, it is never lower than {lowest} degrees: "
                "keep the sky overhead free of roofs and trees."
            ),
            mark(
                "While it is the highest, it is {sides}, at its lowest {lowest} degrees up: "
                "keep that free of walls and trees."
            ),
        )
    if moving > 1:
        return (
            mark(
                "The highest of them at any time is never lower than {lowest} degrees: "
                "keep the sky overhead free of roofs and trees."
            ),
            mark(
                "The highest of them at any time is {sides}, at its lowest {lowest} degrees up: "
                "keep that free of walls and trees."
            ),
        )
    return (
        mark(
            "While it is high enough, it is never lower than {lowest} degrees: "
            "keep the sky overhead free of roofs and trees."
        ),
        mark(
            "While it is high enough, it is {sides}, at its lowest {lowest} degrees up: "
            "keep that free of walls and trees."
        ),
    )


def _too_low(sky: SatelliteSky, minimum_deg: float) -> str:
    height = sky.elevation_deg or 0.0
    if height <= 0.0:
        return tell("Satellite {satellite} does not rise here: do not count on it.", satellite=sky.name)
    return tell(
        "Satellite {satellite} gets only {height:.0f} degrees up, below the {least:g} at which the service is "
        "offered: do not count on it.",
        satellite=sky.name,
        height=height,
        least=minimum_deg,
    )


def _hidden(one: Standing) -> str:
    sky = one.sky
    side = compass_word(sky.azimuth_deg or 0.0)
    known = translated(_KNOWN_FROM.get(sky.from_, mark("what is known of the sky")))
    if (sky.p_clear or 0.0) < 0.5:
        said = tell(
            "Going by {known}, satellite {satellite} in the {side} is probably hidden where the vehicle stands: "
            "move it.",
            known=known,
            satellite=sky.name,
            side=side,
        )
    else:
        said = tell(
            "Going by {known}, satellite {satellite} in the {side} is doubtful where the vehicle stands: move it.",
            known=known,
            satellite=sky.name,
            side=side,
        )
    return " ".join([said, *_farther(one)])


def _farther(one: Standing) -> list[str]:
    """How high the skyline stands there, and how much farther from it is far enough, where that is known."""
    elevation = one.sky.elevation_deg or 0.0
    if one.edge is None or elevation <= 0.0:
        return []
    edge, low, high = (float(part[0]) for part in one.edge)
    said = tell(
        "At azimuth {azimuth:.0f} degrees the skyline reaches {edge:.0f} degrees (90 %: {low:.0f} to {high:.0f}), "
        "and the satellite stands at {elevation:.0f}.",
        azimuth=one.sky.azimuth_deg or 0.0,
        edge=edge,
        low=max(low, 0.0),
        high=max(high, 0.0),
        elevation=elevation,
    )
    if not elevation < high < WALL_STEEPEST_DEG:
        return [said]
    # An upright obstacle seen at elevation a from one distance is seen at e from tan a / tan e times that distance.
    times = math.tan(math.radians(high)) / math.tan(math.radians(elevation))
    more = tell(
        "{times:.1f} times as far from what stands there is far enough.", times=math.ceil(times * 10.0) / 10.0
    )
    return [said, more]


def _free(one: Standing) -> list[str]:
    """By how much a satellite stands above the skyline, where that is known and not within its band."""
    if one.edge is None:
        return []
    spare = (one.sky.elevation_deg or 0.0) - float(one.edge.high_deg[0])
    if spare <= 0.0:
        return []
    said = tell(
        "Satellite {satellite} at azimuth {azimuth:.0f} degrees is free where the vehicle stands, "
        "{spare} degrees above the upper end of the skyline's range.",
        satellite=one.sky.name,
        azimuth=one.sky.azimuth_deg or 0.0,
        spare=max(1, math.floor(spare)),
    )
    return [said]


def _behind(moving: list[Standing]) -> str:
    """How long the highest satellite of the moment is behind the skyline, and on which sides; '' where unknown."""
    known = [one for one in moving if one.behind is not None and one.leading_azimuths_deg is not None]
    if not known:
        return ""
    behind = np.concatenate([one.behind for one in known if one.behind is not None])
    azimuths = np.concatenate([one.leading_azimuths_deg for one in known if one.leading_azimuths_deg is not None])
    if not behind.any():
        return tell("By the skyline there, the one that is highest of those that move is free all the time.")
    return tell(
        "By the skyline there, the one that is highest of those that move is behind it for about {share} % of the "
        "time that one of them is the highest, {sides}: stand farther from what rises there.",
        share=min(99, max(1, round(100.0 * float(behind.mean())))),
        sides=sides_text(azimuths[behind]),
    )
