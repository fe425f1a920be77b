"""Looks to a mask: level, outages, thinning, skyline and canopy in turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from satdiag.sky.mask.baseline import blind_baselines
from satdiag.sky.mask.canopy import FOLDS, Chances, Settings, chances, settle
from satdiag.sky.mask.common_mode import REFUSED_DB_HZ, common_mode
from satdiag.sky.mask.likelihood import MARGIN_DB, evidence, expected_cn0
from satdiag.sky.mask.looks import Flags, Floats, Looks, unit_vectors
from satdiag.sky.mask.posterior import EdgePosterior, EdgePrior, fit_edge, walking_prior
from satdiag.sky.mask.thinning import WINDOW_S, Cells, cells_of, thinned
from satdiag.sky.mask.weak import weak_satellites

# A direction is known from navigation satellites with so many looks close by, or with an edge so sure.
LEAST_SUPPORT = 1.0
SURE_EDGE_DEG = 15.0


@dataclass(frozen=True)
class SkyMask:
    """The sky as navigation satellites show it; `looks` are the thinned ones that it rests on.

    `settings` tell how the skyline weighs against looks close by (see canopy), `baseline_db_hz` the level by group,
    `outage_share` the share of instants set aside because all satellites were weak at once, `weak` the numbers of
    satellites that were left out because they are weak wherever they stand.
    """

    edge: EdgePosterior
    cells: Cells
    settings: Settings
    looks: Looks
    baseline_db_hz: Floats
    outage_share: float
    weak: tuple[int, ...] = ()

    def chances(self, azimuth_deg: ArrayLike, elevation_deg: ArrayLike) -> Chances:
        """Chance that directions (n,) are clear, interval and support."""
        azimuth, elevation = np.broadcast_arrays(
            np.atleast_1d(np.asarray(azimuth_deg, dtype=float)), np.asarray(elevation_deg, dtype=float)
        )
        return chances(self.edge, self.cells, self.settings.horizon_looks, azimuth, elevation)

    def speaks(self, found: Chances, azimuth_deg: ArrayLike) -> Flags:
        """Which answers (n,) rest on looks: on some close by, or on a skyline that is known well there."""
        return np.asarray((found.support >= LEAST_SUPPORT) | (self.edge.at(azimuth_deg)[1] <= SURE_EDGE_DEG))

    def nearest(self, azimuth_deg: float, elevation_deg: float) -> tuple[float, int]:
        """The look nearest to a direction: how far it was, deg, and the number of its satellite."""
        here = unit_vectors(np.array([azimuth_deg]), np.array([elevation_deg]))[0]
        along = unit_vectors(self.looks.azimuth_deg, self.looks.elevation_deg) @ here
        at = int(along.argmax())
        return float(np.degrees(np.arccos(np.clip(along[at], -1.0, 1.0)))), int(self.looks.satellite[at])


def fit_mask(
    looks: Looks,
    prior: EdgePrior | None = None,
    baseline_db_hz: Floats | None = None,
    settings: Settings | None = None,
    window_s: float = WINDOW_S,
    margin_db: float = MARGIN_DB,
    known_weak: tuple[int, ...] = (),
) -> SkyMask | None:
    """The mask behind looks from one place, or None where they are too few or too weak to say anything.

    What is not given is learnt from the looks: the level of each group, and the settings. `window_s` is
    how long looks at one satellite count as one. `known_weak`: numbers of satellites that are to be left out.
    """
    known = looks.where(np.isfinite(looks.azimuth_deg) & (looks.elevation_deg > 0.0))
    # Receivers list augmentation satellites from old tables: one that was never heard may not be there at all.
    heard = np.unique(known.satellite[np.isfinite(known.cn0_db_hz)])
    known = known.where(~known.witness | np.isin(known.satellite, heard))
    rows = thinned(known, window_s)
    levels = blind_baselines(rows) if baseline_db_hz is None else baseline_db_hz
    if levels is None or not len(rows) or (baseline_db_hz is None and usual_level(rows, levels) < REFUSED_DB_HZ):
        return None
    common = common_mode(known, levels)
    if common.outage_share > 0.0:
        rows = thinned(known.where(common.usable), window_s)
    held = walking_prior() if prior is None else prior
    said = evidence(rows.elevation_deg, rows.cn0_db_hz, levels[rows.group], rows.witness, margin_db)
    deficit = expected_cn0(rows.elevation_deg, levels[rows.group]) - rows.cn0_db_hz
    weak = weak_satellites(rows, deficit, said, held)
    weak[[number for number in known_weak if number < len(weak)]] = True
    if weak.any():
        kept = ~weak[rows.satellite]
        rows, said = rows.where(kept), said[kept]
    cells = cells_of(rows.azimuth_deg, rows.elevation_deg, said)
    if settings is None:
        folds = cells_of(rows.azimuth_deg, rows.elevation_deg, said, rows.satellite % FOLDS)
        settings = settle(folds, held)
    edge = fit_edge(cells, held, settings.edge_width_deg)
    left_out = tuple(np.flatnonzero(weak).tolist())
    return SkyMask(edge, cells, settings, rows, levels, common.outage_share, left_out)


def usual_level(looks: Looks, baseline_db_hz: Floats) -> float:
    """The zenith level over all groups, each weighted by its looks that are tracked."""
    tracked = np.isfinite(looks.cn0_db_hz) & ~looks.witness
    return float(baseline_db_hz[looks.group[tracked]].mean()) if tracked.any() else 0.0
