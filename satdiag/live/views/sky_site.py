"""One site of the view 'Sky': its satellites, its skyline and its navigation satellites, in numbers and in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from satdiag.language import tell
from satdiag.live.views.sky_day import Day
from satdiag.report.numbers import percent
from satdiag.report.sky_plot import PROBABLY_BLOCKED, PROBABLY_CLEAR, degrees_text, drawn_words, together_words
from satdiag.report.sky_points import kind_of, look_cells, navigation_words
from satdiag.report.words import PLACES, SKY_SOURCES
from satdiag.sky.compass import compass_word

if TYPE_CHECKING:
    from satdiag.findings import Mask, SatelliteSky, SiteSky


def site_told(site: SiteSky, day: Day) -> dict[str, Any]:
    """A site for the page; angles in degrees, azimuths from true north, clockwise."""
    return {
        "name": site.name,
        "alt": alt_of(site),
        "said": _said(site),
        "advice": list(day.advice),
        "hours": list(day.hours),
        "passes": list(day.passes),
        "measuring": _measuring(site),
        "satellites": [satellite_told(sat, site.navigation is not None) for sat in site.satellites],
        "mask": _mask(site.mask),
        "trail": _trail(site),
        "ways": [way._asdict() for way in day.ways],
    }


def satellite_told(sat: SatelliteSky, recorded: bool) -> dict[str, Any]:
    """A broadcast satellite: where, how likely clear, and what that rests on. `recorded`: its record tells of it."""
    azimuth, elevation = sat.azimuth_deg, sat.elevation_deg
    risen = None if elevation is None else elevation > 0.0
    return {
        "name": sat.name,
        "azimuth_deg": _tenth(azimuth),  # as it is written: many digits would tell everyone the position
        "elevation_deg": _tenth(elevation),
        "p_clear": sat.p_clear,
        "p_clear_90": sat.p_clear_90,
        "kind": kind_told(sat),
        "azimuth": degrees_text(azimuth),
        "side": "" if azimuth is None else compass_word(azimuth),
        "elevation": degrees_text(elevation),
        "chance": tell("below the horizon") if risen is False else percent(sat.p_clear, sat.p_clear_90),
        "short": "" if sat.p_clear is None else tell("{share} clear", share=percent(sat.p_clear)),
        "from": "" if risen is False else SKY_SOURCES[sat.from_],
        "nearest": look_cells(sat)[0] if recorded and sat.looks is not None else "",
        "stay": look_cells(sat)[1] if recorded and sat.looks is not None else "",
    }


def _tenth(angle_deg: float | None) -> float | None:
    return None if angle_deg is None else round(angle_deg, 1)


def kind_told(sat: SatelliteSky) -> str:
    """How likely it is clear, as the mark that shows it: 'clear', 'doubtful', 'hidden', 'unknown'."""
    if sat.p_clear is None:
        return "unknown"
    if sat.p_clear >= PROBABLY_CLEAR:
        return "clear"
    return "hidden" if sat.p_clear < PROBABLY_BLOCKED else "doubtful"


def alt_of(site: SiteSky) -> str:
    """The picture in words."""
    title = tell("Polar plot of the sky over {site}.", site=site.name)
    return " ".join([title, drawn_words(site), _skyline_words(site.mask)])


def _skyline_words(mask: Mask | None) -> str:
    """What of the skyline was measured, in a sentence."""
    if mask is None:
        return tell("No skyline was measured here.")
    share = sum(mask.measured) / len(mask.measured)
    if share == 1.0:
        return tell("The skyline was measured all round.")
    if share == 0.0:
        return tell("The skyline is only inferred.")
    return tell("Of the skyline, {share} was measured; the rest is only inferred.", share=percent(share))


def _said(site: SiteSky) -> list[str]:
    said = [*together_words(site)]
    if site.visible_fraction is not None:
        share = percent(site.visible_fraction, site.visible_fraction_90)
        said.append(tell("Of the usable sky, {share} is open.", share=share))
    if site.place:
        said.append(tell("The place was described as {place}.", place=PLACES.get(site.place, site.place)))
    return [*said, _skyline_words(site.mask)]


def _measuring(site: SiteSky) -> list[str]:
    """How long to stay until the record is worth something; without a record, how to get one."""
    if site.navigation is not None:
        return navigation_words(site)
    if site.mask is not None:
        return []
    return [
        tell(
            "A navigation receiver beside the satellite antenna measures the skyline while the vehicle is parked; "
            "this view then says how much longer to stay."
        )
    ]


def _mask(mask: Mask | None) -> dict[str, Any] | None:
    """The skyline by azimuth, its band, and where it was measured; to a tenth of a degree."""
    if mask is None:
        return None

    def tenths(values: tuple[float, ...]) -> list[float]:
        return [round(value, 1) for value in values]

    return {
        "azimuth_deg": tenths(mask.azimuth_deg),
        "edge_deg": tenths(mask.edge_elevation_deg),
        "low_deg": tenths(mask.edge_p05_deg),
        "high_deg": tenths(mask.edge_p95_deg),
        "measured": list(mask.measured),
    }


def _trail(site: SiteSky) -> list[dict[str, Any]]:
    """The looks at navigation satellites over the stay, each with how strong it was."""
    points = site.navigation.points if site.navigation else ()
    return [
        {"azimuth_deg": point.azimuth_deg, "elevation_deg": point.elevation_deg, "kind": kind_of(point)}
        for point in points
        if point.elevation_deg >= 0.0
    ]
