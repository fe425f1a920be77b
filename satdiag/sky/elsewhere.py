"""What other kinds of place would give at the site where the vehicle stands: `elsewhere_of`.

The figures are those of the models in `satdiag.sky.expect` at the satellites' own elevations; nothing here was
measured at the place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from satdiag.errors import SatdiagError
from satdiag.findings import (
    ElsewhereFindings,
    ModelSource,
    MoveGain,
    PathElsewhere,
    PlaceElsewhere,
    SatelliteSky,
    SiteSky,
)
from satdiag.job import Job
from satdiag.language import tell
from satdiag.sky.constellation import Constellation
from satdiag.sky.expect import MARGIN_DB, Expectation, environment, gain_by_moving
from satdiag.sky.propagation.atmosphere import weather_text
from satdiag.sky.propagation.places import ENVIRONMENTS

PLACE_OF_FAULT: Mapping[str, str] = {"indoors": "indoors", "obstructed": "street", "foliage": "canopy"}
"""The kind of place that each fault of the surroundings speaks of, by the words of the log."""
SHADED_DB = 5.0
"""Judgement, no source: a path under trees counts as weakened from so much on, as where levels are judged."""
LOST_DB: Mapping[str, float] = {"obstructed": MARGIN_DB, "foliage": SHADED_DB}
"""What is lost now where a fault holds: of a street only spots count that lose more than a path has in hand, of a
road under trees only those where it is weakened. Most of either kind of place loses nothing."""


class _Risen(NamedTuple):
    """A satellite above the horizon."""

    name: str
    azimuth_deg: float
    elevation_deg: float


def site_now(job: Job, sites: Sequence[SiteSky]) -> SiteSky | None:
    """The site at which the vehicle stood last; the first one where the log names none; None without any."""
    by_name = {site.name: site for site in sites}
    moves = job.select("site")
    named = str(moves["value"].iloc[-1]) if len(moves) else ""
    return by_name.get(named) or (sites[0] if sites else None)


def elsewhere_of(site: SiteSky | None, constellation: Constellation | None) -> ElsewhereFindings:
    """Losses, working shares and gains by kind of place for the satellites over a site; or why they are not known."""
    name = site.name if site else None
    satellites = _risen(site.satellites if site else ())
    if not satellites:
        why = tell("what to expect elsewhere is not known: no direction of a satellite is known")
        return ElsewhereFindings(name, could_not=(why,))
    frequency_hz = _frequency_hz(constellation)
    if frequency_hz is None:
        why = tell("what to expect elsewhere is not known: the constellation states no frequency")
        return ElsewhereFindings(name, could_not=(why,))
    elevations = [satellite.elevation_deg for satellite in satellites]
    azimuths = [satellite.azimuth_deg for satellite in satellites]
    found = [environment(kind, elevations, azimuths, frequency_hz) for kind in ENVIRONMENTS]
    sources = dict.fromkeys(source for one in found for source in one.sources)
    return ElsewhereFindings(
        site=name,
        frequency_mhz=frequency_hz / 1e6,
        margin_db=found[0].margin_db,
        places=tuple(_place(one, satellites) for one in found),
        moves=tuple(_move(fault, satellites, frequency_hz) for fault in PLACE_OF_FAULT),
        weather=_weather(min(elevations), frequency_hz),
        sources=tuple(ModelSource(*source.said()) for source in sources),
        notes=tuple(dict.fromkeys(text for one in found for text in one.notes)),
        could_not=tuple(dict.fromkeys(text for one in found for text in one.could_not)),
    )


def _risen(satellites: Sequence[SatelliteSky]) -> list[_Risen]:
    return [
        _Risen(sat.name, sat.azimuth_deg, sat.elevation_deg)
        for sat in satellites
        if sat.azimuth_deg is not None and sat.elevation_deg is not None and sat.elevation_deg > 0.0
    ]


def _frequency_hz(constellation: Constellation | None) -> float | None:
    """The middle of the satellites' frequencies, else of the band; None if neither is stated."""
    if constellation is None:
        return None
    stated = [sat.frequency_mhz for sat in constellation.satellites if sat.frequency_mhz is not None]
    ends = (min(stated), max(stated)) if stated else constellation.band_mhz
    return None if ends is None else (ends[0] + ends[1]) / 2.0 * 1e6


def _place(found: Expectation, satellites: Sequence[_Risen]) -> PlaceElsewhere:
    paths = tuple(
        PathElsewhere(
            satellite.name,
            satellite.elevation_deg,
            path.exceeded_10_db,
            path.exceeded_50_db,
            path.exceeded_90_db,
            path.works_share,
        )
        for satellite, path in zip(satellites, found.paths, strict=True)
    )
    return PlaceElsewhere(found.environment, found.words, found.share_of, paths, found.any_path_share_range)


def _move(fault: str, satellites: Sequence[_Risen], frequency_hz: float) -> MoveGain:
    highest = max(satellites, key=lambda satellite: satellite.elevation_deg)
    elevation = highest.elevation_deg
    gain = gain_by_moving(PLACE_OF_FAULT[fault], "open-sky", elevation, frequency_hz, LOST_DB.get(fault, 0.0))
    if isinstance(gain, str):
        return MoveGain(fault, highest.name, elevation, None, None, gain)
    text = tell(
        "{gain} towards the satellite '{satellite}', {elevation:.0f}° high",
        gain=gain.text,
        satellite=highest.name,
        elevation=elevation,
    )
    return MoveGain(fault, highest.name, elevation, gain.median_db, (gain.low_db, gain.high_db), text)


def _weather(lowest_deg: float, frequency_hz: float) -> str:
    try:
        return weather_text(lowest_deg, frequency_hz / 1e9)
    except SatdiagError as trouble:
        return str(trouble)
