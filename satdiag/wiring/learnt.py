"""What is usual for this vehicle's feed: learnt from readings that were taken while the receiver worked."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import median

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.findings import LearntNormal
from satdiag.job import Job
from satdiag.wiring.meter import Quantity, accuracy

WORKED_S = 5 * 60.0
"""A reading belongs to a proof of reception at most so far away, with nothing contrary between (judgement)."""

# All judgement, no source. The spread to expect before any is seen, as a share of the centre, worth as much as
# PRIOR_READINGS readings; and the least half width of a window: temperature and supply move a healthy amplifier too.
PRIOR_SHARE: Mapping[Quantity, float] = {"voltage": 0.02, "current": 0.06}
PRIOR_READINGS = 2
LEAST_SHARE: Mapping[Quantity, float] = {"voltage": 0.04, "current": 0.10}

SPREAD_OF = 1.4826
"""The median distance from the median times this is the standard deviation of a normal distribution."""
ENOUGH = 3
"""Fewer readings show no spread of their own."""

_SATELLITE = "satellite"


def learnt_normal(quantity: Quantity, job: Sequence[float], kept: Sequence[float]) -> LearntNormal | None:
    """The usual value from readings of this job and kept ones; None without any.

    Centre: the median. Window: where the next reading lies 19 times in 20 (Student's prediction interval, the spread
    shrunk towards a prior one), never narrower than the least share nor than twice the meter's accuracy.
    """
    numbers = [*job, *kept]
    if not numbers:
        return None
    n = len(numbers)
    centre = float(median(numbers))
    spread = SPREAD_OF * float(median(abs(number - centre) for number in numbers)) if n >= ENOUGH else None
    freedom = PRIOR_READINGS + n - 1
    squares = PRIOR_READINGS * (PRIOR_SHARE[quantity] * centre) ** 2 + (n - 1) * (spread or 0.0) ** 2
    half = _student_975(freedom) * math.sqrt(squares / freedom * (1.0 + 1.0 / n))
    half = max(half, LEAST_SHARE[quantity] * centre, 2.0 * accuracy(quantity, centre))
    return LearntNormal(centre, spread, (max(0.0, centre - half), centre + half), n, len(job), len(kept))


def _student_975(freedom: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975))


def worked(job: Job, t_s: NDArray[np.float64], path: str) -> NDArray[np.bool_]:
    """True for instants at which the receiver was seen to work on that lead ('' for one that is not dual).

    Proved by a lock of the path; on a lead that carries everything also by a channel seen authorised or by sound. A
    proof holds for a few minutes, as long as nothing contrary lies between: no lock, the receiver or the feed off, a
    restart, a part swapped, a pause between visits.
    """
    proofs, contrary = _proofs(job, path), _contrary(job, path)
    if not len(proofs) or not len(t_s):
        return np.zeros(len(t_s), dtype=bool)
    place = np.searchsorted(proofs, t_s, side="right")
    found = np.zeros(len(t_s), dtype=bool)
    for near in (place - 1, place):
        there = (near >= 0) & (near < len(proofs))
        proof = proofs[np.clip(near, 0, len(proofs) - 1)]
        low, high = np.minimum(proof, t_s), np.maximum(proof, t_s)
        clean = np.searchsorted(contrary, low, "left") == np.searchsorted(contrary, high, "right")
        found |= there & clean & (high - low <= WORKED_S)
    return found


def _proofs(job: Job, path: str) -> NDArray[np.float64]:
    lock = job.select("lock")[["t_s", "subject", "value"]]
    of_satellite = lock["subject"].isin([name for name in lock["subject"].unique() if name.startswith(_SATELLITE)])
    own = {_SATELLITE: of_satellite, "repeater": lock["subject"] == "repeater"}
    subject = own.get(path, of_satellite | (lock["subject"] == "any"))
    parts = [lock[(subject & (lock["value"] == "yes")).to_numpy(dtype=bool)]]
    if not path:
        channel, tune, audio = job.select("channel"), job.select("tune"), job.select("audio", "output")
        seen = (channel["value"] == "authorised") & (channel["span_s"] == 0)
        parts += [channel[seen.to_numpy(dtype=bool)], tune[(tune["value"] == "audio").to_numpy()]]
        parts += [audio[(audio["value"] == "playing").to_numpy()]]
    return _times(parts)


def _contrary(job: Job, path: str) -> NDArray[np.float64]:
    lock, power, feed = job.select("lock"), job.select("power"), job.select("feed")
    nowhere = lock["subject"].isin(["any", path or _SATELLITE])
    parts = [
        lock[(nowhere & (lock["value"] == "no")).to_numpy(dtype=bool)],
        power[power["value"].isin(["off", "standby"]).to_numpy()],
        feed[(feed["value"] == "off").to_numpy()],
        part_swaps(job),
        job.select("reset"),
    ]
    return _times(parts)


def part_swaps(job: Job) -> pd.DataFrame:
    """The rows on which a part of the feed was swapped: antenna, lead or receiver, not the place."""
    swaps = job.select("swap")
    return swaps[swaps["subject"].isin(["antenna", "lead", "receiver"]).to_numpy()]


def _times(parts: Sequence[pd.DataFrame]) -> NDArray[np.float64]:
    return np.sort(np.concatenate([part["t_s"].to_numpy(dtype=float) for part in parts]))
