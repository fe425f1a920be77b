"""Which checks of channels count as separate ones: from single looks to groups that each weigh as one check.

Looks share their mistakes: the same fade, the same second of inattention, one tap that marks a whole list. So a
group of looks weighs as much as one check (`evidence.weigh`), and a channel looked at again counts anew only if
something made the second look a fresh one.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from satdiag.entitlement.channels import TUNE_VERDICTS
from satdiag.exposure import ExposureClock
from satdiag.job import Job

APART_S = 5.0
"""Looks closer together share the same fade and the same glance (judgement; fades of this service last seconds)."""

FRESH_AFTER_S = 60.0
"""A channel looked at again after this long is looked at afresh, whatever happened between (judgement)."""


@dataclass(frozen=True)
class Look:
    """One look at an expected channel that judged it.

    `t_s`: seconds since the job's first row; `start_s`: earlier for a mark from memory, which covers a span;
    `exposure_s`: the middle of the two bounds of the exposure clock there; `passed`: seen authorised, not refused.
    """

    t_s: float
    channel: int
    passed: bool
    exposure_s: float
    start_s: float


Group = tuple[Look, ...]


def looks_of(job: Job, clock: ExposureClock, channels: Collection[int]) -> tuple[Look, ...]:
    """The looks since the clock's origin at these channels that saw them authorised or refused, in order of time.

    A tune mark `audio` is a look that passed, `refused` one that did not.
    """
    log = job.log
    rows = log[log["kind"].isin(["channel", "tune"])]
    t_s = rows["t_s"].to_numpy(dtype=float)
    start_s = t_s - rows["span_s"].to_numpy(dtype=float)
    exposure_s = (clock.lower_s(t_s) + clock.upper_s(t_s)) / 2.0
    since_s = max(clock.origin_s, clock.era_start_s)
    found = []
    columns = zip(rows["kind"], rows["subject"], rows["value"], t_s, exposure_s, start_s, strict=True)
    for kind, subject, value, at_s, listened_s, began_s in columns:
        seen = TUNE_VERDICTS.get(value) if kind == "tune" else value
        if at_s >= since_s and int(subject) in channels and seen in ("authorised", "refused"):
            found.append(Look(float(at_s), int(subject), seen == "authorised", float(listened_s), float(began_s)))
    return tuple(found)


def interruptions_s(job: Job) -> tuple[float, ...]:
    """When the receiver had to start or lock anew: off, standby, a restart, or every lock lost."""
    power, lock = job.select("power"), job.select("lock", "any")
    times = [
        *power.loc[power["value"].isin(["off", "standby"]), "t_s"],
        *job.select("reset")["t_s"],
        *lock.loc[lock["value"] == "no", "t_s"],
    ]
    return tuple(sorted(float(t) for t in times))


def groups_of(looks: Sequence[Look]) -> tuple[Group, ...]:
    """Looks (in order of time) in groups: a group begins at least `APART_S` after the one before began.

    Marks from memory whose spans overlap, and everything marked at one instant, belong to one group however many
    channels there are.
    """
    groups: list[list[Look]] = []
    for look in looks:
        if groups and look.start_s < max(groups[-1][0].t_s + APART_S, groups[-1][-1].t_s):
            groups[-1].append(look)
        else:
            groups.append([look])
    return tuple(tuple(group) for group in groups)


class Freshness:
    """Knows whether a look at a channel is a fresh one: the first, or after a re-acquisition.

    Between it and the last look at the channel there was an interruption, another channel tuned (a whole group
    without this channel), or `FRESH_AFTER_S`.
    """

    def __init__(self, interruptions: Sequence[float]) -> None:
        self._interruptions = sorted(interruptions)
        self._last: dict[int, tuple[float, int]] = {}

    def is_fresh(self, look: Look, group: int) -> bool:
        """True if the look counts anew; `group` is the number of its group."""
        if look.channel not in self._last:
            return True
        before_s, before_group = self._last[look.channel]
        if before_group == group:
            return False
        if group > before_group + 1 or look.start_s - before_s >= FRESH_AFTER_S:
            return True
        times = self._interruptions
        return bisect_right(times, look.t_s) > bisect_right(times, before_s)

    def seen(self, look: Look, group: int) -> None:
        """Remember a look once it has been weighed."""
        self._last[look.channel] = (look.t_s, group)
