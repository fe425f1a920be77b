"""What the sky allows at each site of a job: `estimate_sky`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from satdiag.csv_text import decode
from satdiag.errors import bad_input
from satdiag.findings import Interval, Mask, SatelliteSky, SiteSky, SkyFindings, instant_text
from satdiag.job import Job
from satdiag.sheet import Site
from satdiag.sky import horizon
from satdiag.sky.constellation import JOB_FILE, Constellation, Satellite, load_packaged, parse_constellation
from satdiag.sky.elements import ElementSet, positions_km
from satdiag.sky.look_angles import geostationary_position_km, look_angles
from satdiag.sky.mask.parked import Record, record_in
from satdiag.sky.mask.patience import Place
from satdiag.sky.mask.posterior import KNOT_AZIMUTH_DEG, EdgePrior, tied_prior, walking_prior
from satdiag.sky.mask.site import SiteMask, judged, site_mask
from satdiag.sky.orbits import orbits_of
from satdiag.sky.place_prior import UNDER_A_ROOF, edge_of_place, p_clear_of_place, visible_fraction_of_place
from satdiag.tables import HorizonPoint, Obstacle

# The share of the sky that is open is counted above this elevation at least.
LOWEST_ELEVATION_DEG = 10.0
MASK_STEP_DEG = 2.0


@dataclass(frozen=True)
class Stay:
    """What is known of the vehicle's stay at one site; the skyline is that site's own.

    `seen`: the mask from navigation satellites, `seen_said` what must be said about it.
    """

    site: Site
    instant: np.datetime64 | None
    place: str | None
    readings: tuple[HorizonPoint, ...] | None
    obstacles: tuple[Obstacle, ...] | None
    seen: SiteMask | None = None
    seen_said: tuple[str, ...] = ()

    @property
    def under_a_roof(self) -> bool:
        return self.place in UNDER_A_ROOF

    @property
    def has_skyline(self) -> bool:
        return bool(self.readings or self.obstacles) and not self.under_a_roof


def estimate_sky(job: Job) -> SkyFindings:
    """Directions of the satellites, chance that each is clear, and the open share of the sky, site by site.

    Raises BadInput or SatdiagError if the constellation or the elements that the job names cannot be read.
    """
    constellation = constellation_of(job)
    minimum = constellation.coverage_min_elevation_deg if constellation else None
    if not job.sheet.sites:
        return SkyFindings((), minimum, _without_position(job))
    could_not = [] if constellation else ["no constellation named in job.toml: look angles not computed"]
    if constellation and constellation.caution:
        could_not.append(constellation.caution)
    elements = _elements_of(job, constellation) if constellation else {}
    record = record_in(job.documents)
    sites = []
    for stay in (with_record(stay, record, len(job.sheet.sites) == 1) for stay in stays_in(job)):
        satellites, not_done = _satellites(stay, constellation, elements)
        sites.append(_site_sky(stay, satellites, max(LOWEST_ELEVATION_DEG, minimum or 0.0)))
        could_not += not_done + _site_could_not(job, stay, bool(satellites))
    return SkyFindings(tuple(sites), minimum, tuple(could_not))


def constellation_of(job: Job) -> Constellation | None:
    """The constellation that the job names, from its own file or packaged. Raises BadInput, SatdiagError."""
    named = job.sheet.constellation
    if named == JOB_FILE or (named is None and JOB_FILE in job.documents):
        if JOB_FILE not in job.documents:
            what = f"constellation is '{JOB_FILE}', and the job has no such file"
            raise bad_input("job.toml", what, "Put the file into the job, or name a packaged constellation.")
        return parse_constellation(decode(job.documents[JOB_FILE], JOB_FILE), JOB_FILE)
    return load_packaged(named) if named else None


def _elements_of(job: Job, constellation: Constellation) -> dict[str, ElementSet]:
    orbits = orbits_of(constellation, job.documents)
    return {orbit.name: orbit.elements for orbit in orbits if orbit.elements is not None}


def _without_position(job: Job) -> tuple[str, ...]:
    said = ["no position: look angles not computed"]
    if any(name.endswith(".nmea") for name in job.documents):
        said.append("positions in gnss*.nmea were not used for the sky: add a [[site]] to job.toml")
    return tuple(said)


# --- where the vehicle stood -------------------------------------------------------------------------------------


def stays_in(job: Job) -> list[Stay]:
    """One stay a site of the sheet: its last instant and last place word. The first site is where the job starts."""
    sites = job.sheet.sites
    log = job.log
    moves = job.select("site")
    names = np.array([sites[0].name, *moves["value"]], dtype=object)
    at = np.searchsorted(moves["t_s"].to_numpy(dtype=float), log["t_s"].to_numpy(dtype=float), side="right")
    standing = log.assign(standing_at=names[at])
    stays = []
    for number, site in enumerate(sites):
        here = standing[standing["standing_at"] == site.name]
        places = here[(here["kind"] == "place") & (here["value"] != "unreadable")]
        last_s = float(here["t_s"].iloc[-1]) if len(here) else job.end_s
        stays.append(
            Stay(
                site=site,
                instant=job.instant(last_s),
                place=str(places["value"].iloc[-1]) if len(places) else None,
                # horizon.csv and obstacles.csv name no site: they are the first one's.
                readings=job.horizon if number == 0 else None,
                obstacles=job.obstacles if number == 0 else None,
            )
        )
    return stays


def with_record(stay: Stay, record: Record | None, only_site: bool) -> Stay:
    """The stay with the mask that the receiver's record gives, if it gives one."""
    if record is None:
        return stay
    if stay.under_a_roof:
        aside = f"the record of navigation satellites was set aside, the vehicle stands {stay.place}"
        return replace(stay, seen_said=(aside,))
    site = stay.site
    place = Place(site.latitude_deg, site.longitude_deg, site.height_m)
    seen, said = site_mask(record, place, _held_before(stay), only_site)
    return replace(stay, seen=seen, seen_said=tuple(said))


def _held_before(stay: Stay) -> EdgePrior:
    """What is held of the skyline before the record is asked: readings, else the place's word, else little."""
    held = horizon.held_before(stay.readings, stay.obstacles, KNOT_AZIMUTH_DEG)
    if held is not None:
        return tied_prior(*held)
    return walking_prior(*edge_of_place(stay.place)) if stay.place else walking_prior()


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
            so = "too old to say where it stood: put newer ones into the job"
            return unknown, [f"the elements of '{satellite.name}' are {age:.0f} days from the job, {so}"]
        if age > limits.warn_days:
            said.append(f"the elements of '{satellite.name}' are {age:.0f} days from the job: it may be degrees off")
        position = positions_km(elements, np.array([stay.instant]))[0]
        as_of = instant_text(stay.instant)
    else:
        return unknown, [f"'{satellite.name}' moves, and the log has no row to take its direction at"]
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


def with_chance(stay: Stay, satellite: SatelliteSky) -> SatelliteSky:
    """The satellite with the chance that it is clear, from the best that is known of the sky there."""
    azimuth, elevation = satellite.azimuth_deg, satellite.elevation_deg
    if azimuth is None or elevation is None:
        return satellite
    if elevation <= 0.0:
        return replace(satellite, p_clear=0.0, p_clear_90=(0.0, 0.0))
    edge = horizon.skyline(stay.readings, stay.obstacles, azimuth) if stay.has_skyline else None
    if edge is not None:
        value, low, high = (float(part[0]) for part in horizon.p_clear(edge, elevation))
        source: Literal["horizon", "obstacles"] = "horizon" if edge.from_horizon[0] else "obstacles"
        return replace(satellite, p_clear=value, p_clear_90=(low, high), from_=source)
    if stay.place is not None:
        value, low, high = (float(part) for part in p_clear_of_place(stay.place, elevation))
        return replace(satellite, p_clear=value, p_clear_90=(low, high), from_="place")
    return satellite


# --- the sky as a whole ------------------------------------------------------------------------------------------


def _site_sky(stay: Stay, satellites: list[SatelliteSky], minimum_elevation_deg: float) -> SiteSky:
    fraction = _visible_fraction(stay, minimum_elevation_deg)
    return SiteSky(
        name=stay.site.name,
        satellites=tuple(satellites),
        visible_fraction=fraction[0] if fraction else None,
        visible_fraction_90=fraction[1] if fraction else None,
        mask=mask_of(stay),
        place=stay.place,
        navigation=stay.seen.navigation() if stay.seen else None,
    )


def _visible_fraction(stay: Stay, minimum_elevation_deg: float) -> tuple[float, Interval] | None:
    if stay.seen:
        return stay.seen.visible_fraction(minimum_elevation_deg)
    if stay.has_skyline:
        return horizon.visible_fraction(stay.readings, stay.obstacles, minimum_elevation_deg)
    if stay.place is not None:
        return visible_fraction_of_place(stay.place, minimum_elevation_deg)
    return None


def mask_of(stay: Stay) -> Mask | None:
    """The measured skyline, drawn even where a roof now hides it."""
    azimuth = np.arange(0.0, 360.0, MASK_STEP_DEG)
    edge = horizon.skyline(stay.readings, stay.obstacles, azimuth)
    if stay.seen:
        return stay.seen.drawn_mask(azimuth, edge.measured if edge else None)
    if edge is None:
        return None
    margin = horizon.Z_90 * edge.sd_deg
    return Mask(
        azimuth_deg=tuple(edge.azimuth_deg.tolist()),
        edge_elevation_deg=tuple(edge.elevation_deg.tolist()),
        edge_p05_deg=tuple(np.clip(edge.elevation_deg - margin, -90.0, 90.0).tolist()),
        edge_p95_deg=tuple(np.clip(edge.elevation_deg + margin, -90.0, 90.0).tolist()),
        measured=tuple(edge.measured.tolist()),
    )


def _site_could_not(job: Job, stay: Stay, any_satellite: bool) -> list[str]:
    name = stay.site.name
    said = [f"site '{name}': {text}" for text in stay.seen_said]
    if stay.has_skyline or stay.seen:
        return said
    if stay.under_a_roof and (stay.readings or stay.obstacles):
        said.append(f"site '{name}': the measured skyline was set aside, the vehicle stands {stay.place}")
    elif (job.horizon or job.obstacles) and stay.readings is None and stay.obstacles is None:
        first = job.sheet.sites[0].name
        said.append(f"site '{name}': the skyline files name no site and were taken to belong to '{first}'")
    if stay.place is None:
        about = "whether a satellite is clear is unknown" if any_satellite else "the open sky is unknown"
        said.append(f"site '{name}': no horizon, obstacles or place: {about}")
    else:
        said.append(f"site '{name}': the sky was not measured; the word '{stay.place}' is all there is")
    return said
