"""What parts the history of levels: moves of the vehicle, and parts that were put in."""

from __future__ import annotations

import numpy as np

from satdiag.job import Job
from satdiag.signal.pieces import Floats, changed_s
from satdiag.trials import trials

COVERED = ("street", "canopy", "indoors", "underground")
"""Words for a place at which something may stand in every way: a weak level there says nothing of the antenna."""


def moves_s(job: Job) -> Floats:
    """When the vehicle was moved, by the log: another word for the place, another site, or a change of place as a
    test; a word that is said again is no move."""
    tests = job.select("swap", "place")["t_s"].to_numpy(dtype=float)
    return np.unique(np.concatenate([changed_s(job, "place"), changed_s(job, "site"), tests]))


def swaps_s(job: Job) -> Floats:
    """When another antenna or lead was put in; of an exchanged receiver no earlier reading is used at all."""
    return np.unique(np.concatenate([job.select("swap", part)["t_s"].to_numpy(dtype=float) for part in PARTS]))


PARTS = ("antenna", "lead")


def parts_by_era(job: Job) -> list[int]:
    """Which antenna and lead were in before the first exchange, and from each on until the next: alike where they
    were the same ones, since an old part that went back after a trial is the one it was before.
    """
    back = returns_s(job)
    when = {part: set(job.select("swap", part)["t_s"].tolist()) for part in PARTS}
    now, before = dict.fromkeys(PARTS, 0), dict.fromkeys(PARTS, 0)
    sets = [tuple(now.values())]
    for fitted, t_s in enumerate(swaps_s(job).tolist(), 1):
        for part in PARTS:
            if t_s in when[part]:
                before[part], now[part] = now[part], before[part] if t_s in back[part] else fitted
        sets.append(tuple(now.values()))
    return [sets.index(one) for one in sets]


def returns_s(job: Job) -> dict[str, set[float]]:
    """When each part went back after a trial of a known-good one."""
    found = {}
    for part in PARTS:
        rows = job.select("swap", part)
        tried = trials(zip(rows["t_s"].tolist(), rows["value"].tolist(), strict=True))
        found[part] = {one.back_s for one in tried if one.back_s is not None}
    return found


def place_at(job: Job, t_s: float) -> str | None:
    """The word for the place at an instant; None before any."""
    rows = job.select("place", "vehicle")
    words = rows["value"].to_numpy()[rows["t_s"].to_numpy(dtype=float) <= t_s]
    return str(words[-1]) if len(words) else None


def site_at(job: Job, t_s: float) -> str:
    """The site at an instant: the sheet's first one before any move; empty if there is none."""
    rows = job.select("site")
    names = rows["value"].to_numpy()[rows["t_s"].to_numpy(dtype=float) <= t_s]
    return str(names[-1]) if len(names) else job.sheet.sites[0].name if job.sheet.sites else ""
