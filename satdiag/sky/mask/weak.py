"""Satellites that transmit less than their constellation, told from those that stand behind something.

Some satellites are weak wherever they stand: on one antenna above a forest three of one constellation read 10 to 12
dB below the others. Taken for blocked, one of them draws a skyline across an open sky. So each is looked at where the
other satellites say that the way is clear, provided that what they say holds for most; one that is weak there in
nearly all its looks, over several spots of the sky, is left out. Under dense trees nobody's word holds, and none is.
A drive tells as well, if most satellites were strong on it: what stands in the way changes, a weak satellite stays.
"""

from __future__ import annotations

import numpy as np

from satdiag.sky.mask.canopy import FOLD_ROUNDS, FOLDS, chances
from satdiag.sky.mask.likelihood import MARGIN_DB
from satdiag.sky.mask.looks import Flags, Floats, Looks
from satdiag.sky.mask.posterior import EdgePrior, fit_edge
from satdiag.sky.mask.thinning import cells_of

# judgement, settled on the first hour of a pair of receivers under and above a forest and on a drive: a way is clear
# by the others from such a chance on, and what they say holds if so many looks there are strong (0.3 to 0.6 under the
# forest, 0.90 to 0.93 in the open); a satellite is weak if four in five of its looks there read so far below its
# constellation, if these are worth so many looks (of one spot two at most) and are most of its looks (one that is
# behind a wall may pass for clear along the edge).
CLEAR_BY_OTHERS, TRUSTED_SHARE = 0.8, 0.8
WEAK_SHARE, WEAK_DB, LEAST_LOOKS, MOSTLY = 0.8, 4.5, 12.0, 0.5
UNHEARD_DB = 30.0  # stands for a look in which it was not tracked
LEAST_ELEVATION_DEG = 15.0  # below, receivers and reflections are at fault as well
MOVING_ELEVATION_DEG = 30.0  # below, hills and rows of houses stay in the way for all of a drive
FOLD_WIDTH_DEG, FOLD_HORIZON_LOOKS = 5.0, 6.0


def weak_satellites(rows: Looks, deficit_db: Floats, evidence: Floats, prior: EdgePrior) -> Flags:
    """Which satellites, by number (n,), are weak wherever they stand, from looks at one place.

    `rows` are thinned looks (m,) with their deficits (NaN untracked) and plain evidence.
    """
    use = ~rows.witness & (rows.elevation_deg >= LEAST_ELEVATION_DEG)
    # Only where a satellite is suspect at all are the others asked.
    if not _weak(rows, deficit_db, use, use).any():
        return np.zeros(_count(rows), dtype=bool)
    return _weak(rows, deficit_db, use, use & (_by_the_others(rows, evidence, prior) >= CLEAR_BY_OTHERS))


def weak_on_the_move(rows: Looks, deficit_db: Floats) -> Flags:
    """Which satellites, by number (n,), were weak all along a drive, from thinned looks (m,) and their deficits."""
    use = ~rows.witness & (rows.elevation_deg >= MOVING_ELEVATION_DEG)
    return _weak(rows, deficit_db, use, use)


def _weak(rows: Looks, deficit_db: Floats, use: Flags, clear: Flags) -> Flags:
    """Of satellites that are low in all looks of use, those that are in clear ones too, if that can be trusted."""
    deficit = np.where(np.isfinite(deficit_db), deficit_db, UNHEARD_DB)
    weak = np.zeros(_count(rows), dtype=bool)
    for number in np.unique(rows.satellite[use]):
        own = np.flatnonzero(use & (rows.satellite == number))
        seen = own[clear[own]]
        enough = len(seen) >= MOSTLY * len(own) and _worth(rows.where(seen)) >= LEAST_LOOKS
        weak[number] = enough and _is_low(deficit[own]) and _is_low(deficit[seen])
    others = deficit[clear & ~weak[rows.satellite]]
    trusted = len(others) > 0 and float((others < MARGIN_DB).mean()) >= TRUSTED_SHARE
    return weak if trusted else np.zeros_like(weak)


def _count(rows: Looks) -> int:
    return int(rows.satellite.max()) + 1 if len(rows) else 0


def _is_low(deficit_db: Floats) -> bool:
    return bool(np.quantile(deficit_db, 1.0 - WEAK_SHARE) >= WEAK_DB)


def _by_the_others(rows: Looks, evidence: Floats, prior: EdgePrior) -> Floats:
    """Chance that each look (m,) was clear, by satellites of other folds."""
    fold = rows.satellite % FOLDS
    found = np.zeros(len(rows))
    for one in range(FOLDS):
        test, train = np.flatnonzero(fold == one), np.flatnonzero(fold != one)
        if len(test):
            cells = cells_of(rows.azimuth_deg[train], rows.elevation_deg[train], evidence[train])
            edge = fit_edge(cells, prior, FOLD_WIDTH_DEG, FOLD_ROUNDS)
            at = rows.azimuth_deg[test], rows.elevation_deg[test]
            found[test] = chances(edge, cells, FOLD_HORIZON_LOOKS, *at).value
    return found


def _worth(looks: Looks) -> float:
    """How many looks those of one satellite are worth: in one cell they share their reflections, see thinning."""
    if not len(looks):
        return 0.0
    cells = cells_of(looks.azimuth_deg, looks.elevation_deg, np.zeros(len(looks)))
    return float(cells.weight.sum())
