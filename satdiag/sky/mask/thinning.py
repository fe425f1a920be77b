"""Fewer rows that are worth what they say: looks a second apart are one look, and so are two through one spot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from satdiag.sky.mask.looks import Floats, Integers, Looks

WINDOW_S = 60.0  # reflections change over minutes while parked; judgement after receivers' logs
CELL_DEG = 2.0
# Looks through one cell share obstacle, reflections and level; without this limit intervals collapse.
MOST_IN_CELL = 2.0


def thinned(looks: Looks, window_s: float = WINDOW_S) -> Looks:
    """One look a satellite, group and window: middle direction, median C/N0, NaN if untracked half of it or more."""
    if not len(looks):
        return looks
    window = np.floor(looks.time_s / window_s)
    order = np.lexsort((looks.cn0_db_hz, window, looks.group, looks.satellite))
    keys = np.stack([looks.satellite[order], looks.group[order], window[order].astype(np.int64)])
    begins = np.flatnonzero(np.concatenate([[True], (keys[:, 1:] != keys[:, :-1]).any(axis=0)]))
    counts = np.diff(np.concatenate([begins, [len(looks)]]))
    levels = looks.cn0_db_hz[order]  # NaN sort last, so the tracked ones come first within each window
    tracked = np.add.reduceat(np.isfinite(levels), begins)
    median = (levels[begins + np.maximum(tracked - 1, 0) // 2] + levels[begins + tracked // 2]) / 2.0
    by_time = np.lexsort((looks.time_s, window, looks.group, looks.satellite))
    middle = looks.where(by_time[begins + counts // 2])
    return Looks(
        middle.time_s,
        middle.satellite,
        middle.group,
        middle.azimuth_deg,
        middle.elevation_deg,
        np.where(2 * tracked > counts, median, np.nan),
        middle.witness,
    )


@dataclass(frozen=True)
class Cells:
    """Evidence by spots of the sky, arrays (n,): direction, mean evidence of a look, and how many looks it is worth.

    `fold` tells which part of a cross-validation a cell belongs to.
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    evidence: Floats
    weight: Floats
    fold: Integers


def cells_of(azimuth_deg: Floats, elevation_deg: Floats, evidence: Floats, fold: Integers | None = None) -> Cells:
    """Looks merged within cells of `CELL_DEG` in elevation and about as much along the circle, fold by fold."""
    folds = np.zeros(len(azimuth_deg), dtype=np.int64) if fold is None else fold
    row = np.floor(elevation_deg / CELL_DEG).astype(np.int64)
    around = 360.0 * np.cos(np.radians((row + 0.5) * CELL_DEG)) / CELL_DEG
    along = np.floor(azimuth_deg % 360.0 / 360.0 * np.maximum(around.astype(np.int64), 1)).astype(np.int64)
    key, inside, counts = np.unique((folds * 200 + row + 50) * 1000 + along, return_inverse=True, return_counts=True)
    first = np.zeros(len(key))
    first[inside] = azimuth_deg
    turned = (azimuth_deg - first[inside] + 180.0) % 360.0 - 180.0
    return Cells(
        azimuth_deg=(first + np.bincount(inside, turned, len(key)) / counts) % 360.0,
        elevation_deg=np.bincount(inside, elevation_deg, len(key)) / counts,
        evidence=np.bincount(inside, evidence, len(key)) / counts,
        weight=np.minimum(counts, MOST_IN_CELL).astype(float),
        fold=key // 1000 // 200,
    )
