"""How strongly a clear satellite is received here: the level at the zenith of each constellation and signal.

Receivers and antennas differ by 25 dB, so the level is learnt from the log itself: an upper quantile of what was
received, corrected for elevation, lies one spread (2 dB) above a clear satellite's level. That is right in the open
and while driving. Under trees and in deep streets nearly all satellites are weakened, and it then reads low (4 dB and
more under a dense crown); how widely the levels spread tells how far it can be trusted, and where that is not far it
leans on what receivers on roofs usually read.
"""

from __future__ import annotations

import numpy as np

from satdiag.sky.mask.likelihood import DROP_TO_HORIZON_DB
from satdiag.sky.mask.looks import Floats, Looks

UPPER_SHARE = 0.85
CLEAR_SPREAD_DB = 2.0
LEAST_ELEVATION_DEG = 15.0
LEAST_LOOKS = 8
# A group of few looks leans on the level of all groups together, as if that were so many looks of its own.
POOLED_LOOKS = 20.0
# judgement: zenith levels of receivers on roofs and in the open that were read, 41 to 50 dB-Hz.
USUAL_DB_HZ, USUAL_SD_DB = 46.0, 3.0
# judgement: the level's own deviation, of the spread of levels (half the distance from the lower to the upper share).
DOUBT_OF_SPREAD = 0.5
# Above a forest the spread was 3.2 dB, and the level right; in the first hour under it 6.1 dB, and the level 4.7 low.
OPEN_SPREAD_DB = 3.2
LIFT_OF_SPREAD = 1.2


def blind_baselines(looks: Looks, groups: int | None = None) -> Floats | None:
    """The zenith level in dB-Hz by group number (n,), or None with too few looks to tell.

    Groups without a look have the level of all together. `groups`: how many there are, at least.
    """
    use = np.isfinite(looks.cn0_db_hz) & (looks.elevation_deg >= LEAST_ELEVATION_DEG) & ~looks.witness
    if use.sum() < LEAST_LOOKS:
        return None
    sine = np.sin(np.radians(looks.elevation_deg[use]))
    raised = looks.cn0_db_hz[use] + DROP_TO_HORIZON_DB * (1.0 - sine)
    group = looks.group[use]
    low, high = np.quantile(raised, [1.0 - UPPER_SHARE, UPPER_SHARE])
    spread = float(high - low) / 2.0
    lift = LIFT_OF_SPREAD * max(spread - OPEN_SPREAD_DB, 0.0) - CLEAR_SPREAD_DB
    pooled = _leaning(float(high) + lift, spread)
    levels = np.full(max(groups or 0, int(looks.group.max()) + 1), pooled)
    for number in np.unique(group):
        own = raised[group == number]
        level = _leaning(float(np.quantile(own, UPPER_SHARE)) + lift, spread)
        levels[number] = (len(own) * level + POOLED_LOOKS * pooled) / (len(own) + POOLED_LOOKS)
    return levels


def _leaning(level_db_hz: float, spread_db: float) -> float:
    """A level read from the log, leaning on the usual one by how widely the levels spread."""
    own, usual = 1.0 / (DOUBT_OF_SPREAD * max(spread_db, CLEAR_SPREAD_DB)) ** 2, 1.0 / USUAL_SD_DB**2
    return (own * level_db_hz + usual * USUAL_DB_HZ) / (own + usual)
