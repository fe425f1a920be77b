"""The mask of one site of a job, from the receiver's record, and what the findings need of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from satdiag.findings import Mask, NavigationSky, SatelliteSky, SkyPoint
from satdiag.sky.mask.canopy import Chances
from satdiag.sky.mask.combine import LEAST_SUPPORT, SkyMask, fit_mask, usual_level
from satdiag.sky.mask.common_mode import DOUBTFUL_DB_HZ, REFUSED_DB_HZ
from satdiag.sky.mask.likelihood import expected_cn0
from satdiag.sky.mask.looks import Flags, Floats
from satdiag.sky.mask.parked import Parked, Record, parked_at
from satdiag.sky.mask.patience import Place, stays_s
from satdiag.sky.mask.posterior import HARD_EDGE_DEG, EdgePrior

# The skyline at an azimuth counts as measured with a look this near to it.
MEASURED_AZIMUTH_DEG, MEASURED_ELEVATION_DEG = 5.0, 8.0
MOST_POINTS = 400
LONG_STAY_S = 600.0  # from which on a soft edge means trees rather than few looks
RINGS, SECTORS = 20, 36
DRAWS = 100
# A level that is 4 dB wrong moves the mean chance by 0.05 (on made skies); half of that, and never less than this.
LEVEL_SHARE_SD = 0.025
Z_90 = 1.6448536269514722


@dataclass(frozen=True)
class SiteMask:
    """A site's mask, the record it rests on, and the skyline that was held before."""

    mask: SkyMask
    parked: Parked
    record: Record
    prior: EdgePrior
    place: Place

    def stays_s(self, azimuth_deg: Floats, elevation_deg: Floats) -> list[float | None]:
        """How much longer to stay for each direction; see patience."""
        return stays_s(self.mask, self.prior, self.record.satellites, self.place, azimuth_deg, elevation_deg)

    def nearest(self, azimuth_deg: float, elevation_deg: float) -> tuple[float, str]:
        """The look nearest to a direction: how far in deg, and the satellite's short name."""
        distance, number = self.mask.nearest(azimuth_deg, elevation_deg)
        return distance, self.record.satellites[number].name

    def visible_fraction(self, minimum_elevation_deg: float) -> tuple[float, tuple[float, float]]:
        """Open share of the solid angle above an elevation, and its 90 % interval from drawn skylines."""
        sines = np.linspace(np.sin(np.radians(minimum_elevation_deg)), 1.0, RINGS + 1)
        ring = np.degrees(np.arcsin((sines[1:] + sines[:-1]) / 2.0))  # rings of equal solid angle
        elevation, azimuth = (
            part.ravel() for part in np.meshgrid(ring, np.arange(SECTORS) * 360.0 / SECTORS, indexing="ij")
        )
        now = self.mask.chances(azimuth, elevation)
        value = float(now.value.mean())
        drawn = self.mask.edge.drawn(DRAWS, np.random.default_rng(20310503))  # fixed: same job, same interval
        middle = self.mask.edge.p_clear(azimuth, elevation)[0]
        kept = self.mask.settings.horizon_looks / (self.mask.settings.horizon_looks + now.support)
        shares = [
            float((now.value + kept * (self._open(edge, azimuth, elevation) - middle)).mean()) for edge in drawn
        ]
        low, high = np.quantile(np.clip(shares, 0.0, 1.0), [0.05, 0.95])
        more = Z_90 * LEVEL_SHARE_SD
        low, high = value - np.hypot(max(value - low, 0.0), more), value + np.hypot(max(high - value, 0.0), more)
        return value, (max(float(low), 0.0), min(float(high), 1.0))

    def _open(self, edge: Floats, azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
        return self.mask.edge.with_edge(edge).p_clear(azimuth_deg, elevation_deg)[0]

    def drawn_mask(self, azimuth_deg: Floats, read: Flags | None = None) -> Mask:
        """The skyline for the findings; measured where a look passed close to it, or where it was `read` (n,)."""
        edge, sd = self.mask.edge.at(azimuth_deg)
        cells = self.mask.cells
        beside = (cells.azimuth_deg[None, :] - azimuth_deg[:, None] + 180.0) % 360.0 - 180.0
        above = cells.elevation_deg[None, :] - edge[:, None]
        near = (np.abs(beside) <= MEASURED_AZIMUTH_DEG) & (np.abs(above) <= MEASURED_ELEVATION_DEG)
        measured: Flags = np.asarray(near.any(axis=1))
        if read is not None:
            measured = measured | read
        return Mask(
            azimuth_deg=tuple(azimuth_deg.tolist()),
            edge_elevation_deg=tuple(edge.tolist()),
            edge_p05_deg=tuple(np.clip(edge - Z_90 * sd, 0.0, 90.0).tolist()),
            edge_p95_deg=tuple(np.clip(edge + Z_90 * sd, 0.0, 90.0).tolist()),
            measured=tuple(measured.tolist()),
        )

    def navigation(self) -> NavigationSky:
        """What the mask rests on, with a selection of looks for drawing."""
        looks, levels = self.mask.looks, self.mask.baseline_db_hz
        deficit = expected_cn0(looks.elevation_deg, levels[looks.group]) - looks.cn0_db_hz
        order = np.lexsort((looks.time_s, looks.satellite))
        picked = order[:: max(1, -(-len(order) // MOST_POINTS))]
        points = tuple(
            SkyPoint(
                self.record.satellites[looks.satellite[at]].name,
                float(looks.azimuth_deg[at]),
                float(looks.elevation_deg[at]),
                float(looks.cn0_db_hz[at]) if np.isfinite(looks.cn0_db_hz[at]) else None,
                round(float(deficit[at]), 1) if np.isfinite(looks.cn0_db_hz[at]) else None,
            )
            for at in picked.tolist()
        )
        return NavigationSky(
            standing_s=self.parked.standing_s,
            satellites=len(np.unique(looks.satellite)),
            looks=len(looks),
            level_db_hz=usual_level(looks, levels),
            level_from="site-and-drive" if self.parked.learnt_moving else "site",
            outage_share=self.mask.outage_share,
            edge_width_deg=self.mask.settings.edge_width_deg,
            points=points,
        )


def site_mask(record: Record, place: Place, prior: EdgePrior, only_site: bool) -> tuple[SiteMask | None, list[str]]:
    """The mask of a site, None where the record does not speak of it; and what must be said about it."""
    parked = parked_at(record, place.latitude_deg, place.longitude_deg, only_site)
    if parked is None:
        return None, ["the record of navigation satellites holds no stay on one spot there"]
    level = usual_level(parked.looks, parked.baseline_db_hz)
    if level < REFUSED_DB_HZ:
        what = f"all navigation satellites were weak there (a clear one would read {level:.0f} dB-Hz)"
        return None, [f"{what}: roof, glass, lead or jamming, so nothing is concluded about single directions"]
    mask = fit_mask(parked.looks, prior, parked.baseline_db_hz)
    if mask is None:
        return None, ["the record of navigation satellites there is too short"]
    found = SiteMask(mask, parked, record, prior, place)
    return found, _doubts(found, level)


def _doubts(found: SiteMask, level_db_hz: float) -> list[str]:
    said = []
    if level_db_hz < DOUBTFUL_DB_HZ:
        said.append(
            f"even the best navigation satellites were weak ({level_db_hz:.0f} dB-Hz at the zenith; on a roof 41 to "
            "48 is usual): the receiver's antenna may not stand where the broadcast antenna does"
        )
    if found.mask.outage_share > 0.0:
        share = f"{100.0 * found.mask.outage_share:.0f} %"
        said.append(f"all navigation satellites were weak together for {share} of the stay; that was set aside")
    long = found.parked.standing_s >= LONG_STAY_S
    if long and not found.parked.learnt_moving and found.mask.settings.edge_width_deg > HARD_EDGE_DEG:
        said.append(
            "the level of a clear satellite was learnt under the same sky; under dense trees it reads low and "
            "chances read high: record a drive in the open as well"
        )
    return said


def judged(seen: SiteMask, satellites: Sequence[SatelliteSky]) -> list[SatelliteSky]:
    """Broadcast satellites with what the record says of each: chance, support, nearest look, and how long to stay.

    Where no look came close, readings and obstacles speak first; a skyline that is known well all the same goes
    before a word for the place.
    """
    risen = [sat for sat in satellites if sat.azimuth_deg is not None and (sat.elevation_deg or 0.0) > 0.0]
    azimuth = np.array([sat.azimuth_deg for sat in risen], dtype=float)
    elevation = np.array([sat.elevation_deg for sat in risen], dtype=float)
    if not risen:
        return list(satellites)
    found = seen.mask.chances(azimuth, elevation)
    speaks = seen.mask.speaks(found, azimuth)
    stays = dict(zip((sat.name for sat in risen), seen.stays_s(azimuth, elevation), strict=True))
    place = {sat.name: number for number, sat in enumerate(risen)}
    return [_judged(seen, sat, found, speaks, place[sat.name], stays) if sat in risen else sat for sat in satellites]


def _judged(
    seen: SiteMask, sat: SatelliteSky, found: Chances, speaks: Flags, at: int, stays: dict[str, float | None]
) -> SatelliteSky:
    azimuth, elevation = sat.azimuth_deg or 0.0, sat.elevation_deg or 0.0
    distance, name = seen.nearest(azimuth, elevation)
    sat = replace(
        sat,
        looks=round(float(found.support[at]), 2),
        nearest_deg=round(distance, 1),
        nearest=name,
        stay_s=stays[sat.name],
    )
    read = sat.from_ in ("horizon", "obstacles") and found.support[at] < LEAST_SUPPORT
    if read or not speaks[at]:
        return sat
    interval = (float(found.low[at]), float(found.high[at]))
    return replace(sat, p_clear=float(found.value[at]), p_clear_90=interval, from_="gnss")
