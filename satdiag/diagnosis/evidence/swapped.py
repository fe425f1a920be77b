"""A known-good part that was tried: what the person said of it, and the levels read before and after it.

Where the log does not tell when the old part was put back, levels that did not change may be those of the old part:
they speak against the word only in part. Levels that did change speak for themselves. Where it tells, the return is a
second trial of the same kind, the other way round.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from satdiag.chances import normal_density
from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import Log, Part, log_of
from satdiag.diagnosis.reception import NONE, Graded, graded
from satdiag.diagnosis.seen import MOST_REPEATS, Seen, softly
from satdiag.findings import SwapGain
from satdiag.trials import Trial
from satdiag.vocabulary import bars_of

SWAPPED_PARTS = ("antenna", "lead", "receiver")
STATES = ("same", "better", "worse")

# Judgement, no source.
MISJUDGED = 0.05
"""How often a person says something else than the levels would."""

PUT_BACK = 0.5
"""How often the old part is in again before levels are read."""

GAIN_DB, GAIN_PART = (8.0, 5.0), (0.5, 0.3)
"""What a good part gains in place of a bad one: middle and spread, in dB, and as a share of the higher level."""

TURNED = 0.02
"""How often nothing before a swap and something after it, or the reverse, is chance."""

FEWEST = 3
HALF_90 = 1.6448536269514722

Chances = Mapping[str, float]


def swap_evidence(known: Known) -> list[Seen]:
    """An item for each part that was tried, by its last trial."""
    log = log_of(known.job)
    found = []
    for part in SWAPPED_PARTS:
        rows = log.of("swap", part)
        if len(rows):
            found.append(_tried(known, log, part, rows))
    return found


def _tried(known: Known, log: Log, part: str, rows: Part) -> Seen:
    trial, item = log.trials_of(part)[-1], f"swap-{part}"
    said, alike = trial.said, rows.trailing() if trial.back_s is None else rows.where(slice(-2, None))
    told = _by_levels(known, part, trial) or _by_reception(log, graded(known.job), trial.in_s)
    if told is None:
        return Seen(item, said, alike.names(), min(len(alike), MOST_REPEATS))
    word = {state: 1 - MISJUDGED if state == said else MISJUDGED / 2 for state in STATES}
    return softly(item, {state: word[state] * told[state] for state in STATES}, alike.names())


def _by_levels(known: Known, part: str, trial: Trial) -> Chances | None:
    """What the levels tell at the exchange, and once more, the other way round, when the old part went back."""
    if trial.back_s is None:
        return _mean([_by_gain(one, PUT_BACK) for one in _gains(known, part, trial.in_s)])
    halves = (_gains(known, part, trial.in_s), [_turned(one) for one in _gains(known, part, trial.back_s)])
    told = [half for half in (_mean([_by_gain(one, 0.0) for one in gains]) for gains in halves) if half is not None]
    return {state: float(np.prod([half[state] for half in told])) for state in STATES} if told else None


def _turned(one: SwapGain) -> SwapGain:
    """A gain read backwards in time."""
    low, high = one.gain_90
    return replace(one, before=one.after, after=one.before, gain=-one.gain, gain_90=(-high, -low))


def _gains(known: Known, part: str, at_s: float) -> list[SwapGain]:
    """What was gained at an exchange, path by path."""
    at = np.datetime64(known.job.instant(at_s)) if known.job.start is not None else None
    return [
        one
        for one in known.signal.swap_gains
        if part in one.part.split(" and ") and one.at is not None and np.datetime64(one.at.removesuffix("Z")) == at
    ]


def _by_gain(one: SwapGain, put_back: float) -> Chances:
    """The likelihood of a gain under each state: normal, or none at all where the old part is in again.

    `put_back`: the chance that it is.
    """
    order = one.unit == "percent" or bars_of(one.unit) is not None
    whole = max(one.before, one.after, 1.0) if order else 1.0
    value, half = one.gain / whole, (one.gain_90[1] - one.gain_90[0]) / (2 * HALF_90 * whole)
    middle, spread = GAIN_PART if order else GAIN_DB
    unchanged, wide = normal_density(value, 0.0, half), float(np.hypot(spread, half))
    changed = {"better": normal_density(value, middle, wide), "worse": normal_density(value, -middle, wide)}
    mixed = {state: (1 - put_back) * chance + put_back * unchanged for state, chance in changed.items()}
    return {"same": unchanged, **mixed}


def _mean(parts: list[Chances]) -> Chances | None:
    """Paths share antenna and lead: together they count as one, by the mean of their logarithms."""
    if not parts:
        return None
    logs = {state: float(np.mean([np.log(max(one[state], 1e-12)) for one in parts])) for state in STATES}
    top = max(logs.values())
    return {state: float(np.exp(value - top)) for state, value in logs.items()}


def _by_reception(log: Log, read: Graded, at_s: float) -> Chances | None:
    """Nothing received before and something after, or the reverse, with nothing else moved or tried in between."""
    kinds = ("swap", "place", "site")
    changed_s = np.unique(np.concatenate([log.of(kind).changes_s() for kind in kinds] + [log.of("swap").t_s]))
    since_s = max((t_s for t_s in changed_s.tolist() if t_s < at_s), default=0.0)
    until_s = min((t_s for t_s in changed_s.tolist() if t_s > at_s), default=np.inf)
    before = read.grade[(read.t_s >= since_s) & (read.t_s < at_s)]
    after = read.grade[(read.t_s >= at_s) & (read.t_s < until_s)]
    if min(len(before), len(after)) < FEWEST:
        return None
    had, has = float((before > NONE).mean()), float((after > NONE).mean())
    if had <= 0.1 and has >= 0.5:
        return {"better": 1.0, "same": TURNED, "worse": TURNED}
    if had >= 0.5 and has <= 0.1:
        return {"worse": 1.0, "same": TURNED, "better": TURNED}
    return None
