"""Tests that can show nothing as things stand: they were done since anything changed and could not be judged, or what
they look at is not there.

Offered again and again, such a test would stand in the way of others; and a plan that counts on it promises too much.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import log_of
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.waiting import COMING, ENTITLEMENT, LOOK_AT_ALL, PATTERN, WAIT

DONE_BY = {
    "measure-bias": (("bias",), ("voltage", "current"), 1),
    "measure-supply": (("supply",), ("receiver",), 1),
    "noise-rise": (("feed",), ("",), 2),
    "read-levels": (("signal", "lock"), ("",), 4),
    "check-satellites": (("signal", "lock"), ("satellite",), 4),
    "check-node": (("ring",), ("node:receiver",), 1),
    "read-positions": (("ring",), ("position:",), 2),
    "time-changes": (("tune",), ("",), 20),
}
"""By which rows one sees that a test was done: kinds, how subjects begin (each of these), how many rows of each."""

ASK_RESEND = "ask-resend"
NOTHING_TO_SEND = ("submitted", "none", "rejected", "lapsed")
"""Words of the provider after which there is no activation to send again."""

ON_CHANNELS = ("listen", "play-open-channel", "check-channels", "time-changes", WAIT, ASK_RESEND)
"""Tests on channels: where the source is not offered there is none to select."""

AT_THE_RECEIVER = ("read-levels", "check-satellites", "noise-rise")
"""Tests by a readout of the receiver: from one that is silent on the ring nothing can be read."""

OPEN_CHANNEL = "play-open-channel"
LISTING = "check-listing"
POSITIONS = "read-positions"

LOOKED_ENOUGH = 0.95
"""Who has looked at so many of the expected channels has looked at all of them."""


def fruitless(known: Known, model: Model, seen: Collection[Seen]) -> frozenset[str]:
    """The names of these tests."""
    items = {one.item for one in seen}
    found = {test.name for test in model.tests if test.item not in items and _was_done(known, test.name)}
    if any(one.item == "listing" and one.state == "not-offered" for one in seen):
        found.update(ON_CHANNELS)
    if any(one.item == "node" and one.state == "silent" for one in seen):
        found.update(AT_THE_RECEIVER)
    if not any(channel.is_open for channel in known.job.lineup or ()):
        found.add(OPEN_CHANNEL)  # nobody could tell from the log which channel it was
    stopped = any(one.item == "account" and one.state in NOTHING_TO_SEND for one in seen)
    coming = any(one.item in ENTITLEMENT and one.state in COMING for one in seen)
    if stopped or coming or not known.entitlement.refused:
        found.add(ASK_RESEND)
    if not _looks_left(known, items):
        found.add(LOOK_AT_ALL)
    if not _has_order(known):
        found.add(POSITIONS)
    if _was_selected(known):
        found.add(LISTING)
    return frozenset(found)


def _was_selected(known: Known) -> bool:
    """Whether a channel was judged since the head unit has the receiver as it has now: the source is offered then."""
    log = log_of(known.job)
    return bool(len(log.ours("channel").since(log.heard_since_s).said("authorised", "refused", "no-signal")))


def _looks_left(known: Known, items: Collection[str]) -> bool:
    """Whether channels can be judged, and it is known which should play, and not all were looked at.

    Looks of before the account was confirmed, or before a resend that brought channels, tell nothing of the package:
    where only such are there, all is to do.
    """
    found = known.entitlement
    if not (found.authorised or found.refused) or found.expected_from == "seen":
        return False
    most = LOOKED_ENOUGH * (found.expected or 0)
    log = log_of(known.job)
    resent = log.resend_came_s
    if resent is None and set(PATTERN) & set(items):
        return (found.checked or 0) < most
    confirmed = log.of("account").said("confirmed").t_s
    since_s = max(float(confirmed[0]) if len(confirmed) else 0.0, 0.0 if resent is None else resent[1])
    looks = log.ours("channel").said("authorised", "refused").since(since_s)
    return len(set(looks.subject)) < most


def _has_order(known: Known) -> bool:
    """Whether an order of the ring's nodes is written down, without which positions tell nothing.

    Of a closed ring positions tell its order, for which the wanted one is needed.
    """
    ring = known.wiring.ring
    if ring is None:
        return False
    return bool(ring.wanted) or (ring.state != "closed" and bool(ring.rings or ring.chains))


def _was_done(known: Known, test: str) -> bool:
    """Whether the log holds what a test leaves behind, since the vehicle stands and is heard as it does now."""
    if test not in DONE_BY:
        return False
    kinds, begins, fewest = DONE_BY[test]
    table, log = known.job.log, log_of(known.job)
    since_s = max(log.settled_since_s, log.heard_since_s, log.era_s)
    mine = table["kind"].isin(kinds).to_numpy() & (table["t_s"].to_numpy(dtype=float) >= since_s)
    subjects = [str(one) for one in table["subject"].to_numpy(dtype=object)[np.flatnonzero(mine)]]
    return all(sum(one.startswith(begin) for one in subjects) >= fewest for begin in begins)
