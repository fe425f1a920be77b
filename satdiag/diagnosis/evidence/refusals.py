"""Which channels are refused, told softly: a channel looked at may have been misread."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.special import betaln

from satdiag.chances import most_hits
from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import Log, Part, log_of
from satdiag.diagnosis.seen import MOST_REPEATS, Seen, softly
from satdiag.job import Job
from satdiag.language import tell_many

MISREAD_SHARE = 0.02
"""How often a look at a channel tells the wrong state (judgement, no source)."""

LOOKS_INSIDE = 0.3
"""How many people look only at channels that the package holds (judgement, no source)."""

FEWEST_COMING = 2
"""One channel that came on may be a slip of the pen."""

LEAST = 1e-12
_LARGEST = 700.0
"""The largest power of e that is still a number."""

TOLD_OF_ACTIVATION = ("submitted", "confirmed", "resend-requested", "resend-confirmed")


def refused_pattern(known: Known) -> Seen | None:
    """The chance of what was seen, channel by channel, if none is refused, some here and there, whole categories, or
    just what the package leaves out.

    Where channels are still coming, those that the package holds are refused here and there as well.
    """
    rows = _looks(known.job)
    opened = {channel.channel for channel in known.job.lineup or () if channel.is_open}
    looks = zip((int(subject) for subject in rows.subject), rows.value, strict=True)
    state = {channel: value == "refused" for channel, value in looks if channel not in opened}
    if not state:
        return None
    outside = outside_package(known.job)
    inside = [no for channel, no in state.items() if channel not in outside]
    beyond = [no for channel, no in state.items() if channel in outside]
    long = runs_long(known.job)
    ways = (_all_play, _scattered) if not long and _some_play(inside) else (_all_play,)
    chance = {
        "none": _all_play(list(state.values())),
        "scattered": _scattered(list(state.values())),
        "whole-categories": _mean([_by_category(known, state, held) for held in ways]),
        "outside-package": _mean([held(inside) for held in ways]) + _left_out(beyond, len(state)),
    }
    shown, top = rows.said("refused"), max(chance.values())
    held = {name: max(math.exp(value - top), LEAST) for name, value in chance.items()}
    item = "refused-running" if long else "refused-pattern"
    seen = softly(item, held, shown.names() if len(shown) else rows.names())
    return replace(seen, repeats=min(len(state), MOST_REPEATS), but=_too_early(known.job))  # no one look can make it


def runs_long(job: Job) -> bool:
    """True if somebody complains and nothing was activated in this log: the channels came long ago, if they ever did.

    A radio that was just fitted fills in for hours; one that has been driven with does not. Where channels are seen
    to come on one after the other, it fills in after all, whoever activated it.
    """
    log = log_of(job)
    told = any(state in TOLD_OF_ACTIVATION for state in log.of("account").value)
    return job.sheet.reason == "complaint" and not told and not _come_on(log)


def _come_on(log: Log) -> bool:
    """Whether more channels came on than misread looks explain."""
    came, again = arrivals(log)
    return came >= FEWEST_COMING and came > most_hits(0.95, again, MISREAD_SHARE)


def arrivals(log: Log) -> tuple[int, int]:
    """Channels seen refused first and playing at last: how many, of how many that were looked at again."""
    rows = log.ours("channel")
    first: dict[str, float] = {}
    last: dict[str, tuple[float, str]] = {}
    looks: dict[str, int] = {}
    for t_s, subject, value in zip(rows.t_s.tolist(), rows.subject, rows.value, strict=True):
        if value == "refused":
            first.setdefault(subject, t_s)
        last[subject] = (t_s, value)
        looks[subject] = looks.get(subject, 0) + 1
    came = sum(value == "authorised" and t_s > first.get(one, np.inf) for one, (t_s, value) in last.items())
    return came, sum(number > 1 for number in looks.values())


def _looks(job: Job) -> Part:
    """The last look at each channel, since refusals say something of the package."""
    return _last_looks(job).since(_confirmed_s(job))


def _last_looks(job: Job) -> Part:
    return log_of(job).ours("channel").last_of_each().said("refused", "authorised")


def _confirmed_s(job: Job) -> float:
    """When the account was first confirmed; 0 if it never was."""
    confirmed = log_of(job).of("account").said("confirmed")
    return float(confirmed.t_s[0]) if len(confirmed) else 0.0


def _too_early(job: Job) -> str:
    """How many channels were looked at before the confirmation only, which does not count; '' of none."""
    early = int((_last_looks(job).t_s < _confirmed_s(job)).sum())
    if not early:
        return ""
    return tell_many(
        "{n} channel looked at only before the confirmation does not count",
        "{n} channels looked at only before the confirmation do not count",
        early,
    )


def outside_package(job: Job) -> set[int]:
    """Channels that the line-up does not put into the booked package."""
    package = job.sheet.package
    return {c.channel for c in job.lineup or () if package and c.packages and not c.packages & {package, "open"}}


def _some_play(refused: list[bool]) -> bool:
    """Whether more channels play than misreading explains."""
    return refused.count(False) > most_hits(0.95, len(refused), MISREAD_SHARE)


def _left_out(refused: list[bool], looked_at: int) -> float:
    """What was seen of the channels that the package leaves out; if of none, the chance that no look met one.

    Any share of the channels may be left out, all shares alike (Laplace's rule of succession); some people look only
    at what the package holds.
    """
    if refused:
        return _all_play([not no for no in refused])
    return math.log(LOOKS_INSIDE + (1 - LOOKS_INSIDE) / (1 + looked_at))


# Chances are carried as logarithms: those of a few hundred channels are smaller than any number.


def _all_play(refused: list[bool]) -> float:
    return sum(refused) * math.log(MISREAD_SHARE) + refused.count(False) * math.log1p(-MISREAD_SHARE)


def _scattered(refused: list[bool]) -> float:
    """Any share may be refused, all shares alike."""
    return float(betaln(sum(refused) + 1, refused.count(False) + 1))


def _mean(logs: list[float]) -> float:
    return float(np.logaddexp.reduce(logs)) - math.log(len(logs))


def all_play_by_scattered(refused: list[bool]) -> float:
    """The odds of what was seen if all play and the refused ones were misread, against any share refused."""
    return math.exp(min(_all_play(refused) - _scattered(refused), _LARGEST))


def _by_category(known: Known, state: dict[int, bool], held: Callable[[list[bool]], float]) -> float:
    """Each category is held or refused as a whole, either as likely as the other; both kinds must have been seen.

    `held`: the chance of what was seen of a category that the package holds.
    """
    members: dict[str, list[bool]] = {}
    rest = dict(state)  # of no category: they tell nothing here, and must not weigh either
    for channel in known.job.lineup or ():
        if channel.category and channel.channel in state:
            members.setdefault(channel.category, []).append(state[channel.channel])
            rest.pop(channel.channel, None)
    if len(members) < 2:
        return -math.inf
    play = np.array([held(one) for one in members.values()])
    silent = np.array([_all_play([not no for no in one]) for one in members.values()])
    half = math.log(0.5)
    same = len(play) * half + float(np.logaddexp(play.sum(), silent.sum()))
    either = float((half + np.logaddexp(play, silent)).sum())
    if same >= either:
        return -math.inf
    mixed = either + math.log1p(-math.exp(same - either))
    return mixed - math.log1p(-2 * 0.5 ** len(play)) + _scattered(list(rest.values()))
