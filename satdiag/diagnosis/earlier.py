"""Faults that were there and are gone: the diagnosis as it stood just before something changed for the better."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from satdiag.job import Job
from satdiag.language import mark, translated

MOST_TURNS = 6
PRESENT_AT, GONE_BELOW = 0.5, 0.2


class Turn(NamedTuple):
    """An instant at which a bad state ended: which fault it speaks of, since when, and in words."""

    fault: str
    since_s: float
    t_s: float
    ended_by: str


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


def turns(job: Job) -> list[Turn]:
    """The last instants at which a bad state was followed by a good one, at most `MOST_TURNS`."""
    found = []
    for fault, kind, subject, bad, good, words in _TURNS:
        rows = job.select(kind, subject)
        for _, part in rows.groupby("subject", sort=False):
            since = None
            for t_s, value in zip(part["t_s"], part["value"], strict=True):
                if value in bad and since is None:
                    since = float(t_s)
                elif value in good and since is not None:
                    found.append(Turn(fault, since, float(t_s), translated(words)))
                    since = None
    return sorted(found, key=lambda turn: turn.t_s)[-MOST_TURNS:]


def job_before(job: Job, t_s: float) -> Job:
    """The job as it was just before an instant."""
    kept = set(job.log.loc[job.log["t_s"] < t_s, "row"].tolist())
    return replace(job, rows=tuple(row for number, row in enumerate(job.rows) if number in kept))
