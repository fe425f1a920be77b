"""What another antenna or lead gained: the level after it was put in beside the level before, at the same spot."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from satdiag.findings import SkyFindings, SwapGain, instant_text
from satdiag.job import Job
from satdiag.signal.moves import PARTS, returns_s, swaps_s
from satdiag.signal.states import PathStates
from satdiag.signal.stays import differ_by, stays_of

_SIGMAS_90 = 1.645


def swap_gains(job: Job, states: Mapping[str, PathStates], sky: SkyFindings | None) -> tuple[SwapGain, ...]:
    """For each path and swap with levels before and after it while the vehicle was not moved."""
    found, back = [], returns_s(job)
    for name, path in states.items():
        for unit in sorted({unit for unit, _ in path.chains}):
            for before, after in pairwise(stays_of(job, name, path, unit, sky)):
                if after.era != before.era + 1 or (after.moved, after.visit) != (before.moved, before.visit):
                    continue
                at_s = float(swaps_s(job)[after.era - 1])
                part = _parts_at(job, at_s)
                gain = after.level - before.level
                # Each of the two differs as stays do: another antenna has its own reflections at the same spot.
                half = _SIGMAS_90 * float(np.sqrt(before.error**2 + after.error**2 + 2.0 * differ_by(unit) ** 2))
                found.append(
                    SwapGain(
                        path=name,
                        part=part,
                        at=instant_text(job.instant(at_s)),
                        unit=unit,
                        before=before.level,
                        after=after.level,
                        gain=gain,
                        gain_90=(gain - half, gain + half),
                        back=all(at_s in back[one] for one in part.split(" and ")),
                    )
                )
    return tuple(found)


def _parts_at(job: Job, at_s: float) -> str:
    return " and ".join(part for part in PARTS if (job.select("swap", part)["t_s"] == at_s).any())
