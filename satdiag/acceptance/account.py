"""The criteria that speak of the account: activated, entitled share, an open channel plays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from satdiag.acceptance.document import ChecksFound, Criterion
from satdiag.acceptance.evidence import CHANCES, Model, Weighed, model_of, weigh
from satdiag.acceptance.looks import groups_of, interruptions_s, looks_of
from satdiag.acceptance.seen import CHECK_MINUTES, Seen, about_minutes, counted, criterion
from satdiag.diagnosis.verdict import percent

DECIBANS = 10.0 / math.log(10.0)
FEWEST_GOOD = 3
"""Good checks that must be there besides their weight: three to five, one after switching off and on (common
practice, no source)."""

SHARE_TOLERANCE = 0.05  # of the expected channels that may be missing (judgement)
DEAD_AT_MOST = 0.05
MOST_MORE_CHECKS = 200
WAIT_BELOW = 0.5  # chance that the next look passes: below it waiting is better than looking
STOPPED = {"rejected": "refused by the provider", "lapsed": "ended", "none": "not there"}


@dataclass(frozen=True)
class Boundaries:
    """Weights (natural logarithms) at which the account is taken for activated, or for not activated.

    They lie a little outside Wald's: with ln(1/alpha) and ln(beta) the rates hold whenever one stops looking.
    """

    confirm_at: float
    reject_at: float


def boundaries(alpha: float, beta: float) -> Boundaries:
    """The two boundaries for these error rates."""
    return Boundaries(math.log(1.0 / alpha), math.log(beta))


def is_confirmed(weight: float, good: int, alpha: float, needed: int = FEWEST_GOOD) -> bool:
    """True if the checks confirm: enough weight, and enough good checks."""
    return weight >= math.log(1.0 / alpha) and good >= needed


def is_rejected(weight: float, beta: float) -> bool:
    """True if the checks say that nothing is activated."""
    return weight <= math.log(beta)


def activated(seen: Seen) -> tuple[Criterion, ChecksFound]:
    """The sequential test on the looks at expected channels."""
    entitlement, clock = seen.findings.entitlement, seen.clock
    source = entitlement.expected_from or "seen"
    model = model_of(source, clock.origin)
    held = _held_before(seen)
    looks = looks_of(seen.job, clock, seen.expected - held)
    weighed = weigh(groups_of(looks), model, interruptions_s(seen.job))
    limits = boundaries(seen.alpha, seen.beta)
    chances = CHANCES[source]
    found = ChecksFound(
        looks=len(looks),
        counted=weighed.groups,
        good=weighed.good,
        channels_playing=len(weighed.playing),
        channels_refused=len(weighed.refused),
        weight_db=DECIBANS * weighed.weight,
        confirm_at_db=DECIBANS * limits.confirm_at,
        reject_at_db=DECIBANS * limits.reject_at,
        p_pass_dead=chances.dead,
        p_pass_dead_range=chances.dead_range,
        p_pass_live=(chances.live[0], chances.live[-1]),
    )
    return _judged(seen, model, weighed, found, held), found


def _held_before(seen: Seen) -> frozenset[int]:
    """Expected channels that played before the confirmation already: they prove nothing of this activation."""
    from satdiag.entitlement.channels import checks_by_channel, history_of

    checks = checks_by_channel(seen.job, seen.clock)
    return frozenset(
        channel for channel in seen.expected if history_of(channel, checks.get(channel, []), seen.clock).held_before
    )


def _judged(seen: Seen, model: Model, weighed: Weighed, found: ChecksFound, held: frozenset[int]) -> Criterion:
    account = seen.job.select("account")["value"]
    if len(account) and account.iloc[-1] in STOPPED:
        what = f"The log says that the account is {STOPPED[account.iloc[-1]]}."
        return criterion("activated", "fails", what, "A confirmed account.")
    what = _evidence(found, held)
    needed = min(FEWEST_GOOD, max(len(seen.expected - held), 1))
    if is_confirmed(weighed.weight, weighed.good, seen.alpha, needed):
        return criterion("activated", "holds", what)
    if is_rejected(weighed.weight, seen.beta):
        lacking = "A look at the account with the provider; then channels that begin to play."
        return criterion("activated", "fails", what, lacking)
    if not seen.expected - held:
        lacking = "A line-up, or checks of channels that did not play before the confirmation."
        return criterion("activated", "open", what, lacking)
    return _still_open(seen, model, weighed, what, needed)


def _evidence(found: ChecksFound, held: frozenset[int]) -> str:
    if not found.looks:
        what = "No expected channel was seen playing or refused since the account's confirmation."
    else:
        what = (
            f"{counted(found.looks, 'look')} at expected channels, {found.counted} of them separate checks, "
            f"{found.good} good; they weigh {found.weight_db:+.1f} decibans for an activated account "
            f"({found.confirm_at_db:+.1f} confirm, {found.reject_at_db:+.1f} rule it out)."
        )
    if held:
        what += f" {counted(len(held), 'channel')} that played before the confirmation already did not count."
    return what


def _still_open(seen: Seen, model: Model, weighed: Weighed, what: str, needed: int) -> Criterion:
    left = len(seen.expected) - len(weighed.playing)
    passes, chance = passes_lacking(model, weighed, seen.clock.exposure_s, seen.alpha, needed)
    remaining = seen.findings.entitlement.remaining_to_last_s
    if passes > left:
        lacking = f"More expected channels than there are left ({left}): {passes} would have to pass."
        return criterion("activated", "open", what, lacking)
    if chance < WAIT_BELOW:
        wait_min = 15.0 if remaining is None else remaining.median / 60.0
        lacking = (
            f"{about_minutes(wait_min).capitalize()} more awake and receiving, then {counted(passes, 'good check')} "
            "of channels not seen playing yet, at least 5 s apart."
        )
        return criterion("activated", "open", what, lacking, passes, wait_min + passes * CHECK_MINUTES)
    number = min(math.ceil(passes / chance), MOST_MORE_CHECKS)
    minutes = number * CHECK_MINUTES
    lacking = (
        f"{counted(number, 'check')} of channels not seen playing yet, at least 5 s apart, {about_minutes(minutes)}."
    )
    return criterion("activated", "open", what, lacking, number, minutes)


def passes_lacking(
    model: Model, weighed: Weighed, exposure_s: float, alpha: float, needed: int = FEWEST_GOOD
) -> tuple[int, float]:
    """How many passes of channels not looked at before would confirm now, and the chance that such a look passes."""
    q = model.pass_chance(exposure_s)
    posterior = weighed.by_case + model.log_prior
    chance = float(np.exp(posterior - logsumexp(posterior)) @ q)
    gain = np.log(q / model.dead)
    for more in range(max(needed - weighed.good, 1), MOST_MORE_CHECKS):
        if float(model.average(weighed.by_case + more * gain)) >= boundaries(alpha, 0.5).confirm_at:
            return more, chance
    return MOST_MORE_CHECKS, chance


# --- the share -----------------------------------------------------------------------------------------------------


def share(seen: Seen) -> Criterion:
    """The share of expected channels that play, or will by prediction, is within the tolerance."""
    found = seen.findings.entitlement
    total, plays = found.expected or 0, found.authorised or 0
    if not total:
        return criterion("share", "open", "No channel is expected.", "A line-up and the package, or channel checks.")
    what = f"{plays} of {counted(total, 'expected channel')} play"
    goal = math.ceil((1.0 - SHARE_TOLERANCE) * total - 1e-9)
    if plays >= goal:
        return criterion("share", "holds", f"{what}.")
    dead = found.p_account_dead if found.p_account_dead is not None else 1.0
    interval = found.entitled_fraction_90
    lost = sum(one.reason == "lost" for one in found.channels)
    if interval is None:
        return criterion("share", "open", f"{what}.", "Checks of the other channels.", *_looks_left(goal - plays))
    what += f"; predicted share {100 * interval[0]:.0f} to {100 * interval[1]:.0f} % (90 %)"
    what += f", {lost} played before and are refused now." if lost else "."
    if dead >= 1.0 - DEAD_AT_MOST:
        return criterion("share", "fails", f"{what} The account looks dead ({percent(dead)}).", "A living account.")
    if interval[1] < 1.0 - SHARE_TOLERANCE:
        return criterion("share", "fails", what, "A look at the package: so many channels will not come.")
    if interval[0] >= 1.0 - SHARE_TOLERANCE and dead <= DEAD_AT_MOST and not lost:
        return criterion("share", "holds", what)
    unseen = total - (found.checked or 0)
    wait_min = (
        0.0 if found.remaining_to_last_s is None or not found.refused else found.remaining_to_last_s.median / 60
    )
    looks, minutes = _looks_left(min(goal - plays, unseen + (found.refused or 0)))
    first = f"{about_minutes(wait_min)} more awake and receiving, then " if wait_min else ""
    lacking = f"{first}{counted(looks, 'check')} of the channels that were not seen playing."
    return criterion("share", "open", what, lacking[0].upper() + lacking[1:], looks, wait_min + minutes)


def _looks_left(number: int) -> tuple[int, float]:
    return number, number * CHECK_MINUTES


# --- an open channel -----------------------------------------------------------------------------------------------


def open_channel(seen: Seen) -> Criterion | None:
    """A channel that plays without an account plays; None if the line-up marks none."""
    marked = {line.channel for line in seen.job.lineup or () if line.is_open}
    if not marked:
        return None
    states = {one.channel: one.state for one in seen.findings.entitlement.channels if one.channel in marked}
    plays = sorted(channel for channel, state in states.items() if state == "authorised")
    refused = sorted(channel for channel, state in states.items() if state == "refused")
    if plays:
        return criterion("open-channel", "holds", f"Open channel {plays[0]} plays.")
    if len(refused) >= 2:
        what = f"{counted(len(refused), 'open channel')} are refused, none plays."
        return criterion("open-channel", "fails", what, "An open channel that plays.")
    what = "No open channel was seen playing or refused." if not refused else f"Open channel {refused[0]} is refused."
    lacking = f"1 check of open channel {min(marked - set(refused), default=min(marked))}."
    return criterion("open-channel", "open", what, lacking, 1, CHECK_MINUTES)
