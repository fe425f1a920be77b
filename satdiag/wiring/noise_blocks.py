"""The noise-rise tests of a log: the noise between each two switchings of the feed, and which blocks belong together.

The readout is relative: it may be compared within one test only, which ends where a part is swapped, the receiver
restarts or sleeps, the vehicle is moved, another readout takes over, or long after the last switching.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.job import Job
from satdiag.language import tell
from satdiag.wiring.learnt import part_swaps
from satdiag.wiring.meter import step_of

NEAR_S = 120.0
"""A reading farther from the switching than this may be of another noise (judgement, no source)."""

Floats = NDArray[np.float64]


class Block(NamedTuple):
    """The noise while the feed stood one way: median level, mean time, readings, their last digit."""

    test: int
    source: str
    on: bool
    t_s: float
    noise_db: float
    n: int
    step_db: float


class Blocks(NamedTuple):
    """The blocks of every test that has both on and off, tests counted from 1; and sentences on those refused."""

    blocks: tuple[Block, ...]
    refused: tuple[str, ...]


def noise_blocks(job: Job) -> Blocks:
    """All noise-rise tests of a job; none where the feed was never switched."""
    feed, noise = job.select("feed", "bias"), job.select("noise", "receiver")
    if feed.empty:
        return Blocks((), ())
    if noise.empty:
        return Blocks((), (tell("the feed was switched but no noise was read: how far the noise rises is unknown"),))
    units = sorted(set(noise["unit"].astype(str)))
    if units != ["dB"]:
        what = tell(
            "the noise was read in {units}: how far it rises is only told from a scale in dB throughout",
            units=", ".join(units),
        )
        return Blocks((), (what,))
    found = [block for number, part, on in _parts(job, feed, noise) for block in _by_source(job, number, part, on)]
    return _paired(found)


def _parts(job: Job, feed: pd.DataFrame, noise: pd.DataFrame) -> list[tuple[int, pd.DataFrame, bool]]:
    """The readings of each stretch between two switchings, cut where a test ends within it."""
    changed = feed[(feed["value"] != feed["value"].shift()).to_numpy(dtype=bool)]
    switched = changed["t_s"].to_numpy(dtype=float)
    states = [changed["value"].iloc[0] == "off", *(changed["value"] == "on")]
    edges = [-np.inf, *switched, np.inf]
    breaks = _breaks(job)
    t_s = noise["t_s"].to_numpy(dtype=float)
    # Rows of one instant stand in the order of the log: a reading noted before the switching belongs before it.
    order = noise.index.to_numpy()
    place = np.searchsorted(changed.index.to_numpy(), order)
    found, test = [], 1
    for number, on in enumerate(states):
        here = place == number
        begin, end = edges[number], edges[number + 1]
        cuts = breaks[(breaks > begin) & (breaks < end)]
        if not len(cuts) and end - begin <= 2 * NEAR_S:
            found.append((test, noise[here], bool(on)))
            continue
        early = here & (t_s <= begin + NEAR_S) & (t_s < (cuts[0] if len(cuts) else np.inf))
        late = here & (t_s >= end - NEAR_S) & (t_s >= (cuts[-1] if len(cuts) else -np.inf)) & ~early
        found.append((test, noise[early], bool(on)))
        test += 1
        found.append((test, noise[late], bool(on)))
    return [part for part in found if len(part[1])]


def _breaks(job: Job) -> Floats:
    """Instants across which the readout must not be compared."""
    power = job.select("power")
    parts = [
        part_swaps(job),
        job.select("reset"),
        power[power["value"].isin(["off", "standby"]).to_numpy()],
        _moved(job.select("place", "vehicle")),
        _moved(job.select("site", "vehicle")),
    ]
    times = [part["t_s"].to_numpy(dtype=float) for part in parts]
    visits = np.array([visit.start_s for visit in job.visits[1:]])
    return np.sort(np.concatenate([*times, visits]))


def _moved(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[(rows["value"] != rows["value"].shift()).to_numpy(dtype=bool)]


def _by_source(job: Job, test: int, readings: pd.DataFrame, on: bool) -> list[Block]:
    found = []
    for source, part in readings.groupby("source", observed=True, sort=True):
        step = max(step_of(word) for word in part["value"].unique())
        middle = float(part["number"].median())
        found.append(Block(test, str(source), on, float(part["t_s"].mean()), middle, len(part), step))
    return found


def _paired(blocks: list[Block]) -> Blocks:
    """The tests with both on and off from one readout, numbered anew."""
    kept: list[Block] = []
    refused: list[str] = []
    number = 0
    for test in sorted({block.test for block in blocks}):
        own = [block for block in blocks if block.test == test]
        states = {source: {block.on for block in own if block.source == source} for source in _sources(own)}
        whole = [source for source, seen in states.items() if len(seen) == 2]
        for source in whole:
            number += 1
            kept += [block._replace(test=number) for block in own if block.source == source]
        if not whole and {block.on for block in own} == {True, False}:
            names = ", ".join(source or tell("no source") for source in states)
            refused.append(
                tell(
                    "the noise with the feed on and off was read by different readouts ({names}): they have no "
                    "common scale, so the rise was not taken",
                    names=names,
                )
            )
    if not kept and not refused:
        refused.append(tell("the feed was switched but the noise was not read both on and off close to it"))
    return Blocks(tuple(kept), tuple(refused))


def _sources(blocks: list[Block]) -> list[str]:
    return sorted({block.source for block in blocks})
