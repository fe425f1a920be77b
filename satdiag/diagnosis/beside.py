"""A known-good receiver standing beside this one at the same minutes: paired differences take the sky out."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from satdiag.diagnosis import reception
from satdiag.diagnosis.seen import Seen, name_row
from satdiag.diagnosis.space import Floats
from satdiag.findings import BesideFindings, BesidePath
from satdiag.job import Job
from satdiag.language import tell

PAIR_S = 30.0
"""Readings so far apart still see the same sky, parked side by side (judgement, no source)."""

BLOCK_S = 120.0
"""Differences within such a block lean on one another: fading is correlated over seconds to a minute or two."""

FEWEST_BLOCKS = 3
WORSE_SHARE = 0.3
"""So much less of the time received is worse beyond what two places side by side explain (judgement, no source)."""

WORSE_LEVEL = {"dB": 2.0, "dB-Hz": 2.0, "percent": 15.0}
WORSE_BARS = 0.3
GOOD_SHARE = 0.8
RESOLUTION_S = 1e-6


class Pairs(NamedTuple):
    """Readings of both at the same time: when (s since our first row), ours less theirs, both received or not."""

    path: str
    unit: str
    t_s: Floats
    difference: Floats


def beside(job: Job, reference: Job) -> BesideFindings:
    """How this receiver compares with the one beside it, path by path, and over any path."""
    shift_s = _shift_s(job, reference)
    if shift_s is None:
        return BesideFindings(text=tell("One of the two logs is empty: nothing can be compared."))
    paths = tuple(_path(pairs) for pairs in _level_pairs(job, reference, shift_s))
    ours, theirs, minutes = _received(job, reference, shift_s)
    state = _state(paths, ours, theirs)
    return BesideFindings(
        state, reference.sheet.id, paths, ours, theirs, minutes, _said(state, ours, theirs, minutes)
    )


def _shift_s(job: Job, reference: Job) -> float | None:
    """What is added to the reference's seconds to get ours."""
    if job.start is None or reference.start is None:
        return None
    return float((reference.start - job.start) / np.timedelta64(1, "us")) * RESOLUTION_S


def _level_pairs(job: Job, reference: Job, shift_s: float) -> list[Pairs]:
    ours, theirs = job.select("signal"), reference.select("signal")
    found = []
    for (path, unit), mine in ours.groupby(["subject", "unit"], sort=True, observed=True):
        other = theirs[(theirs["subject"] == path) & (theirs["unit"] == unit)]
        both = _joined(mine, other, shift_s)
        if len(both):
            difference = (both["number"] - both["number_there"]).to_numpy(dtype=float)
            found.append(Pairs(str(path), str(unit), both["t_s"].to_numpy(dtype=float), difference))
    return found


def _joined(ours: pd.DataFrame, theirs: pd.DataFrame, shift_s: float) -> pd.DataFrame:
    """Each of our readings with the reference's nearest within PAIR_S."""
    there = pd.DataFrame({"at_us": _us(theirs["t_s"] + shift_s), "number_there": theirs["number"].to_numpy()})
    here = pd.DataFrame(
        {"at_us": _us(ours["t_s"]), "t_s": ours["t_s"].to_numpy(), "number": ours["number"].to_numpy()}
    )
    near = round(PAIR_S / RESOLUTION_S)
    merged = pd.merge_asof(
        here.sort_values("at_us"), there.sort_values("at_us"), on="at_us", direction="nearest", tolerance=near
    )
    return merged.dropna()


def _us(t_s: pd.Series) -> NDArray[np.int64]:
    whole: NDArray[np.int64] = np.rint(t_s.to_numpy(dtype=float) / RESOLUTION_S).astype(np.int64)
    return whole


def _path(pairs: Pairs) -> BesidePath:
    """Mean paired difference, 90 % Student interval over block means: in a block readings lean on one another."""
    blocks = pd.Series(pairs.difference).groupby(np.floor(pairs.t_s / BLOCK_S)).mean().to_numpy()
    mean = float(pairs.difference.mean())
    interval = None
    if len(blocks) >= FEWEST_BLOCKS:
        half = float(stdtrit(len(blocks) - 1, 0.95) * blocks.std(ddof=1) / np.sqrt(len(blocks)))
        interval = (float(blocks.mean()) - half, float(blocks.mean()) + half)
    return BesidePath(pairs.path, pairs.unit, len(pairs.difference), len(blocks), mean, interval)


def _received(job: Job, reference: Job, shift_s: float) -> tuple[float | None, float | None, float]:
    """The share of common moments at which each received on any path, and how many minutes that was."""
    tables = [reception.readings(one) for one in (job, reference)]
    bins = []
    for table, shift in zip(tables, (0.0, shift_s), strict=True):
        at = np.floor((table["t_s"] + shift) / PAIR_S)
        bins.append(table["grade"].gt(reception.NONE).groupby(at).max())
    both = pd.concat(bins, axis=1, join="inner", keys=("ours", "theirs"))
    if both.empty:
        return None, None, 0.0
    return float(both["ours"].mean()), float(both["theirs"].mean()), len(both) * PAIR_S / 60


State = Literal["alike-good", "ours-worse", "alike-bad"]


def _state(paths: tuple[BesidePath, ...], ours: float | None, theirs: float | None) -> State | None:
    if ours is None or theirs is None:
        return "ours-worse" if any(_is_worse(path) for path in paths) else None
    if theirs - ours > WORSE_SHARE or (theirs >= GOOD_SHARE and any(_is_worse(path) for path in paths)):
        return "ours-worse"
    return "alike-good" if min(ours, theirs) >= GOOD_SHARE else "alike-bad"


def _is_worse(path: BesidePath) -> bool:
    limit = WORSE_LEVEL.get(path.unit)
    if limit is None:
        limit = WORSE_BARS * float(path.unit.partition("/")[2] or 1)
    top = path.difference if path.difference_90 is None else path.difference_90[1]
    return top < -limit if path.difference_90 is not None else top < -2 * limit


def _said(state: str | None, ours: float | None, theirs: float | None, minutes: float) -> str:
    if state is None or ours is None or theirs is None:
        return tell("The two logs hold no readings at the same minutes: nothing can be compared.")
    shares = tell(
        "over {minutes:.0f} common minutes this receiver received {ours:.0f} % of the time, the one beside it "
        "{theirs:.0f} %",
        minutes=minutes,
        ours=100 * ours,
        theirs=100 * theirs,
    )
    if state == "ours-worse":
        return tell(
            "This receiver is worse than the one beside it: {shares}. The sky is not the cause.", shares=shares
        )
    if state == "alike-good":
        return tell("Both receive alike and well: {shares}. Antenna, lead and place are in order.", shares=shares)
    return tell(
        "Both receive alike and badly: {shares}. The place or the service is the likelier cause.", shares=shares
    )


def beside_evidence(found: BesideFindings | None, job: Job) -> Seen | None:
    """The comparison as evidence."""
    if found is None or found.state is None:
        return None
    rows = job.select("signal") if found.paths else job.select("lock")
    return Seen("beside", found.state, tuple(name_row(row) for row in rows["row"].tail(3)))
