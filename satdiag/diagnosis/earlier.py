"""Faults that were there and are gone: the diagnosis as it stood just before something changed for the better."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from satdiag.diagnosis.log import NO_CURRENT, TOO_MUCH, Log, log_of
from satdiag.job import Job
from satdiag.language import mark, translated

MOST_TURNS = 6
PRESENT_AT, GONE_BELOW = 0.5, 0.2
LIKELY_AT = 0.7
"""A turn that may be the end of several faults must leave less doubt which of them it was (judgement, tried on
made-up worlds)."""


class Turn(NamedTuple):
    """An instant at which a bad state ended: which fault it speaks of, since when, and in words.

    `first_s`: when the first part of it ended, where it was read in several: the log until then knows of no cure.
    `least`: how probable the fault must have been then to be told.
    """

    fault: str
    since_s: float
    first_s: float
    t_s: float
    ended_by: str
    least: float = PRESENT_AT


Span = tuple[float, float]

_TURNS: tuple[tuple[str, str, str | None, tuple[str, ...], tuple[str, ...], str], ...] = (
    ("ring-broken", "ring", "bus", ("open",), ("closed",), mark("the ring was reported closed")),
    ("node-unpowered", "ring", "node:receiver", ("absent",), ("present",), mark("the receiver answered again")),
    ("not-configured", "configuration", None, ("differs",), ("matches",), mark("the stored equipment was put right")),
    ("id-mismatch", "identity", None, ("mismatch",), ("match",), mark("the identifiers were made to agree")),
    ("not-activated", "account", None, ("none", "rejected"), ("confirmed",), mark("the account was confirmed")),
    ("account-lapsed", "account", None, ("lapsed",), ("confirmed",), mark("the account was confirmed again")),
    (
        "indoors",
        "place",
        None,
        ("indoors", "underground"),
        ("open-sky", "street"),
        mark("the vehicle was moved outdoors"),
    ),
)


_FED = mark("the antenna drew its usual current again")
_FEEDS = {NO_CURRENT: ("antenna-open", "feed-absent", "feed-swapped"), TOO_MUCH: ("antenna-short",)}
"""What may lie behind a current that came right: none flowed, or that of a short."""

_RESENT = mark("channels came after the activation had been asked for again")

_OFFERED = mark("the head unit offered the satellite source")
_RECEIVED = mark("channels were received again")
_SIGNS = {
    _OFFERED: ("ring-broken", "ring-order", "node-unpowered", "not-configured"),
    _RECEIVED: (
        "antenna-open",
        "antenna-short",
        "antenna-weak",
        "feed-absent",
        "feed-lossy",
        "indoors",
        "interference",
        "obstructed",
        "receiver-defective",
        "supply-dropout",
    ),
}
"""What was missing and came after all: a sign that something ended, and not of which of these it was."""


def turns(job: Job) -> list[Turn]:
    """The last instants at which a bad state was followed by a good one, at most `MOST_TURNS` of them."""
    signs = [(fault, words, spans) for words, spans in _signs(job) for fault in _SIGNS[words]]
    found = []
    for fault, kind, subject, bad, good, words in _TURNS:
        beside = _of(signs, fault)
        own = _as_one(_spans(job, kind, subject, bad, good))
        found += [_beside(Turn(fault, *times, translated(words)), beside) for times in own]
    found += [_beside(turn, _of(signs, turn.fault)) for turn in (*_fed(log_of(job)), *_resent(log_of(job)))]
    for fault, words, spans in signs:
        told = [(one.since_s, one.t_s) for one in found if one.fault == fault]
        found += [
            Turn(fault, begin_s, end_s, end_s, translated(words), LIKELY_AT)
            for begin_s, end_s in spans
            if not any(_overlap((begin_s, end_s), one) for one in told)
        ]
    last = sorted({turn.t_s for turn in found})[-MOST_TURNS:]
    return sorted((turn for turn in found if turn.t_s in last), key=lambda turn: turn.t_s)


def _signs(job: Job) -> Iterator[tuple[str, list[Span]]]:
    """The signs of an end that the log holds, each with when it was bad."""
    yield _OFFERED, _spans(job, "listing", "source", ("no",), ("yes",))
    log = log_of(job)
    if np.isfinite(log.received_again_s):
        looks = log.ours("channel")
        lost, heard = looks.said("no-signal").t_s, looks.said("authorised", "refused").t_s
        lost = lost[lost < log.received_again_s]
        before = heard[heard < lost[-1]]
        yield _RECEIVED, [(float(lost[lost > before[-1]][0] if len(before) else lost[0]), log.received_again_s)]


def _of(signs: Iterable[tuple[str, str, list[Span]]], fault: str) -> list[Span]:
    """When signs say that a fault may have been there."""
    return [one for name, _, spans in signs if name == fault for one in spans]


def _fed(log: Log) -> Iterator[Turn]:
    """An antenna that drew no current, or too much, draws its usual one: a joint was reseated, or a lead cleared."""
    for spell in log.feed_spells:
        for fault in _FEEDS[spell.word]:
            yield Turn(fault, spell.since_s, spell.end_s, spell.end_s, translated(_FED))


def _resent(log: Log) -> Iterator[Turn]:
    """Channels that were refused play since the activation was sent again: what had kept it from being heard is over.

    It ends with the first of them; the log until the resend knows of no cure.
    """
    if log.resend_came_s is not None:
        since_s, asked_s, came_s = log.resend_came_s
        yield Turn("entitlement-not-received", since_s, asked_s, came_s, translated(_RESENT))


def _beside(turn: Turn, signs: Iterable[Span]) -> Turn:
    """A turn whose end another sign may have told before its own reading did."""
    ends = [sign[1] for sign in signs if _overlap(sign, (turn.since_s, turn.t_s))]
    return turn._replace(first_s=min([turn.first_s, *ends]))


def _overlap(one: Span, other: Span) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _spans(job: Job, kind: str, subject: str | None, bad: Container[str], good: Container[str]) -> list[Span]:
    """From a first bad reading to the good one after it, of each subject by itself."""
    return [
        span
        for _, part in job.select(kind, subject).groupby("subject", sort=False)
        for span in _bad_spans(part["t_s"].tolist(), part["value"].tolist(), bad, good)
    ]


def _bad_spans(
    t_s: Sequence[float], values: Sequence[str], bad: Container[str], good: Container[str]
) -> Iterator[Span]:
    """From each first bad reading of one subject to the good one that ends it."""
    since = None
    for at_s, value in zip(t_s, values, strict=True):
        if value in bad and since is None:
            since = at_s
        elif value in good and since is not None:
            yield since, at_s
            since = None


def _as_one(parts: Iterable[Span]) -> list[tuple[float, float, float]]:
    """Spans of several subjects that overlap are one trouble: its begin, the first end and the last of its parts."""
    joined: list[tuple[float, float, float]] = []
    for begin_s, end_s in sorted(parts):
        if joined and begin_s < joined[-1][2]:
            since_s, first_s, last_s = joined[-1]
            joined[-1] = (since_s, min(first_s, end_s), max(last_s, end_s))
        else:
            joined.append((begin_s, end_s, end_s))
    return joined


def job_before(job: Job, t_s: float) -> Job:
    """The job as it was just before an instant."""
    log = job.log
    return job.only(np.sort(log["row"].to_numpy()[(log["t_s"] < t_s).to_numpy()]))
