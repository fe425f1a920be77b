"""Stays of the vehicle: how strong a path was, from one change of place, site, fitted parts or visit to the next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from satdiag.findings import SkyFindings, instant_text
from satdiag.job import Job
from satdiag.language import chance_text, tell
from satdiag.signal.levels import clear_level, shadow_step
from satdiag.signal.markov import States
from satdiag.signal.moves import COVERED, moves_s, parts_by_era, place_at, site_at
from satdiag.signal.open_sky import CLEAR_FROM, By, KeptStay, chance_by_mask, clear_by_mask
from satdiag.signal.pieces import Flags, Floats
from satdiag.signal.readings import LevelNoise
from satdiag.signal.segments import CLEAR, SHADOWED, Segmented
from satdiag.signal.states import PathStates
from satdiag.vocabulary import bars_of

OPEN_SKY = "open-sky"
LEAST_READINGS, LEAST_S = 3, 20.0
HIDDEN_BELOW = 0.5
"""Judgement, no source: a skyline that leaves a satellite a smaller chance goes before the word open-sky."""


def differ_by(unit: str) -> float:
    """Judgement, no source: what the same clear path differs by from one stay to the next (temperature, wet antenna,
    another spot on the yard with its own reflections), 1 sigma, in the unit; so much fading stands still while a
    vehicle does, and no number of readings averages it out."""
    bars = bars_of(unit)
    if bars is not None:
        return max(0.5, 0.05 * bars)
    return 5.0 if unit == "percent" else 0.7


@dataclass(frozen=True)
class Stay:
    """The vehicle in one place: which visit, the level there and its standard error, in the path's unit.

    `open_by`: what says that the sky was open, None if nothing does. `told`: whether a place was named at all.
    `hidden`: why a weak level there may be the place's, empty if nothing says so. `era`, `moved`: numbers of the
    exchanges of parts and of the moves before; `parts`: which parts were in, alike where they were the same ones.
    `present`: nothing was moved or exchanged after it.
    """

    visit: int
    begin_s: float
    level: float
    error: float
    open_by: By | None
    told: bool
    hidden: str = ""
    era: int = 0
    parts: int = 0
    moved: int = 0
    present: bool = True


class Spot(NamedTuple):
    """What is known of the sky over a stay: what says it is open, the word for the place, and why it may not be."""

    open_by: By | None
    word: str | None
    hidden: str


def spot_of(job: Job, path: str, since_s: float, sky: SkyFindings | None) -> Spot:
    """The sky over the place where the vehicle stood at an instant, as seen towards a path."""
    word, key = place_at(job, since_s), (site_at(job, since_s), path.partition(":")[2])
    chance = chance_by_mask(sky).get(key)
    by: By | None = "mask" if key in clear_by_mask(sky) else None
    if word == OPEN_SKY and (chance is None or chance >= HIDDEN_BELOW):
        by = "place"
    hidden = ""
    if by is None and word in COVERED:
        hidden = tell("the vehicle stood at a place called {word}", word=word)
    elif by is None and chance is not None and chance < CLEAR_FROM:
        hidden = tell(
            "by what is known of the sky the way is clear with a chance of {chance} only",
            chance=chance_text(chance),
        )
    return Spot(by, word, hidden)


def stays_of(job: Job, path: str, states: PathStates, unit: str, sky: SkyFindings | None) -> list[Stay]:
    """Stays of a path in time order, of the readings in one unit; those with too few levels left out."""
    moves, parts = moves_s(job), parts_by_era(job)
    last_era = max((read.era for read in states.reads), default=0)
    stays = []
    for number, (read, likely) in enumerate(zip(states.reads, states.likely, strict=True)):
        found = states.chain_of(read)
        if read.unit != unit or found is None:
            continue
        part, state = read.pieces.only(read.with_level), likely[read.with_level]
        stretch = np.searchsorted(moves, part.start_s, side="right")
        for one in np.unique(stretch):
            here = stretch == one
            level = clear_level(part.level[here], part.length_s[here], unit)
            if level is None or here.sum() < LEAST_READINGS or float(part.length_s[here].sum()) < LEAST_S:
                continue
            spot = spot_of(job, path, float(part.start_s[here][0]), sky)
            faded = not spot.open_by and _faded(states, read.era, unit, state[here], part.length_s[here])
            stays.append(
                Stay(
                    visit=read.visit,
                    begin_s=float(part.start_s[here][0]),
                    level=level,
                    error=_error(part.start_s, here, found, unit),
                    open_by=spot.open_by,
                    told=spot.word is not None,
                    hidden=spot.hidden or (tell("it was weakened there for most of the time") if faded else ""),
                    era=read.era,
                    parts=parts[read.era],
                    moved=int(one),
                    present=number == len(states.reads) - 1 and one == len(moves) and read.era == last_era,
                )
            )
    return stays


def _faded(states: PathStates, era: int, unit: str, here: States, length_s: Floats) -> bool:
    """True where the chain calls most of a stay weakened and saw the path clear at some other time."""
    weak_s = float(length_s[here == SHADOWED].sum())
    clear_elsewhere = any(
        bool((state == CLEAR).any())
        for read, state in zip(states.reads, states.likely, strict=True)
        if (read.unit, read.era) == (unit, era)
    )
    return clear_elsewhere and weak_s > 0.5 * float(length_s.sum())


def kept_stays(job: Job, name: str, states: PathStates, sky: SkyFindings | None) -> list[KeptStay]:
    """The stays of a path under an open sky with the parts fitted last, as they are kept: what was exchanged is no
    measure for later. Without a direct path (a repeater) there are none."""
    if not name.startswith("satellite"):
        return []
    last = parts_by_era(job)[max((read.era for read in states.reads), default=0)]
    return [
        KeptStay(
            job.sheet.id, name, unit, stay.level, stay.error, stay.open_by, instant_text(job.instant(stay.begin_s))
        )
        for unit in sorted({unit for unit, _ in states.chains})
        for stay in stays_of(job, name, states, unit, sky)
        if stay.open_by is not None and stay.parts == last
    ]


def _error(start_s: Floats, here: Flags, found: Segmented, unit: str) -> float:
    """Standard error of a median level: n readings that repeat each other are worth n (1 - r) / (1 + r) of them
    (Bayley and Hammersley 1946, from memory), and a median takes pi / 2 as many as a mean (textbook). A scale that is
    an order only is known to a quarter of its shadow step (judgement, no source)."""
    noise = found.chain.noise
    if not isinstance(noise, LevelNoise):
        return 0.25 * shadow_step(unit)
    count = int(here.sum())
    step_s = float(np.median(np.diff(start_s[here]))) if count > 1 else np.inf
    alike = float(np.exp(-step_s / noise.tau_s)) if noise.tau_s > 0.0 else 0.0
    worth = max(1.0, count * (1.0 - alike) / (1.0 + alike))
    return float(noise.sd[-1] * np.sqrt(np.pi / 2.0 / worth))
