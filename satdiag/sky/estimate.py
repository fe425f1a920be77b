"""What the sky allows at each site of a job: `estimate_sky`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from satdiag.csv_text import decode
from satdiag.errors import bad_input
from satdiag.findings import Interval, SatelliteSky, SiteSky, SkyFindings, instant_text
from satdiag.job import Job
from satdiag.language import tell
from satdiag.sky import horizon
from satdiag.sky.constellation import JOB_FILE, Constellation, Satellite, load_packaged, parse_constellation
from satdiag.sky.elements import ElementSet, positions_km
from satdiag.sky.elsewhere import elsewhere_of, site_now
from satdiag.sky.look_angles import geostationary_position_km, look_angles
from satdiag.sky.mask.site import judged
from satdiag.sky.orbits import orbits_of
from satdiag.sky.place_prior import LOWEST_OF_TABLE_DEG, low_words, visible_fraction_of_place
from satdiag.sky.pole import pole_words
from satdiag.sky.stay import Stay, mask_of, stays_of, with_chance
from satdiag.sky.together import together
from satdiag.sky.while_there import while_there

# The share of the sky that is open is counted above this elevation at least.
LOWEST_ELEVATION_DEG = 10.0


def estimate_sky(job: Job) -> SkyFindings:
    """Directions of the satellites, chance that each is clear, and the open share of the sky, site by site.

    Raises BadInput or SatdiagError if the constellation or the elements that the job names cannot be read.
    """
    constellation = constellation_of(job)
    minimum = constellation.coverage_min_elevation_deg if constellation else None
    cautions = (constellation.caution,) if constellation and constellation.caution else ()
    if not job.sheet.sites:
        return SkyFindings((), minimum, (*cautions, *_without_position(job)), cautions=cautions)
    could_not = [*cautions]
    if constellation is None:
        could_not.append(tell("no constellation named in job.toml: look angles not computed"))
    orbits = orbits_of(constellation, job.documents) if constellation else ()
    elements = {orbit.name: orbit.elements for orbit in orbits if orbit.elements is not None}
    sites = []
    for stay in stays_of(job):
        satellites, not_done = _satellites(stay, constellation, elements)
        known = [orbit for orbit, sat in zip(orbits, satellites, strict=True) if sat.elevation_deg is not None]
        satellites, changes = while_there(job, stay, known, satellites, minimum or 0.0)
        site = _site_sky(stay, satellites, max(LOWEST_ELEVATION_DEG, minimum or 0.0))
        sites.append(replace(site, handovers=changes))
        could_not += not_done + _site_could_not(job, stay, satellites)
    found = tuple(sites)
    elsewhere = elsewhere_of(site_now(job, found), constellation)
    return SkyFindings(found, minimum, tuple(could_not), elsewhere, cautions)


def constellation_of(job: Job) -> Constellation | None:
    """The constellation that the job names, from its own file or packaged. Raises BadInput, SatdiagError."""
    named = job.sheet.constellation
    if named == JOB_FILE or (named is None and JOB_FILE in job.documents):
        if JOB_FILE not in job.documents:
            what = f"constellation is '{JOB_FILE}', and the job has no such file"
            raise bad_input("job.toml", what, "Put the file into the job, or name a packaged constellation.")
        return parse_constellation(decode(job.documents[JOB_FILE], JOB_FILE), JOB_FILE)
    return load_packaged(named) if named else None


def _without_position(job: Job) -> tuple[str, ...]:
    said = [tell("no position: look angles not computed")]
    if any(name.endswith(".nmea") for name in job.documents):
        said.append(tell("positions in gnss*.nmea were not used for the sky: add a [[site]] to job.toml"))
    return tuple(said)


# --- satellites --------------------------------------------------------------------------------------------------


def _satellites(
    stay: Stay, constellation: Constellation | None, elements: dict[str, ElementSet]
) -> tuple[list[SatelliteSky], list[str]]:
    satellites, could_not = [], []
    for satellite in constellation.satellites if constellation else ():
        placed, said = _direction(stay, satellite, elements.get(satellite.name))
        satellites.append(with_chance(stay, placed))
        could_not += said
    return judged(stay.seen, satellites) if stay.seen else satellites, could_not


def _direction(stay: Stay, satellite: Satellite, elements: ElementSet | None) -> tuple[SatelliteSky, list[str]]:
    """The satellite's direction, and what must be said about it."""
    said: list[str] = []
    unknown = SatelliteSky(satellite.name, None, None, None, None, None, "none")
    if satellite.longitude_deg is not None:
        position = geostationary_position_km(satellite.longitude_deg)
        as_of = None
    elif elements is not None and stay.instant is not None:
        age, limits = elements.age_days(stay.instant), elements.age_limits
        if age > limits.refuse_days:
            return unknown, [_too_old(satellite.name, age)]
        if age > limits.warn_days:
            said.append(_old(satellite.name, age))
        position = positions_km(elements, np.array([stay.instant]))[0]
        as_of = instant_text(stay.instant)
    else:
        return unknown, [_no_instant(satellite.name)]
    site = stay.site
    seen = look_angles(position, site.latitude_deg, site.longitude_deg, site.height_m)
    azimuth, elevation = float(seen.azimuth_deg), float(seen.elevation_deg)
    placed = replace(
        unknown,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        range_km=float(seen.range_km),
        as_of=as_of,
    )
    return placed, said


def _too_old(name: str, age_days: float) -> str:
    return tell(
        "the elements of '{satellite}' are {days:.0f} days from the job, too old to say where it stood: "
        "put newer ones into the job",
        satellite=name,
        days=age_days,
    )


def _old(name: str, age_days: float) -> str:
    return tell(
        "the elements of '{satellite}' are {days:.0f} days from the job: it may be degrees off",
        satellite=name,
        days=age_days,
    )


def _no_instant(name: str) -> str:
    return tell("'{satellite}' moves, and the log has no row to take its direction at", satellite=name)


# --- the sky as a whole ------------------------------------------------------------------------------------------


def _site_sky(stay: Stay, satellites: list[SatelliteSky], minimum_elevation_deg: float) -> SiteSky:
    fraction = _visible_fraction(stay, minimum_elevation_deg)
    joint = together(stay, satellites)
    return SiteSky(
        name=stay.site.name,
        satellites=tuple(satellites),
        visible_fraction=fraction[0] if fraction else None,
        visible_fraction_90=fraction[1] if fraction else None,
        mask=mask_of(stay),
        place=stay.place,
        navigation=stay.seen.navigation() if stay.seen else None,
        p_any_clear=joint.any_,
        p_any_clear_90=joint.any_90,
        p_all_clear=joint.all_,
        p_all_clear_90=joint.all_90,
    )


def _visible_fraction(stay: Stay, minimum_elevation_deg: float) -> tuple[float, Interval] | None:
    if stay.seen:
        return stay.seen.visible_fraction(minimum_elevation_deg)
    if stay.has_skyline:
        return horizon.visible_fraction(stay.readings, stay.obstacles, minimum_elevation_deg)
    if stay.place is not None:
        return visible_fraction_of_place(stay.place, minimum_elevation_deg)
    return None


def _below_the_table(stay: Stay, satellites: list[SatelliteSky]) -> list[str]:
    """Satellites whose chance is that of a higher one, because the table behind a place's word ends above them."""
    return [
        tell("site '{site}': {what}", site=stay.site.name, what=low_words(sat.name, sat.elevation_deg))
        for sat in satellites
        if sat.from_ == "place" and sat.elevation_deg is not None and 0.0 < sat.elevation_deg < LOWEST_OF_TABLE_DEG
    ]


def _site_could_not(job: Job, stay: Stay, satellites: list[SatelliteSky]) -> list[str]:
    name = stay.site.name
    said = [tell("site '{site}': {what}", site=name, what=text) for text in (*stay.seen_said, *pole_words(stay.site))]
    said += _below_the_table(stay, satellites)
    if stay.has_skyline or stay.seen:
        return said
    if stay.under_a_roof and (stay.readings or stay.obstacles):
        said.append(
            tell(
                "site '{site}': the measured skyline was set aside, the vehicle stands {place}",
                site=name,
                place=stay.place,
            )
        )
    elif (job.horizon or job.obstacles) and stay.readings is None and stay.obstacles is None:
        first = job.sheet.sites[0].name
        said.append(
            tell(
                "site '{site}': the skyline files name no site and were taken to belong to '{first}'",
                site=name,
                first=first,
            )
        )
    return [*said, _without_skyline(name, stay.place, bool(satellites))]


def _without_skyline(name: str, place: str | None, has_satellites: bool) -> str:
    if place is not None:
        return tell(
            "site '{site}': the sky was not measured; the word '{place}' is all there is", site=name, place=place
        )
    if has_satellites:
        return tell(
            "site '{site}': no horizon, obstacles or place: whether a satellite is clear is unknown", site=name
        )
    return tell("site '{site}': no horizon, obstacles or place: the open sky is unknown", site=name)
