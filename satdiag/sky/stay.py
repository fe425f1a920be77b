"""Where the vehicle stood, and what is known of the sky there: its skyline, and how likely a direction is clear."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from satdiag.findings import Mask, SatelliteSky
from satdiag.job import Job
from satdiag.language import tell
from satdiag.sheet import Site
from satdiag.sky import horizon
from satdiag.sky.mask.parked import Record, record_in
from satdiag.sky.mask.patience import Place
from satdiag.sky.mask.posterior import KNOT_AZIMUTH_DEG, EdgePrior, tied_prior, walking_prior
from satdiag.sky.mask.site import SiteMask, site_mask
from satdiag.sky.place_prior import UNDER_A_ROOF, edge_of_place, p_clear_of_place
from satdiag.tables import HorizonPoint, Obstacle

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


def stays_of(job: Job) -> list[Stay]:
    """The stays of a job, one a site, with all that is known of the sky there."""
    record = record_in(job.documents)
    return [with_record(stay, record, len(job.sheet.sites) == 1) for stay in stays_in(job)]


def stays_in(job: Job) -> list[Stay]:
    """One stay a site of the sheet: its last instant and last place word. The first site is where the job starts."""
    sites = job.sheet.sites
    log = job.log
    moves = job.select("site")
    names = np.array([sites[0].name, *moves["value"]], dtype=object)
    t_s, said = log["t_s"].to_numpy(dtype=float), job.select("place")
    moved_s = moves["t_s"].to_numpy(dtype=float)
    moved = np.searchsorted(t_s, moved_s, side="left")
    standing_from, standing_to = np.concatenate([[0], moved]), np.concatenate([moved, [len(t_s)]])
    said_at = names[np.searchsorted(moved_s, said["t_s"].to_numpy(dtype=float), side="right")]
    stays = []
    for number, site in enumerate(sites):
        here = standing_to[(names == site.name) & (standing_to > standing_from)]
        places = said[said_at == site.name]
        last_s = float(t_s[here[-1] - 1]) if len(here) else job.end_s
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
        aside = tell(
            "the record of navigation satellites was set aside, the vehicle stands {place}", place=stay.place
        )
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
        edge_elevation_deg=tuple(np.maximum(edge.elevation_deg, 0.0).tolist()),
        edge_p05_deg=tuple(np.clip(edge.elevation_deg - margin, 0.0, 90.0).tolist()),
        edge_p95_deg=tuple(np.clip(edge.elevation_deg + margin, 0.0, 90.0).tolist()),
        measured=tuple(edge.measured.tolist()),
    )
