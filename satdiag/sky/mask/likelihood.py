"""How much one look at a navigation satellite speaks for a clear way rather than a blocked one.

A clear satellite is received about as strongly as its group is at that elevation; a blocked one is weaker by anything
from the margin up, or not tracked. To be tracked is not to be in view: behind an edge 20 m away a satellite loses
6 dB at the edge itself and 14 dB at 4 deg below it (knife edge, ITU-R P.526, from memory), and stays tracked.
"""

from __future__ import annotations

from math import lgamma, log, pi

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from satdiag.sky.mask.looks import Flags, Floats

# Fitted to four constellations of a receiver above a forest: 9.3 to 10.9 dB from the zenith to the horizon.
DROP_TO_HORIZON_DB = 9.0

# A way counts as clear while it costs less than this. 6 dB is the geometric edge at any frequency (knife edge). With
# trees, a fade of x dB at 1.575 GHz is one of 1.24 x dB at 2.33 GHz (ITU-R P.681-11 frequency scaling, read in an
# implementation), so 6 dB here stands for a margin of 7.4 dB there.
MARGIN_DB = 6.0

# judgement, settled on the first hour of a pair of receivers under and above a forest and on a drive: spread of clear
# levels (2 dB high up, more near the horizon), of blocked ones, and of what is tracked.
CLEAR_SPREAD_DB, LOW_SPREAD_DB = 2.0, 1.2
CLEAR_FREEDOM = 10.0
CLEAR_ABOVE_LEVEL = 0.3  # a level above the expected one is no blockage: its distance counts less
BLOCKED_MOST_DB = 27.0
CLEAR_UNTRACKED, BLOCKED_UNTRACKED = 0.03, 0.5
RECEIVER_MASK_DEG = 10.0  # lower down receivers leave satellites out by their own choice
MOST_EVIDENCE = 4.0
DEEP_DB, DEEP_EVIDENCE = 12.0, -1.5

# Satellite-based augmentation (SBAS): its satellites differ by several dB (36, 41 and 42 dB-Hz at one antenna), and
# receivers leave them out for hours while they are in view.
WITNESS_LOWER_DB, WITNESS_SD_DB = 3.5, 4.0
WITNESS_ABSENT_EVIDENCE = -0.5


def expected_cn0(elevation_deg: ArrayLike, baseline_db_hz: ArrayLike) -> Floats:
    """C/N0 of a clear satellite: the baseline at the zenith, `DROP_TO_HORIZON_DB` less at the horizon."""
    sine = np.sin(np.radians(np.asarray(elevation_deg, dtype=float)))
    return np.asarray(np.asarray(baseline_db_hz, dtype=float) - DROP_TO_HORIZON_DB * (1.0 - sine))


def evidence(
    elevation_deg: Floats, cn0_db_hz: Floats, baseline_db_hz: Floats, witness: Flags, margin_db: float = MARGIN_DB
) -> Floats:
    """ln p(look | clear) - ln p(look | blocked), within +-`MOST_EVIDENCE`. NaN C/N0: listed, not tracked."""
    lower = np.where(witness, WITNESS_LOWER_DB, 0.0)
    deficit = expected_cn0(elevation_deg, baseline_db_hz) - lower - cn0_db_hz
    spread = clear_spread_db(elevation_deg)
    spread = np.where(witness, np.hypot(spread, WITNESS_SD_DB), spread)
    heard = _clear_density(deficit, spread) - _blocked_density(deficit, margin_db)
    heard = np.where(deficit > DEEP_DB, np.minimum(heard, DEEP_EVIDENCE), heard)
    clear_lost = CLEAR_UNTRACKED + 0.6 * expit((RECEIVER_MASK_DEG - elevation_deg) / 2.0)
    lost = np.log(clear_lost) - np.log(np.maximum(BLOCKED_UNTRACKED, clear_lost))
    lost = np.where(witness, np.maximum(lost, WITNESS_ABSENT_EVIDENCE), lost)
    return np.asarray(np.clip(np.where(np.isfinite(cn0_db_hz), heard, lost), -MOST_EVIDENCE, MOST_EVIDENCE))


def clear_spread_db(elevation_deg: Floats) -> Floats:
    """Spread of a clear satellite's levels: more near the horizon."""
    return np.asarray(CLEAR_SPREAD_DB + LOW_SPREAD_DB * np.exp(-np.maximum(elevation_deg, 0.0) / 15.0))


def _clear_density(deficit_db: Floats, spread_db: Floats) -> Floats:
    """Log density of a clear satellite's deficit: Student's t, flatter above the expected level."""
    n = CLEAR_FREEDOM
    steps = np.where(deficit_db > 0.0, deficit_db, CLEAR_ABOVE_LEVEL * deficit_db) / spread_db
    scale = lgamma((n + 1.0) / 2.0) - lgamma(n / 2.0) - 0.5 * log(n * pi)
    shape = (n + 1.0) / 2.0 * np.log1p(steps**2 / n)
    return np.asarray(scale - np.log(spread_db) - shape + log(1.0 - CLEAR_UNTRACKED))


def _blocked_density(deficit_db: Floats, margin_db: float) -> Floats:
    """Log density of a blocked satellite's deficit: even from the margin to `BLOCKED_MOST_DB`, with soft ends."""
    rising = np.log(expit((deficit_db - margin_db) / 1.5) + 1e-4)
    falling = np.log(expit((BLOCKED_MOST_DB - deficit_db) / 3.0) + 1e-4)
    return np.asarray(rising + falling - log(BLOCKED_MOST_DB - margin_db) + log(1.0 - BLOCKED_UNTRACKED))
