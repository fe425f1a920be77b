"""What weakens all satellites at once (a garage, a tunnel, a jammer, a lead, a metal coated screen) is no skyline.

Per instant the median deficit of the four best received satellites is the common term. Against the term of this log's
better instants it tells outages, which are set aside, be they most of the stay; the level itself tells an antenna
that stands worse than on a roof.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from satdiag.sky.mask.likelihood import expected_cn0
from satdiag.sky.mask.looks import Flags, Floats, Looks

BEST = 4
FEWEST_LISTED = 6
OUTAGE_DB = 6.0  # judgement: as much as the margin of a clear way
# The term of an instant at which the sky is not covered: so small a part of a stay is enough to know it. On records
# of a forest, a drive and made skies the middle term lies 1 to 2 dB above this one: 6 dB more are an outage still.
BEST_SHARE = 0.1
UNHEARD_DB = 30.0  # stands for a satellite that is not tracked

# Zenith levels of receivers on roofs and in the open: 41 to 48 dB-Hz (four of them); one carried partly indoors: 32
# at its best. Below the first the place of the antenna is in doubt; below the second nothing is read from it.
DOUBTFUL_DB_HZ, REFUSED_DB_HZ = 40.0, 33.0


@dataclass(frozen=True)
class CommonMode:
    """`usable` marks looks (n,) outside of outages; `outage_share` of the instants that could be judged."""

    usable: Flags
    outage_share: float


def common_mode(looks: Looks, baseline_db_hz: Floats) -> CommonMode:
    """Which looks belong to an outage of the whole sky, by group baselines as of `blind_baselines`.

    An instant with fewer than `FEWEST_LISTED` satellites listed is never called one. A cover that was over the
    vehicle for more than 1 - `BEST_SHARE` of the time is not told from a weak antenna.
    """
    if not len(looks):
        return CommonMode(np.zeros(0, dtype=bool), 0.0)
    deficit = expected_cn0(looks.elevation_deg, baseline_db_hz[looks.group]) - looks.cn0_db_hz
    deficit = np.where(np.isfinite(deficit), deficit, UNHEARD_DB)
    instants, at = np.unique(looks.time_s, return_inverse=True)
    order = np.lexsort((deficit, at))
    counts = np.bincount(at, minlength=len(instants))
    begins = np.concatenate([[0], np.cumsum(counts)[:-1]])
    enough = counts >= FEWEST_LISTED
    if not enough.any():
        return CommonMode(np.ones(len(looks), dtype=bool), 0.0)
    middle = begins[enough, None] + np.array([(BEST - 1) // 2, BEST // 2])
    term = np.full(len(instants), np.nan)
    term[enough] = deficit[order][middle].mean(axis=1)
    out = term > np.nanquantile(term, BEST_SHARE) + OUTAGE_DB
    return CommonMode(~out[at], float(out[enough].mean()))
