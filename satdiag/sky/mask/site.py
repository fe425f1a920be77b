"""The mask of one site of a job, from the receiver's record, and what the findings need of it."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Literal, NamedTuple

import numpy as np

from satdiag.findings import Mask, NavigationSky, SatelliteSky, SkyPoint
from satdiag.language import tell
from satdiag.sky.mask.canopy import Chances, drawn_chances
from satdiag.sky.mask.combine import LEAST_SUPPORT, SkyMask, fit_mask, usual_level
from satdiag.sky.mask.common_mode import DOUBTFUL_DB_HZ, REFUSED_DB_HZ
from satdiag.sky.mask.likelihood import expected_cn0
from satdiag.sky.mask.looks import Flags, Floats
from satdiag.sky.mask.memory import Memory
from satdiag.sky.mask.parked import Parked, Record, parked_at
from satdiag.sky.mask.patience import Place, stays_s
from satdiag.sky.mask.posterior import HARD_EDGE_DEG, EdgePrior

# The skyline at an azimuth counts as measured with a look this near to it.
MEASURED_AZIMUTH_DEG, MEASURED_ELEVATION_DEG = 5.0, 8.0
MOST_POINTS = 400
_MOST_LOOKS = 4_000_000  # of all records whose masks are kept
LONG_STAY_S = 600.0  # from which on a soft edge means trees rather than few looks
RINGS, SECTORS = 20, 36
DRAWS = 100
# A level that is 4 dB wrong moves the mean chance by 0.05 (on made skies); half of that, and never less than this.
LEVEL_SHARE_SD = 0.025
Z_90 = 1.6448536269514722
_SEED = 20310503  # fixed, so that the same job always gives the same interval


@dataclass(frozen=True)
class SiteMask:
    """A site's mask, the record it rests on, and the skyline that was held before; `key` tells it from others."""

    mask: SkyMask
    parked: Parked
    record: Record
    prior: EdgePrior
    place: Place
    key: Hashable = None

    def stays_s(self, azimuth_deg: Floats, elevation_deg: Floats) -> list[float | None]:
        """How much longer to stay for each direction; see patience."""

        def found() -> list[float | None]:
            return stays_s(self.mask, self.prior, self.record.satellites, self.place, azimuth_deg, elevation_deg)

        if self.key is None:
            return found()
        return list(_STAYS.made((self.key, azimuth_deg.tobytes(), elevation_deg.tobytes()), found))

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
        drawn = self.mask.edge.drawn(DRAWS, np.random.default_rng(_SEED))
        middle = self.mask.edge.p_clear(azimuth, elevation)[0]
        kept = self.mask.settings.horizon_looks / (self.mask.settings.horizon_looks + now.support)
        shares = [
            float((now.value + kept * (self._open(edge, azimuth, elevation) - middle)).mean()) for edge in drawn
        ]
        low, high = np.quantile(np.clip(shares, 0.0, 1.0), [0.05, 0.95])
        more = Z_90 * LEVEL_SHARE_SD
        low, high = value - np.hypot(max(value - low, 0.0), more), value + np.hypot(max(high - value, 0.0), more)
        return value, (max(float(low), 0.0), min(float(high), 1.0))

    def drawn_chances(self, azimuth_deg: Floats, elevation_deg: Floats, draws: int) -> Floats:
        """Chances of directions (n,) under skies drawn from what is known, shape (draws, n); see canopy."""
        random = np.random.default_rng(_SEED)
        looks = self.mask.settings.horizon_looks
        return drawn_chances(self.mask.edge, self.mask.cells, looks, azimuth_deg, elevation_deg, draws, random)

    def said_of(self, azimuth_deg: Floats, elevation_deg: Floats, was_read: bool) -> tuple[Chances, Flags]:
        """Chances of directions (n,), and where they go before what was held there without the record."""
        found = self.mask.chances(azimuth_deg, elevation_deg)
        return found, _goes_before(self, found, azimuth_deg, was_read)

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


class _Fitted(NamedTuple):
    """A mask or why there is none: kept without sentences, which are in one language."""

    found: SiteMask | None
    level_db_hz: float = 0.0
    refused: Literal["", "no-stay", "all-weak", "too-short"] = ""


_MASKS: Memory[_Fitted] = Memory(8, _MOST_LOOKS)
_STAYS: Memory[list[float | None]] = Memory(32, 1.0)


def site_mask(record: Record, place: Place, prior: EdgePrior, only_site: bool) -> tuple[SiteMask | None, list[str]]:
    """The mask of a site, None where the record does not speak of it; and what must be said about it.

    A mask of the same record and place from the same skyline held before is not fitted again.
    """
    if not record.identity:
        made = _fitted(record, place, prior, only_site)
        return made.found, _said(made)
    held = sha256(prior.mean_deg.tobytes() + prior.precision.tobytes()).hexdigest()
    key = record.identity, place, held, only_site
    made = _MASKS.made(key, lambda: _fitted(record, place, prior, only_site), len(record.looks))
    return replace(made.found, key=key) if made.found else None, _said(made)


def _fitted(record: Record, place: Place, prior: EdgePrior, only_site: bool) -> _Fitted:
    parked = parked_at(record, place.latitude_deg, place.longitude_deg, only_site)
    if parked is None:
        return _Fitted(None, refused="no-stay")
    level = usual_level(parked.looks, parked.baseline_db_hz)
    if level < REFUSED_DB_HZ:
        return _Fitted(None, level, "all-weak")
    mask = fit_mask(parked.looks, prior, parked.baseline_db_hz, known_weak=parked.weak)
    if mask is None:
        return _Fitted(None, level, "too-short")
    return _Fitted(SiteMask(mask, parked, record, prior, place), level)


def _said(made: _Fitted) -> list[str]:
    """What must be said of a mask, or why there is none."""
    if made.found is not None:
        return _doubts(made.found, made.level_db_hz)
    if made.refused == "no-stay":
        return [tell("the record of navigation satellites holds no stay on one spot there")]
    if made.refused == "too-short":
        return [tell("the record of navigation satellites there is too short")]
    said = tell(
        "all navigation satellites were weak there (a clear one would read {level:.0f} dB-Hz): "
        "roof, glass, lead or jamming, so nothing is concluded about single directions",
        level=made.level_db_hz,
    )
    return [said]


def _doubts(found: SiteMask, level_db_hz: float) -> list[str]:
    said = []
    if level_db_hz < DOUBTFUL_DB_HZ:
        said.append(
            tell(
                "even the best navigation satellites were weak ({level:.0f} dB-Hz at the zenith; on a roof 41 to "
                "48 is usual): the receiver's antenna may not stand where the broadcast antenna does",
                level=level_db_hz,
            )
        )
    if found.mask.outage_share > 0.0:
        said.append(
            tell(
                "all navigation satellites were weak together for {share:.0f} % of the stay; that was set aside",
                share=100.0 * found.mask.outage_share,
            )
        )
    if found.mask.weak:
        named = ", ".join(found.record.satellites[number].name for number in found.mask.weak)
        said.append(
            tell("left out, because weak even where others were strong: navigation satellites {names}", names=named)
        )
    long = found.parked.standing_s >= LONG_STAY_S
    if long and not found.parked.learnt_moving and found.mask.settings.edge_width_deg > HARD_EDGE_DEG:
        said.append(
            tell(
                "the level of a clear satellite was learnt under the same sky; under dense trees it reads low and "
                "chances read high: record a drive in the open as well"
            )
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
    stays = dict(zip((sat.name for sat in risen), seen.stays_s(azimuth, elevation), strict=True))
    place = {sat.name: number for number, sat in enumerate(risen)}
    before = {read: _goes_before(seen, found, azimuth, read) for read in (False, True)}
    return [
        _judged(seen, sat, found, before[sat.from_ in ("horizon", "obstacles")], place[sat.name], stays)
        if sat in risen
        else sat
        for sat in satellites
    ]


def _goes_before(seen: SiteMask, found: Chances, azimuth_deg: Floats, was_read: bool) -> Flags:
    """Where the record's chances (n,) go before those that were held; readings give way to looks close by only."""
    speaks = seen.mask.speaks(found, azimuth_deg)
    return np.asarray(speaks & (found.support >= LEAST_SUPPORT)) if was_read else speaks


def _judged(
    seen: SiteMask, sat: SatelliteSky, found: Chances, before: Flags, at: int, stays: dict[str, float | None]
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
    if not before[at]:
        return sat
    interval = (float(found.low[at]), float(found.high[at]))
    return replace(sat, p_clear=float(found.value[at]), p_clear_90=interval, from_="gnss")
