"""Made-up visits as sequences of looks, with the ways in which looks lean on each other.

Simulated: they prove the error rates against our own model of a visit only, and say nothing of real ones. The model
shares no code with the test under proof: channels come in groups, each group after an exponential wait from the
moment that messages begin; slips, fades and whole-list marks are drawn apart from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from satdiag.acceptance.looks import Look


@dataclass(frozen=True)
class Ways:
    """How a visit goes. Chances are per look, unless named otherwise.

    `slip`: one look noted wrongly; `burst_slip`: per burst, every look in it noted wrongly for its first five
    seconds; `list_slip`: per whole-list mark, all of it noted as playing (or as refused, if it plays);
    `open_unmarked`: per channel, plays without an account though the line-up does not say so; `steady`: seen
    playing with this chance at every look, whatever was seen before; `fade`: per burst, what plays is noted as
    refused for some seconds; `again`: with this chance a burst goes over the channels last seen playing, one by one
    and slowly.
    """

    alive: bool
    channels: int = 30
    comes: float = 1.0
    delay_s: float = 120.0
    wait_s: float = 300.0
    group: int = 4
    visit_s: float = 3000.0
    rest_s: float = 150.0
    per_burst: int = 12
    lists: float = 0.0
    slip: float = 0.01
    burst_slip: float = 0.0
    list_slip: float = 0.0
    open_unmarked: float = 0.0
    steady: float | None = None
    fade: float = 0.0
    again: float = 0.0
    first_s: float = 30.0


def arrivals(ways: Ways, rng: Random) -> dict[int, float]:
    """When each channel comes, in seconds after the confirmation; channels of one message come together."""
    order = list(range(1, ways.channels + 1))
    rng.shuffle(order)
    found: dict[int, float] = {}
    begin_s = rng.expovariate(1.0 / ways.delay_s) if ways.delay_s else 0.0
    while order:
        message = [order.pop() for _ in range(min(len(order), rng.randint(1, 2 * ways.group - 1)))]
        came_s = begin_s + rng.expovariate(1.0 / ways.wait_s)
        comes = ways.alive and rng.random() < ways.comes
        for channel in message:
            found[channel] = 0.0 if rng.random() < ways.open_unmarked else came_s if comes else float("inf")
    return found


def visit(ways: Ways, rng: Random) -> list[Look]:
    """The looks of one visit, in order of time. The receiver listens all the time: exposure is time."""
    came_s = arrivals(ways, rng)
    looks: list[Look] = []
    t_s = rng.uniform(0.2, 1.8) * ways.first_s
    while t_s < ways.visit_s:
        if rng.random() < ways.lists:
            looks += _whole_list(ways, rng, came_s, t_s)
        else:
            last = {look.channel: look.passed for look in looks}
            playing = [channel for channel, passed in last.items() if passed]
            if playing and rng.random() < ways.again:
                burst = _again(ways, rng, came_s, t_s, playing)
            else:
                burst = _burst(ways, rng, came_s, t_s)
            looks += burst
            t_s = burst[-1].t_s
        t_s += rng.uniform(0.2, 1.8) * ways.rest_s
    return looks


def _seen(ways: Ways, rng: Random, plays: bool) -> bool:
    if ways.steady is not None:
        return rng.random() < ways.steady
    return plays != (rng.random() < ways.slip)


def _burst(ways: Ways, rng: Random, came_s: dict[int, float], t_s: float) -> list[Look]:
    wrong = rng.random() < ways.burst_slip
    faded_until_s = t_s + rng.expovariate(1.0 / 8.0) if rng.random() < ways.fade else 0.0
    begin_s, found = t_s, []
    for channel in rng.sample(sorted(came_s), min(ways.per_burst, ways.channels)):
        passed = _seen(ways, rng, came_s[channel] <= t_s)
        if wrong and t_s < begin_s + 5.0:
            passed = not passed
        if t_s < faded_until_s:
            passed = False
        found.append(Look(t_s, channel, passed, t_s, t_s))
        t_s += rng.uniform(1.5, 4.5)
    return found


def _again(ways: Ways, rng: Random, came_s: dict[int, float], t_s: float, playing: list[int]) -> list[Look]:
    """Slowly, one by one, over those that played: what somebody does who wants to hear that it works."""
    found = []
    for channel in playing[: ways.per_burst]:
        found.append(Look(t_s, channel, _seen(ways, rng, came_s[channel] <= t_s), t_s, t_s))
        t_s += rng.uniform(6.0, 12.0)
    return found


def _whole_list(ways: Ways, rng: Random, came_s: dict[int, float], t_s: float) -> list[Look]:
    """Every channel marked at one instant, over the minute before it."""
    wrong = rng.random() < ways.list_slip
    plays = {channel: _seen(ways, rng, at_s <= t_s) for channel, at_s in came_s.items()}
    if wrong:
        most = sum(plays.values()) * 2 > len(plays)
        plays = dict.fromkeys(plays, not most)
    return [Look(t_s, channel, passed, t_s, t_s - 60.0) for channel, passed in plays.items()]
