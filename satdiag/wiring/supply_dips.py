"""Dips and over-voltage in the supply's rows: when, how deep, for how long, and whether it looks like a start."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import SupplyEvent, instant_text
from satdiag.findings.supply import Shape
from satdiag.job import Job
from satdiag.wiring.supply_codes import DIP_V, OVER_V
from satdiag.wiring.supply_log import SupplyLog

DENSE_S = 1.0
"""Between two readings farther apart the supply may have been sound again unseen (judgement, no source)."""

CHARGING_V = 13.2
"""Above it an engine or a charger feeds the battery: at rest a full one reads 12.6 V to 12.8 V (judgement)."""

SOON_S = 60.0
"""Charging that follows a dip within this time followed from it (judgement, no source)."""

CRANKING_S = (0.5, 20.1)
"""The plateau of the older starter pulse lasts 0.5 s to 20 s, and 0.1 s passes to its end (test-source manual)."""


@dataclass(frozen=True)
class Event:
    """A dip or an over-voltage in seconds since the first row. See `SupplyEvent`; `start_s` None: not known."""

    start_s: float | None
    end_s: float
    at_least_s: float
    at_most_s: float | None
    extreme_v: float
    before_v: float | None
    seen_in: Literal["readings", "minimum", "both"]
    shape: Shape | None = None

    def finding(self, job: Job, restarts: int) -> SupplyEvent:
        """The event as it stands in the findings."""
        return SupplyEvent(
            from_=None if self.start_s is None else instant_text(job.instant(self.start_s)),
            to=instant_text(job.instant(self.end_s)) or "",
            at_least_s=self.at_least_s,
            at_most_s=self.at_most_s,
            extreme_v=self.extreme_v,
            depth_v=None if self.before_v is None else abs(self.before_v - self.extreme_v),
            seen_in=self.seen_in,
            shape=self.shape,
            restarts=restarts,
        )


def dips(log: SupplyLog) -> list[Event]:
    """Stretches below `DIP_V`, in order of time: from the readings, and from lowest values with none beside them.

    A lowest value that covers a dip of the readings makes that one deeper, and is no dip of its own.
    """
    found = _runs(log, log.volts < DIP_V, lowest=True)
    starts_s, ends_s = np.array([(event.start_s, event.end_s) for event in found], dtype=float).reshape(-1, 2).T
    alone = []
    for number in np.flatnonzero(log.low_v < DIP_V):
        start_s, end_s, volts = (float(part[number]) for part in (log.low_start_s, log.low_t_s, log.low_v))
        first = int(np.searchsorted(ends_s, start_s, side="left"))  # an unknown start (NaN) lies behind everything
        last = int(np.searchsorted(starts_s, end_s, side="right"))
        if first < last:
            place = min(range(first, last), key=lambda one: found[one].extreme_v)
            deepest = min(found[place].extreme_v, volts)
            found[place] = replace(found[place], extreme_v=deepest, seen_in="both")
        else:
            alone.append(_lowest(log, start_s, end_s, volts))
    return sorted([*found, *alone], key=lambda event: event.end_s)


def over_voltages(log: SupplyLog) -> list[Event]:
    """Stretches above `OVER_V`, in order of time."""
    return _runs(log, log.volts > OVER_V, lowest=False)


def _runs(log: SupplyLog, beyond: NDArray[np.bool_], lowest: bool) -> list[Event]:
    """Runs of neighbouring readings beyond a limit within one visit."""
    places = np.flatnonzero(beyond)
    if not len(places):
        return []
    cut = (np.diff(places) > 1) | (np.diff(log.visit[places]) != 0)
    return [_run(log, int(run[0]), int(run[-1]), lowest) for run in np.split(places, np.flatnonzero(cut) + 1)]


def _run(log: SupplyLog, first: int, last: int, lowest: bool) -> Event:
    t_s, part = log.t_s, log.volts[first : last + 1]
    before = first - 1 if first > 0 and log.visit[first - 1] == log.visit[first] else None
    after = last + 1 if last + 1 < len(t_s) and log.visit[last + 1] == log.visit[last] else None
    steps = np.diff(t_s[first : last + 1])
    event = Event(
        start_s=float(t_s[first]),
        end_s=float(t_s[last]),
        at_least_s=float(steps[steps <= DENSE_S].sum()),
        at_most_s=float(t_s[after] - t_s[before]) if before is not None and after is not None else None,
        extreme_v=float(part.min() if lowest else part.max()),
        before_v=None if before is None else float(log.volts[before]),
        seen_in="readings",
    )
    return replace(event, shape=_shape(log, event, last)) if lowest else event


def _shape(log: SupplyLog, event: Event, last: int) -> Shape | None:
    """A start, a contact that opened, a low that lasts; None where the readings leave it open."""
    if event.at_least_s > CRANKING_S[1]:
        return "lasting"
    if event.at_most_s is not None and event.at_most_s < CRANKING_S[0]:
        return "contact"
    end = int(np.searchsorted(log.t_s, event.end_s + SOON_S, side="right"))
    then = log.volts[last + 1 : end]
    then = then[then >= DIP_V]
    charges = len(then) > 0 and float(np.median(then)) >= CHARGING_V
    return "cranking" if charges and event.before_v is not None and event.before_v < CHARGING_V else None


def _lowest(log: SupplyLog, start_s: float, end_s: float, volts: float) -> Event:
    """A lowest value as a dip of its own: somewhere in the time that it covers."""
    known = not np.isnan(start_s)
    before = int(np.searchsorted(log.t_s, start_s if known else end_s, side="right")) - 1
    near = before >= 0 and any(visit.start_s <= log.t_s[before] <= end_s <= visit.end_s for visit in log.job.visits)
    return Event(
        start_s=start_s if known else None,
        end_s=end_s,
        at_least_s=0.0,
        at_most_s=end_s - start_s if known else None,
        extreme_v=volts,
        before_v=float(log.volts[before]) if near else None,
        seen_in="minimum",
    )
