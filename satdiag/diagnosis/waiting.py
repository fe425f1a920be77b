"""Doing nothing as a test: how long to wait, what should have come by then, and what it would mean if it has not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from satdiag.diagnosis.inference import Posterior
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.space import Floats, Space
from satdiag.diagnosis.worth import Option
from satdiag.findings import EntitlementFindings, Quantiles
from satdiag.language import chance_text, mark, tell_many
from satdiag.vocabulary import FAULTS

WAIT = "wait-and-recheck"
LOOK_AT_ALL = "check-channels"
ITEM = "entitlement"
ENTITLEMENT = (ITEM, "entitlement-running")
PATTERN = ("refused-pattern", "refused-running")
"""Both: what is seen of the channels, and what long after the activation."""

COMING = ("complete", "growing")
STATES = ("more", "no-more")
MORE = STATES.index("more")
ALL_STATES = ("all", "not-all")

WAITS_MINUTES = (5.0, 8.0, 12.0, 15.0, 20.0, 30.0, 45.0, 60.0)
ENOUGH = 0.9
"""The shortest wait by which something should have come with this chance, if anything still comes."""

WORK_SHARE = 0.3
"""A minute of waiting costs less than one of work: the hands are free (judgement, no source)."""

LOOK_MINUTES = 3.0
"""Going through the channels again."""

LOOK_AT_ALL_MINUTES, WAIT_FOR_ALL_MINUTES = 8.0, 15.0
"""Going through every channel, and the wait before that; as `faults.toml` has it, which a test compares."""

JUST_NOW_S = 300.0
"""Channels that were looked at within so much listening are not gone through again at once (judgement, no source)."""

NORMAL_5_95 = 1.6448536269514722


@dataclass(frozen=True)
class Wait:
    """A wait in minutes; the chance that something more has come by then, and how many, if nothing is wrong."""

    minutes: float
    p_more: float
    more: float

    def text(self) -> str:
        """What to do and what to expect, in a sentence."""
        many = max(round(self.more), 1)
        return tell_many(
            "Leave the receiver awake outdoors for {minutes:.0f} minutes, then check the channels again: if nothing "
            "is wrong, {n} more channel should play by then (at least one with a chance of {chance}).",
            "Leave the receiver awake outdoors for {minutes:.0f} minutes, then check the channels again: if nothing "
            "is wrong, about {n} more channels should play by then (at least one with a chance of {chance}).",
            many,
            minutes=self.minutes,
            chance=chance_text(self.p_more),
        )


def wait_for(found: EntitlementFindings) -> Wait | None:
    """The wait that tells most for its time, or None where nothing is waited for or nothing can be predicted."""
    waiting = [c for c in found.channels if c.state == "refused" and c.remaining_s is not None]
    if not waiting or found.complete:
        return None
    chances = [_chance_of_any(found, 60 * minutes) for minutes in WAITS_MINUTES]
    known = [(minutes, p) for minutes, p in zip(WAITS_MINUTES, chances, strict=True) if p is not None]
    if not known:
        return None
    minutes, p_more = next(((m, p) for m, p in known if p >= ENOUGH), known[-1])
    more = sum((c.p_will_come or 0.0) * within(c.remaining_s, 60 * minutes) for c in waiting if c.remaining_s)
    return Wait(minutes, p_more, more)


def within(remaining: Quantiles, seconds: float) -> float:
    """P(it takes no longer), of a time known by its 5 %, 50 % and 95 % quantiles: normal in the logarithm."""
    if seconds <= 0:
        return 0.0
    low, mid, high = (np.log(max(part, 1.0)) for part in (remaining.p05, remaining.median, remaining.p95))
    half = (mid - low) if np.log(seconds) < mid else (high - mid)
    return float(ndtr((np.log(seconds) - mid) / max(half / NORMAL_5_95, 1e-6)))


def _chance_of_any(found: EntitlementFindings, seconds: float) -> float | None:
    """P(something more comes within so long | something still comes)."""
    if found.silence is not None and found.exposure_s is not None:
        return _from_silence(found, seconds)
    half = (found.remaining_to_share_s or {}).get("0.5")
    return None if half is None else within(half, seconds)


def _from_silence(found: EntitlementFindings, seconds: float) -> float | None:
    """From the chance of a dead account after more silence: odds of life shrink as the chance of that silence."""
    curve = found.silence
    if curve is None or found.exposure_s is None or len(curve.exposure_s) < 2:
        return None
    now, then = (
        float(np.interp(at_s, curve.exposure_s, curve.p_account_dead))
        for at_s in (found.exposure_s, found.exposure_s + seconds)
    )
    if not 0 < now < 1 or not 0 < then < 1:
        return None
    return float(np.clip(1 - (1 / then - 1) / (1 / now - 1), 0.0, 1.0))


@dataclass(frozen=True, eq=False)
class Last:
    """Looking whether the last channels have come, at once (`look`) or after a wait (`wait`): all play, or not.

    `look` is None where channels were looked at just now.
    """

    look: Option | None
    wait: Option


def last_channels(model: Model, belief: Posterior, found: EntitlementFindings, pattern: str) -> Last | None:
    """Going through every channel once more, where channels are seen to grow in number; None where none is due.

    `pattern`: the item that tells which are refused. What lets channels come need not let all of them come, and once
    none is refused, no package leaves any out.
    """
    if found.remaining_to_last_s is None or not found.refused:
        return None
    item, told = model.items[ITEM], model.items[pattern]
    part = np.ones(len(FAULTS))
    complete, grows, none = item.states.index("complete"), item.states.index("growing"), told.states.index("none")
    healthy = item.healthy[complete] / (item.healthy[complete] + item.healthy[grows])
    for fault, row in item.given.items():
        part[FAULTS.index(fault)] = min(row[complete] / (row[complete] + row[grows]) / healthy, 1.0)
    for fault, row in told.given.items():
        part[FAULTS.index(fault)] *= min(row[none] / told.healthy[none], 1.0)
    left: Floats = np.exp(belief.space.holds @ np.log(part))
    left[belief.space.outside] = 0.5
    at_once, later = (
        _whether_all(model, left * within(found.remaining_to_last_s, 60 * minutes), minutes)
        for minutes in (LOOK_AT_ALL_MINUTES, WAIT_FOR_ALL_MINUTES + LOOK_AT_ALL_MINUTES)
    )
    looked, now = found.last_look_s, found.exposure_s
    just_now = looked is not None and now is not None and now - looked < JUST_NOW_S
    return Last(None if just_now else at_once, later)


def _whether_all(model: Model, p_all: Floats, minutes: float) -> Option:
    floored = model.error_floor / 2 + (1 - model.error_floor) * p_all
    say = (mark("every expected channel plays now"), mark("some expected channels do not play yet"))
    return Option(LOOK_AT_ALL, minutes, np.column_stack([floored, 1 - floored]), ALL_STATES, say)


def growing(model: Model, space: Space, item: str, received: bool) -> Floats:
    """log P(channels grow in number | hypothesis), shape (hypotheses,); `item`: one of ENTITLEMENT."""
    column: Floats = model.log_likelihood(item, space, received=received)[
        :, model.items[item].states.index("growing")
    ]
    return column


def waiting_option(model: Model, belief: Posterior, wait: Wait, grows: bool = False) -> Option:
    """The wait as a test: P(more | hypothesis) is the prediction, less what each fault takes of it.

    A fault's part is the chance that channels are complete or growing under it, over that of a healthy vehicle; where
    they were seen to grow (`grows`), whatever is wrong lets them, and more of it tells nothing new.
    """
    item = model.items[ITEM]
    coming = [item.states.index(state) for state in COMING]
    part = np.ones(len(FAULTS))
    for fault, row in () if grows else item.given.items():
        part[FAULTS.index(fault)] = min(float(row[coming].sum() / item.healthy[coming].sum()), 1.0)
    left: Floats = np.exp(belief.space.holds @ np.log(part))
    p_more = wait.p_more * left
    p_more[belief.space.outside] = 0.5
    floored = model.error_floor / 2 + (1 - model.error_floor) * p_more
    minutes = WORK_SHARE * wait.minutes + LOOK_MINUTES
    say = (mark("more channels play after the wait"), mark("no more channels play after the wait"))
    return Option(WAIT, minutes, np.column_stack([floored, 1 - floored]), STATES, say)
