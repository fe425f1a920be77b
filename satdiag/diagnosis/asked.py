"""What the analysis would say if an answer came next in the log: the row written, the evidence drawn anew.

What an answer is worth on top of the evidence of now (`plan.py`) is quickly reckoned, and right as long as that
evidence stays. An answer can make earlier rows stale: those of before the source went missing, those of a receiver
that was in before, what was refused before the account was there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from satdiag.diagnosis.evidence import Known
from satdiag.diagnosis.inference import Posterior
from satdiag.diagnosis.log import log_of
from satdiag.diagnosis.model import Model
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.findings import Answer, PlanStep
from satdiag.job import Job
from satdiag.rows import Row
from satdiag.signal.estimate import estimate_signal
from satdiag.tuning.estimate import estimate_tuning
from satdiag.wiring.ring.estimate import ring_findings

NEXT_S = 60
"""How long after the last row the answer is written: soon enough that nothing else has changed."""

REDRAWN_UP_TO = 1_000_000
"""In a longer log the evidence is not drawn anew: each answer would take as long as some of the whole analysis."""

Answered = tuple[str, str]
"""An item and the state that a test shows it in."""

OPEN_CHANNEL = "open-channel"
MAKES_STALE = ("listing", OPEN_CHANNEL, "swap-receiver", "account")
"""Items after which a part of the earlier rows tells nothing any more, or something else."""

SILENT = {"no-signal": "no-signal"}
"""How a channel that does not play is written, by what the last look at a channel showed; else it is 'refused'."""

_BY_PART = ("same", "better", "worse")
_ROWS: dict[str, tuple[str, str, dict[str, str]]] = {
    "listing": ("listing", "source", {"offered": "yes", "not-offered": "no"}),
    "ring": ("ring", "bus", {"closed": "closed", "open": "open"}),
    "node": ("ring", "node:receiver", {"answers": "present", "silent": "absent"}),
    "other-sources": ("ring", "other-sources", {"working": "working", "lost": "lost"}),
    "configuration": ("configuration", "readback", {"matches": "matches", "differs": "differs"}),
    "audio": ("audio", "output", {state: state for state in ("playing", "broken", "muted")}),
    "identity": ("identity", "receiver-id", {state: state for state in ("match", "mismatch")}),
    "account": (
        "account",
        "service",
        {"resent": "resend-confirmed"}
        | {state: state for state in ("confirmed", "submitted", "none", "rejected", "lapsed")},
    ),
    **{f"swap-{part}": ("swap", part, {s: s for s in _BY_PART}) for part in ("antenna", "lead", "receiver", "place")},
}
"""The answers that are one row of the log. Those that are readings of several rows have no one way to be written."""


@dataclass(frozen=True, eq=False)
class Asked:
    """A job as it is known, and how evidence is weighed."""

    known: Known
    weigh: Callable[[Known], Posterior]
    _told: dict[tuple[Answered, ...], Posterior | None] = field(default_factory=dict)

    def told(self, answers: Sequence[Answered]) -> Posterior | None:
        """What is believed with these answers as the next rows; None where one of them is not a single row."""
        key = tuple(answers)
        if key not in self._told:
            known: Known | None = self.known
            for answer in key:
                known = None if known is None else known_after(known, answer)
            self._told[key] = None if known is None else self.weigh(known)
        return self._told[key]


def known_after(known: Known, answer: Answered) -> Known | None:
    """What is known with an answer as the next row; None where it is not a single row.

    Only those findings are made anew that the row can move.
    """
    said = _said(known, answer)
    last = known.job.instant(known.job.end_s)
    if said is None or last is None:
        return None
    kind, subject, value = said
    at = np.datetime_as_string(last + np.timedelta64(NEXT_S, "s"), unit="us")
    job = known.job.followed_by(Row(f"{at}Z", kind, subject, value))
    found = replace(known, job=job)
    if kind == "ring":
        found = replace(found, wiring=replace(known.wiring, ring=ring_findings(job)[0]))
    if kind == "swap":
        found = replace(found, signal=estimate_signal(job, known.sky, known.open_sky), tuning=estimate_tuning(job))
    if kind == "account" or (kind, subject) == ("swap", "receiver") or _is_expected(job, kind, subject):
        found = replace(found, entitlement=estimate_entitlement(job, exposure_clock(job), known.wait))
    return found


def _said(known: Known, answer: Answered) -> tuple[str, str, str] | None:
    """Kind, subject and value of the row."""
    item, state = answer
    if item == OPEN_CHANNEL:
        opened = [channel.channel for channel in known.job.lineup or () if channel.is_open]
        looks = log_of(known.job).ours("channel").value
        silent = SILENT.get(str(looks[-1]), "refused") if len(looks) else "refused"
        return ("channel", str(opened[0]), "authorised" if state == "plays" else silent) if opened else None
    if item not in _ROWS:
        return None
    kind, subject, words = _ROWS[item]
    return (kind, subject, words[state]) if state in words else None


def _is_expected(job: Job, kind: str, channel: str) -> bool:
    """Whether a channel that needs no account is one of the package, too: a look at it counts there then."""
    lines = [line for line in job.lineup or () if kind == "channel" and str(line.channel) == channel]
    return any(job.sheet.package in line.packages for line in lines)


def as_it_would_be(asked: Asked | None, model: Model, plan: Sequence[PlanStep]) -> tuple[PlanStep, ...]:
    """A plan with what would be said after each answer to its first step, and to later ones that make rows stale.

    Each step follows the likeliest answers to those before it: they are rows by then.
    """
    items = {test.name: test.item for test in model.tests}
    told: list[PlanStep] = []
    before: list[Answered] = []
    for number, step in enumerate(plan):
        item = items[step.test]
        if asked is not None and (number == 0 or item in MAKES_STALE):
            answers = tuple(_answered(asked, [*before, (item, one.state)], one) for one in step.answers)
            step = replace(step, answers=answers)
        told.append(step)
        before.append((item, max(step.answers, key=lambda one: one.chance).state))
    return tuple(told)


def _answered(asked: Asked, answers: Sequence[Answered], said: Answer) -> Answer:
    after = asked.told(answers)
    if after is None:
        return said
    fault = after.top()[1]
    return replace(said, fault=fault, probability=after.probability_of(fault))
