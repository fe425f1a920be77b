"""Which channels are refused, told softly: a channel looked at may have been misread."""

from __future__ import annotations

import numpy as np
from scipy.special import betaln

from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import Part, log_of
from satdiag.diagnosis.seen import Seen, softly
from satdiag.job import Job

MISREAD_SHARE = 0.02
"""How often a look at a channel tells the wrong state (judgement, no source)."""

LEAST = 1e-12
TOLD_OF_ACTIVATION = ("submitted", "confirmed", "resend-requested", "resend-confirmed")


def refused_pattern(known: Known) -> Seen | None:
    """The chance of what was seen, channel by channel, if none is refused, some here and there, whole categories, or
    just what the package leaves out."""
    rows = _looks(known.job)
    state = {int(subject): value == "refused" for subject, value in zip(rows.subject, rows.value, strict=True)}
    if not state:
        return None
    outside = outside_package(known.job)
    inside = [no for channel, no in state.items() if channel not in outside]
    beyond = [no for channel, no in state.items() if channel in outside]
    chance = {
        "none": _all_play(list(state.values())),
        "scattered": _scattered(list(state.values())),
        "whole-categories": _by_category(known, state),
        "outside-package": _all_play(inside)
        * (1 - MISREAD_SHARE) ** sum(beyond)
        * MISREAD_SHARE ** beyond.count(False),
    }
    shown = rows.said("refused")
    held = {name: max(value, LEAST * max(chance.values())) for name, value in chance.items()}
    item = "refused-running" if runs_long(known.job) else "refused-pattern"
    return softly(item, held, shown.names() if len(shown) else rows.names())


def runs_long(job: Job) -> bool:
    """True if somebody complains and nothing was activated in this log: the channels came long ago, if they ever did.

    A radio that was just fitted fills in for hours; one that has been driven with does not.
    """
    told = log_of(job).of("account").value
    return job.sheet.reason == "complaint" and not any(state in TOLD_OF_ACTIVATION for state in told)


def _looks(job: Job) -> Part:
    """The last look at each channel, since refusals say something of the package: the first confirmation."""
    log = log_of(job)
    confirmed = log.of("account").said("confirmed")
    rows = log.ours("channel").last_of_each()
    return rows.since(float(confirmed.t_s[0]) if len(confirmed) else 0.0).said("refused", "authorised")


def outside_package(job: Job) -> set[int]:
    """Channels that the line-up does not put into the booked package."""
    package = job.sheet.package
    return {c.channel for c in job.lineup or () if package and c.packages and not c.packages & {package, "open"}}


def _all_play(refused: list[bool]) -> float:
    return float(MISREAD_SHARE ** sum(refused) * (1 - MISREAD_SHARE) ** refused.count(False))


def _scattered(refused: list[bool]) -> float:
    """Any share may be refused, all shares alike."""
    return float(np.exp(betaln(sum(refused) + 1, refused.count(False) + 1)))


def all_play_by_scattered(refused: list[bool]) -> float:
    """The odds of what was seen if all play and the refused ones were misread, against any share refused."""
    return _all_play(refused) / _scattered(refused)


def _by_category(known: Known, state: dict[int, bool]) -> float:
    """Each category plays or is refused as a whole, either as likely as the other; both kinds must have been seen."""
    members: dict[str, list[bool]] = {}
    for channel in known.job.lineup or ():
        if channel.category and not channel.is_open and channel.channel in state:
            members.setdefault(channel.category, []).append(state[channel.channel])
    if len(members) < 2:
        return 0.0
    play = np.array([_all_play(one) for one in members.values()])
    silent = np.array([_all_play([not no for no in one]) for one in members.values()])
    same = 0.5 ** len(play) * (play.prod() + silent.prod())
    mixed = (0.5 * (play + silent)).prod() - same
    return float(max(mixed, 0.0) / (1 - 2 * 0.5 ** len(play)))
