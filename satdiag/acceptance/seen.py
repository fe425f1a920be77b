"""What all criteria look at, gathered once, and small phrases for their sentences."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from satdiag.acceptance.document import Criterion, State
from satdiag.exposure import ExposureClock, exposure_clock
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import mark, tell, tell_many, translated

CHECK_MINUTES = 0.5
"""How long one more check of another channel takes, with finding it and waiting (judgement)."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A job with its findings, and the error rates asked for."""

    job: Job
    findings: Findings
    alpha: float
    beta: float

    @cached_property
    def clock(self) -> ExposureClock:
        """The exposure clock of the job."""
        return exposure_clock(self.job)

    @cached_property
    def expected(self) -> frozenset[int]:
        """The channels that the findings expect to play."""
        from satdiag.entitlement.channels import checks_by_channel, expected_channels

        return expected_channels(self.job, checks_by_channel(self.job, self.clock)).channels


def criterion(
    name: str,
    state: State,
    evidence: str,
    lacking: str = "",
    checks_left: int | None = None,
    minutes_left: float | None = None,
) -> Criterion:
    """A criterion with its title."""
    minutes = None if minutes_left is None else float(minutes_left)
    return Criterion(name, translated(TITLES[name]), state, evidence, lacking, checks_left, minutes)


TITLES = {
    "listed": mark("Listed"),
    "locked": mark("Locked under open sky"),
    "open-channel": mark("Open channel plays"),
    "activated": mark("Activated"),
    "share": mark("Entitled share"),
    "changes": mark("Channel changes"),
    "restarts": mark("No restarts"),
    "no-fault": mark("No fault in sight"),
}


_STATES = {
    "holds": mark("holds (criterion)"),
    "fails": mark("fails (criterion)"),
    "open": mark("open (criterion)"),
}


def state_word(state: State) -> str:
    """The state of a criterion in the language in use: 'holds', 'fails', 'open'."""
    return translated(_STATES[state]).removesuffix(" (criterion)")


def counted(number: int, noun: str) -> str:
    """'1 check', '3 checks' in the language in use; `noun` is one of those below, or any in English."""
    forms: dict[str, Callable[[int], str]] = {
        "look": lambda n: tell_many("{n} look", "{n} looks", n),
        "separate check": lambda n: tell_many("{n} separate check", "{n} separate checks", n),
        "check": lambda n: tell_many("{n} check", "{n} checks", n),
        "good check": lambda n: tell_many("{n} good check", "{n} good checks", n),
        "channel": lambda n: tell_many("{n} channel", "{n} channels", n),
        "expected channel": lambda n: tell_many("{n} expected channel", "{n} expected channels", n),
        "reading": lambda n: tell_many("{n} reading", "{n} readings", n),
        "more reading": lambda n: tell_many("{n} more reading", "{n} more readings", n),
        "channel change": lambda n: tell_many("{n} channel change", "{n} channel changes", n),
        "timed channel change": lambda n: tell_many("{n} timed channel change", "{n} timed channel changes", n),
        "timed change": lambda n: tell_many("{n} timed change", "{n} timed changes", n),
        "restart": lambda n: tell_many("{n} restart", "{n} restarts", n),
        "dip": lambda n: tell_many("{n} dip of the supply", "{n} dips of the supply", n),
    }
    if noun in forms:
        return forms[noun](number)
    return f"{number} {noun}" + ("" if number == 1 else "s")


def sentence_case(text: str) -> str:
    """The text with a capital at its beginning, the rest as it stands."""
    return text[:1].upper() + text[1:]


def about_minutes(minutes: float) -> str:
    """'about 4 minutes', never less than one; hours when long."""
    if minutes >= 90:
        return tell("about {hours:.1f} hours", hours=minutes / 60)
    whole = max(math.ceil(minutes - 1e-9), 1)
    return tell_many("about {n} minute", "about {n} minutes", whole)
