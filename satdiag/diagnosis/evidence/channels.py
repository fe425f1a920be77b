"""Evidence from the channels: sound, authorisations, which are refused, how long changes take."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import binom

from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.evidence.last import AT_TIMES, ONCE, answer_is_out, spells
from satdiag.diagnosis.evidence.refusals import (
    MISREAD_SHARE,
    all_play_by_scattered,
    outside_package,
    refused_pattern,
    runs_long,
)
from satdiag.diagnosis.log import Log, log_of
from satdiag.diagnosis.seen import MOST_REPEATS, Seen, softly
from satdiag.findings import ChannelFinding

# Judgement, no source.
STILL_COMING = 0.3
NOTHING_AFTER_S = 1200.0  # four times the usual wait for the first channels: common practice, no source
CHECKED_ENOUGH = 0.8
SLIGHTEST = 0.01
FEWEST_LOOKS, FEWEST_MISSING = 3, 2
LAST_LOOKS_S = 300.0
SOME_ERRORS, MANY_ERRORS = 2.0, 15.0  # percent of blocks; sound breaks up beyond a few


def _audio(known: Known) -> Seen | None:
    """Sound counts only once a channel was seen authorised: a refused channel is silent by right."""
    log = log_of(known.job)
    allowed = log.of("channel").said("authorised").t_s
    since = log.heard_since_s
    rows = log.of("audio").since(max(since, float(allowed.min()) if len(allowed) else np.inf))
    if not len(rows):
        heard = log.of("tune").said("audio").since(since)
        return Seen("audio", "playing", heard.names()) if len(heard) else None
    alike = rows.trailing()
    if rows.value[-1] == "playing" and (ended := spells(log, rows, "muted")[0]):
        return Seen("audio", AT_TIMES if ended > 1 else ONCE, rows.said("muted").names())
    return Seen("audio", str(rows.value[-1]), alike.names(), min(len(alike), MOST_REPEATS))


def _unjudgeable(known: Known) -> Seen | None:
    """By the last looks where the vehicle stands: what was seen long before may be over."""
    log = log_of(known.job)
    rows = log.ours("channel")
    now = rows.since(log.settled_since_s)
    rows = now if len(now) >= FEWEST_LOOKS else rows
    if len(rows) < FEWEST_LOOKS:
        return None
    late = rows.since(float(rows.t_s[-1]) - LAST_LOOKS_S)
    rows = late if len(late) >= FEWEST_LOOKS else rows.where(slice(len(rows) - FEWEST_LOOKS, None))
    many = float((rows.value == "no-signal").mean()) > 0.5
    return Seen("unjudgeable", "many" if many else "few", rows.names())


def _open_channel(known: Known) -> Seen | None:
    log = log_of(known.job)
    opened = {str(channel.channel) for channel in known.job.lineup or () if channel.is_open}
    rows = log.ours("channel").since(log.heard_since_s).about(lambda subject: subject in opened)
    if not len(rows):
        return None
    return Seen("open-channel", "plays" if rows.value[-1] == "authorised" else "silent", rows.names())


def _listed_channels(known: Known) -> Seen | None:
    """Whether channels of the line-up are not in the list at all."""
    log = log_of(known.job)
    rows = log.ours("channel").since(log.heard_since_s).last_of_each()
    if len(rows) < FEWEST_LOOKS:
        return None
    gone = rows.said("missing")
    if len(gone) < FEWEST_MISSING:
        return Seen("listed-channels", "all", rows.names())
    return Seen("listed-channels", "some-missing", gone.names())


def _errors(known: Known) -> Seen | None:
    """Block errors where the vehicle stands now, by the middle reading."""
    log = log_of(known.job)
    rows = log.ours("errors").since(log.settled_since_s)
    if not len(rows):
        return None
    middle = float(np.median(rows.number))
    word = "few" if middle < SOME_ERRORS else "some" if middle < MANY_ERRORS else "many"
    return Seen("errors", word, rows.names())


def _entitlement(known: Known) -> Seen | None:
    """How far the authorisations have come; a few refused ones among many that play may be misread ones."""
    found = known.entitlement
    if (not found.authorised and not found.refused) or answer_is_out(known.job):
        return None
    item = "entitlement-running" if runs_long(known.job) else "entitlement"
    opened = {channel.channel for channel in known.job.lineup or () if channel.is_open}
    aside = opened | set(found.beyond_package) | outside_package(known.job)
    expected = [c for c in found.channels if c.channel not in aside and c.reason != "not-listed"]
    waiting = [channel for channel in expected if channel.state == "refused"]
    enough = (found.checked or 0) >= CHECKED_ENOUGH * (found.expected or 1)
    if found.complete:
        return Seen(item, "complete")
    if not waiting:
        return Seen(item, "complete") if enough else None
    state = _short_of(known, expected, waiting)
    misread = all_play_by_scattered([c.state == "refused" for c in expected if c.state in ("refused", "authorised")])
    if misread < SLIGHTEST or state == "lost":
        return Seen(item, state)
    if not enough:
        return Seen(item, state) if misread < 1 else None
    return softly(item, {state: 1.0, "complete": misread})


def _short_of(known: Known, expected: Sequence[ChannelFinding], waiting: Sequence[ChannelFinding]) -> str:
    """The state where expected channels are refused."""
    found, log = known.entitlement, log_of(known.job)
    if _only_strays(log, {str(channel.channel) for channel in expected}):
        states = log.of("account").value
        stopped = len(states) > 0 and states[-1] in ("none", "rejected", "lapsed")
        dead = (found.p_account_dead or 0.0) >= 0.5 and not stopped  # what was done with the account is its own item
        return "nothing" if dead or (found.exposure_s or 0.0) >= NOTHING_AFTER_S else "early"
    lost = sum(channel.reason == "lost" for channel in expected)
    if lost >= 3 or (lost and lost >= 0.2 * (lost + (found.authorised or 0))):
        return "lost"
    if not _arrival_seen(log):
        if (found.exposure_s or 0.0) >= NOTHING_AFTER_S:
            return "stalled"
        if found.exposure_origin == "first-row":
            return "early"
    chances = [channel.p_will_come for channel in waiting if channel.p_will_come is not None]
    coming = float(np.mean(chances)) if chances else 0.0
    return "growing" if coming >= STILL_COMING else "stalled"


def _arrival_seen(log: Log) -> bool:
    """True if some channel was seen refused first and authorised later: the number did grow under our eyes."""
    rows = log.ours("channel")
    first: dict[str, float] = {}
    last: dict[str, tuple[float, str]] = {}
    for t_s, subject, value in zip(rows.t_s.tolist(), rows.subject, rows.value, strict=True):
        if value == "refused":
            first.setdefault(subject, t_s)
        last[subject] = (t_s, value)
    return any(value == "authorised" and t_s > first.get(one, np.inf) for one, (t_s, value) in last.items())


def _only_strays(log: Log, expected: set[str]) -> bool:
    """True if 'authorised' was seen so rarely among the expected channels that misreading explains it."""
    rows = log.ours("channel").about(lambda subject: subject in expected).said("authorised", "refused")
    seen = int((rows.value == "authorised").sum())
    return seen == 0 or (len(rows) >= 10 and seen <= binom.ppf(0.95, len(rows), MISREAD_SHARE))


def _change_time(known: Known) -> Seen | None:
    """Slow or not, as far as the times tell: the chance of slow changes rests on even odds, so it is a likelihood."""
    p_slow = known.tuning.p_slow
    if p_slow is None:
        return None
    top = max(p_slow, 1 - p_slow)
    soft = {"normal": (1 - p_slow) / top, "slow": p_slow / top}
    return Seen("change-time", "slow" if p_slow > 0.5 else "normal", log_of(known.job).of("tune").names(), soft=soft)


LOOKS = (
    _audio,
    _unjudgeable,
    _open_channel,
    _listed_channels,
    _errors,
    _entitlement,
    refused_pattern,
    _change_time,
)
