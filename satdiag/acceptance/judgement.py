"""The room's one door: from a job and its findings to the acceptance document."""

from __future__ import annotations

from functools import reduce

import satdiag
from satdiag.acceptance.account import activated, open_channel, share
from satdiag.acceptance.document import Acceptance, Criterion, Overall
from satdiag.acceptance.seen import Seen, about_minutes, counted, sentence_case
from satdiag.acceptance.vehicle import changes, locked, no_fault, restarts
from satdiag.acceptance.vehicle import listed as source_listed
from satdiag.errors import SatdiagError
from satdiag.findings import Findings, instant_text
from satdiag.job import Job
from satdiag.language import listed, tell, tell_many

LEAST_RATE, MOST_RATE = 1e-6, 0.5


def confirm(job: Job, findings: Findings, alpha: float = 0.05, beta: float = 0.05) -> Acceptance:
    """Is the activation confirmed as of the last row? `findings` must be those of `job`.

    `alpha`: the chance of confirming an account that is not activated is at most this; `beta`: that of calling an
    activated one not activated. Raises SatdiagError if they are not within 0.000001 to 0.5.
    """
    check_rates(alpha, beta)
    seen = Seen(job, findings, alpha, beta)
    account, found = activated(seen)
    an_open_one = open_channel(seen)
    criteria = [
        source_listed(seen),
        locked(seen),
        *([an_open_one] if an_open_one else []),
        account,
        share(seen),
        changes(seen),
        restarts(seen),
        no_fault(seen),
    ]
    state = _state(criteria)
    checks_left, minutes_left = _left(criteria)
    return Acceptance(
        satdiag=satdiag.__version__,
        job=job.sheet.id,
        as_of=instant_text(job.instant(job.end_s)),
        state=state,
        alpha=alpha,
        beta=beta,
        text=_text(state, criteria, checks_left, minutes_left),
        criteria=tuple(criteria),
        checks=found,
        checks_left=checks_left if state == "go-on" else None,
        minutes_left=minutes_left if state == "go-on" else None,
        could_not=_could_not(seen, an_open_one),
    )


def check_rates(alpha: float, beta: float) -> None:
    """Raise SatdiagError if an error rate is not within 0.000001 to 0.5."""
    for name, rate in (("alpha", alpha), ("beta", beta)):
        if not LEAST_RATE <= rate < MOST_RATE:
            raise SatdiagError(f"{name} is {rate:g}; give an error rate from 0.000001 to less than 0.5, e.g. 0.05.")


def _state(criteria: list[Criterion]) -> Overall:
    states = {one.state for one in criteria}
    if "fails" in states:
        return "not-confirmed"
    return "go-on" if "open" in states else "confirmed"


def _left(criteria: list[Criterion]) -> tuple[int | None, float | None]:
    """About how many more checks, and minutes: checks of one criterion serve others too, and so does the time."""
    waiting = [one for one in criteria if one.state == "open"]
    checks = [one.checks_left for one in waiting if one.checks_left is not None]
    minutes = [one.minutes_left for one in waiting if one.minutes_left is not None]
    return max(checks, default=None), max(minutes, default=None)


def _text(state: Overall, criteria: list[Criterion], checks: int | None, minutes: float | None) -> str:
    if state == "confirmed":
        return tell("Activation confirmed: everything that was asked for holds.")
    failing = [one.title for one in criteria if one.state == "fails"]
    if failing:
        return tell("Not confirmed. What fails: {titles}.", titles=_joined(failing))
    waiting = [one.title for one in criteria if one.state == "open"]
    more = [counted(checks, "check")] if checks else []
    more += [about_minutes(minutes)] if minutes else []
    unknown = [one.title for one in criteria if one.state == "open" and one.checks_left is one.minutes_left is None]
    text = tell("Go on: nothing fails, but evidence is still lacking for: {titles}.", titles=_joined(waiting))
    if not more:
        return text
    what = sentence_case(", ".join(more))
    rest = tell("{what} may settle it.", what=what)
    if unknown:
        rest = tell("{what} may settle all but {titles}.", what=what, titles=listed(unknown))
    return f"{text} {rest}"


def _joined(titles: list[str]) -> str:
    """'a; b; c' with the language's own blanks about the sign."""
    return reduce(lambda first, second: tell("{first}; {second}", first=first, second=second), titles)


def _no_confirmation(seen: Seen) -> str:
    if not seen.job.select("swap", "receiver").empty:
        return tell(
            "No confirmation of the account is logged since the receiver was exchanged: all checks since the "
            "exchange count, and none before it."
        )
    return tell("No confirmation of the account is logged: all checks of the log count.")


def _could_not(seen: Seen, an_open_one: Criterion | None) -> tuple[str, ...]:
    said = []
    source = seen.findings.entitlement.expected_from
    if source == "lineup":
        said.append(tell("The package is not known: every subscribed channel of the line-up is expected to play."))
    elif source == "seen":
        said.append(
            tell(
                "There is no line-up: open channels cannot be told from subscribed ones, so whether one plays was "
                "not asked, and more checks are needed."
            )
        )
    if an_open_one is None and source != "seen":
        said.append(tell("The line-up marks no open channel: whether one plays was not asked."))
    if seen.clock.origin == "first-row":
        said.append(_no_confirmation(seen))
    if seen.job.overridden_rows:
        said.append(
            tell_many(
                "{n} row overridden by a later one did not count.",
                "{n} rows overridden by a later one did not count.",
                seen.job.overridden_rows,
            )
        )
    return tuple(said)
