"""Evidence from the channels: sound, authorisations, which are refused, how long changes take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from satdiag.chances import at_least, most_hits
from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.evidence.last import AT_TIMES, ONCE, answer_is_out, heard_s, spells
from satdiag.diagnosis.evidence.refusals import (
    MISREAD_SHARE,
    all_play_by_scattered,
    arrivals,
    outside_package,
    refused_pattern,
    runs_long,
)
from satdiag.diagnosis.log import Log, log_of
from satdiag.diagnosis.seen import MOST_REPEATS, Seen, softly
from satdiag.diagnosis.space import Flags, Floats
from satdiag.findings import ChannelFinding

# Judgement, no source.
STILL_COMING = 0.3
NOTHING_AFTER_S = 1200.0  # four times the usual wait for the first channels: common practice, no source
FIRST_BY_HALF_S, SILENCE_SHAPE = NOTHING_AFTER_S / 4, 2.0
"""Half of all receivers that get their channels have the first after so much listening; log-logistic beyond."""

LONGEST_PAUSE_S = 3600.0
"""Two looks further apart do not tell that the receiver was on all the time between them."""

CHECKED_ENOUGH = 0.8
SLIGHTEST = 0.01
FEWEST_LOOKS, FEWEST_MISSING = 3, 2
ONE_LOOK_S = 60.0
FEWEST_LOST, LOST_SHARE = 3, 0.08  # fewer may be slips of the pen
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
    if rows.value[-1] == "playing" and (ended := spells(log, rows, "muted", heard_s(log))[0]):
        return Seen("audio", AT_TIMES if ended > 1 else ONCE, rows.said("muted").names())
    return Seen("audio", str(rows.value[-1]), alike.names(), min(len(alike), MOST_REPEATS))


def _unjudgeable(known: Known) -> Seen | None:
    """Whether channels end without a signal where the vehicle stands: never, once for a time, at times, or now.

    Channels are looked at more often than levels, so they tell best that reception comes and goes.
    """
    log = log_of(known.job)
    rows = log.ours("channel").since(log.feed_mended_s)
    rows = rows.where(log.with_ours(rows.t_s))
    now = rows.since(log.settled_since_s)
    rows = now if len(now) >= FEWEST_LOOKS else rows
    rows = rows.said("no-signal", "authorised", "refused")
    if len(rows) < FEWEST_LOOKS:
        return None
    lost = rows.value == "no-signal"
    named = rows.where(lost) if lost.any() else rows
    minutes = len(np.unique(named.t_s // ONE_LOOK_S))
    return Seen("unjudgeable", _how_lost(rows.t_s, lost), named.names(), min(minutes, MOST_REPEATS))


def _how_lost(t_s: Floats, lost: Flags) -> str:
    """Looks of one minute count as one, by most of them."""
    minutes = t_s // ONE_LOOK_S
    bad = [float(lost[minutes == one].mean()) > 0.5 for one in np.unique(minutes)]
    ended = sum(was and not now for was, now in pairwise(bad))
    if bad[-1]:
        return AT_TIMES if ended else "many"
    if ended:
        return ONCE if ended == 1 else AT_TIMES
    scattered = lost.sum() >= FEWEST_LOST and lost.mean() >= LOST_SHARE
    return AT_TIMES if scattered else "few"


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
        return Seen("listed-channels", "all", rows.names(), min(len(rows), MOST_REPEATS))
    return Seen("listed-channels", "some-missing", gone.names(), min(len(gone), MOST_REPEATS))


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
    slips = misread >= SLIGHTEST and state != "lost"
    if slips and not enough and misread >= 1:
        return None
    all_play = {"complete": misread} if slips and enough else {}
    if state in ("early", "nothing"):
        read = _silence(known)
        seen = softly(item, read | {word: max(read[word], p) for word, p in all_play.items()})
        return seen if misread >= 1 else replace(seen, state=state)
    grown = _grown_by_slips(known, expected) if state == "growing" and (enough or not slips) else {}
    read = {state: 1.0, **grown, **all_play}
    return softly(item, read) if len(read) > 1 else Seen(item, state)


def _short_of(known: Known, expected: Sequence[ChannelFinding], waiting: Sequence[ChannelFinding]) -> str:
    """The state where expected channels are refused."""
    found, log = known.entitlement, log_of(known.job)
    if _only_strays(log, {str(channel.channel) for channel in expected}):
        return _without_any(known)
    lost = sum(channel.reason == "lost" for channel in expected)
    if lost >= 3 or (lost and lost >= 0.2 * (lost + (found.authorised or 0))):
        return "lost"
    if not arrivals(log)[0]:
        if (found.exposure_s or 0.0) >= NOTHING_AFTER_S:
            return "stalled"
        if found.exposure_origin == "first-row":
            return "early"
    chances = [channel.p_will_come for channel in waiting if channel.p_will_come is not None]
    coming = float(np.mean(chances)) if chances else 0.0
    return "growing" if coming >= STILL_COMING else "stalled"


def _without_any(known: Known) -> str:
    """The state where no expected channel plays."""
    found = known.entitlement
    states = log_of(known.job).of("account").value
    stopped = len(states) > 0 and states[-1] in ("none", "rejected", "lapsed")
    dead = (found.p_account_dead or 0.0) >= 0.5 and not stopped  # what was done with the account is its own item
    return "nothing" if dead or (found.exposure_s or 0.0) >= NOTHING_AFTER_S else "early"


def _silence(known: Known) -> dict[str, float]:
    """Where nothing came yet: how likely so much silence is, whatever the authorisations would come to in the end.

    All that come in the end were silent at first, so that a short silence tells nothing, and no minute turns it. When
    a log ends is the choice of whoever looks, often in the middle of a visit: it must not count as what is usual.
    """
    waited = max(known.entitlement.exposure_s or 0.0, _refused_for_s(known)) / FIRST_BY_HALF_S
    still = max(1.0 / (1.0 + waited**SILENCE_SHAPE), SLIGHTEST)
    return {"nothing": 1.0, **dict.fromkeys(("early", "complete", "growing", "stalled"), still)}


def _refused_for_s(known: Known) -> float:
    """How long channels were seen refused since messages could be on the air: what is shown as refused is received.

    A confirmation that nobody asked for in this log is older than its row, so that the time before it counts as well.
    Where nothing is told of the account, the first row counts as the beginning, as on the exposure clock.
    """
    log = log_of(known.job)
    told = log.of("account")
    if len(told) and told.value[-1] != "confirmed":
        return 0.0
    asked_s = told.said("submitted").t_s
    begin_s = float(told.said("confirmed").since(float(asked_s[-1])).t_s[0]) if len(asked_s) else 0.0
    pauses_s = np.diff(log.ours("channel").said("refused").since(begin_s).t_s)
    return float(pauses_s[pauses_s <= LONGEST_PAUSE_S].sum())


def _grown_by_slips(known: Known, expected: Sequence[ChannelFinding]) -> dict[str, float]:
    """Where the number seems to grow: the chance that looks which were misread show as much, by what is true then.

    Either nothing plays and all that was read as playing is misread, or what plays did so all along and those that
    seemed to come on were misread before.
    """
    log = log_of(known.job)
    names = {str(channel.channel) for channel in expected}
    looks = log.ours("channel").about(lambda subject: subject in names).said("authorised", "refused")
    chance: dict[str, float] = {}
    came, again = arrivals(log)
    if came:
        long = (known.entitlement.exposure_s or 0.0) >= NOTHING_AFTER_S
        chance["stalled" if long else "early"] = at_least(came, again, MISREAD_SHARE)
    state = _without_any(known)
    strays = at_least(int((looks.value == "authorised").sum()), len(looks), MISREAD_SHARE)
    chance[state] = max(strays, chance.get(state, 0.0))
    return {name: value for name, value in chance.items() if value >= SLIGHTEST}


def _only_strays(log: Log, expected: set[str]) -> bool:
    """True if 'authorised' was seen so rarely among the expected channels that misreading explains it."""
    rows = log.ours("channel").about(lambda subject: subject in expected).said("authorised", "refused")
    seen = int((rows.value == "authorised").sum())
    return seen == 0 or (len(rows) >= 10 and seen <= most_hits(0.95, len(rows), MISREAD_SHARE))


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
