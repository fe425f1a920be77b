"""The criteria that speak of the account: activated, entitled share, an open channel plays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from satdiag.acceptance.document import ChecksFound, Criterion
from satdiag.acceptance.evidence import CHANCES, Model, Weighed, model_of, weigh
from satdiag.acceptance.looks import groups_of, interruptions_s, looks_of
from satdiag.acceptance.seen import CHECK_MINUTES, Seen, about_minutes, counted, criterion, sentence_case
from satdiag.diagnosis.remarks import ACCOUNT_STOPPED
from satdiag.diagnosis.wording import percent
from satdiag.language import tell, tell_many, translated

DECIBANS = 10.0 / math.log(10.0)
FEWEST_GOOD = 3
"""Good checks that must be there besides their weight: three to five, one after switching off and on (common
practice, no source)."""

SHARE_TOLERANCE = 0.05  # of the expected channels that may be missing (judgement)
DEAD_AT_MOST = 0.05
MOST_MORE_CHECKS = 200
IN_THE_END_S = 1e9  # listened: all has come that will
WAIT_BELOW = 0.5  # chance that the next look passes: below it waiting is better than looking


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
    if len(account) and account.iloc[-1] in ACCOUNT_STOPPED:
        stopped = translated(ACCOUNT_STOPPED[account.iloc[-1]])
        what = tell("The log says that the account {what}.", what=stopped)
        return criterion("activated", "fails", what, tell("A confirmed account."))
    what = _evidence(found, held)
    needed = min(FEWEST_GOOD, max(len(seen.expected - held), 1))
    if is_confirmed(weighed.weight, weighed.good, seen.alpha, needed):
        return criterion("activated", "holds", what)
    if is_rejected(weighed.weight, seen.beta):
        lacking = tell("A look at the account with the provider; then channels that begin to play.")
        return criterion("activated", "fails", what, lacking)
    if not seen.expected - held:
        return criterion("activated", "open", what, _nothing_to_check(seen, held))
    return _still_open(seen, model, weighed, what, needed, seen.expected - held)


def _nothing_to_check(seen: Seen, held: frozenset[int]) -> str:
    """What to do where no expected channel is left that could prove anything."""
    if held and seen.findings.entitlement.expected_from != "seen":
        return tell(
            "Checks of channels cannot settle it, since every expected channel played before the confirmation "
            "already: ask the provider whether the account is active for this receiver."
        )
    return tell("A line-up, or checks of channels that did not play before the confirmation.")


def _evidence(found: ChecksFound, held: frozenset[int]) -> str:
    if not found.looks:
        what = tell("No expected channel was seen playing or refused since the account's confirmation.")
    else:
        what = tell_many(
            "{n} look at an expected channel, counted as {checks}, {good} good; weight {weight:+.1f} decibans for an "
            "activated account ({confirm:+.1f} confirm, {reject:+.1f} rule it out).",
            "{n} looks at expected channels, counted as {checks}, {good} good; weight {weight:+.1f} decibans for an "
            "activated account ({confirm:+.1f} confirm, {reject:+.1f} rule it out).",
            found.looks,
            checks=counted(found.counted, "separate check"),
            good=found.good,
            weight=found.weight_db,
            confirm=found.confirm_at_db,
            reject=found.reject_at_db,
        )
    if not held:
        return what
    left_out = tell_many(
        "{n} channel that played before the confirmation already did not count.",
        "{n} channels that played before the confirmation already did not count.",
        len(held),
    )
    return f"{what} {left_out}"


def _still_open(
    seen: Seen, model: Model, weighed: Weighed, what: str, needed: int, channels: frozenset[int]
) -> Criterion:
    """What would settle it; `channels`: the expected ones that can prove something."""
    exposure_s, again = seen.clock.exposure_s, len(weighed.held_back)
    passes, chance = passes_lacking(model, weighed, exposure_s, seen.alpha, needed)
    fresh = len(channels - weighed.playing)
    known = seen.findings.entitlement.expected_from != "seen"
    if known:
        late, _ = passes_lacking(model, weighed, IN_THE_END_S, seen.alpha, needed)
        if late > fresh + again or not _can_settle(model, weighed, seen.alpha, fresh):
            return criterion("activated", "open", what, _too_few(late, fresh))
        if passes > fresh + again:  # a pass is worth more once all should have come
            passes, chance = late, min(chance, WAIT_BELOW / 2)
    kind = _kind(fresh if known else 1, again)
    after = _ask_about_lost(seen)
    if chance < WAIT_BELOW and again < passes and not after:
        remaining = seen.findings.entitlement.remaining_to_last_s
        wait_min = 15.0 if remaining is None else remaining.median / 60.0
        lacking = tell(
            "{time} more awake and receiving, then {checks} of {kind}, at least 5 s apart.",
            time=sentence_case(about_minutes(wait_min)),
            checks=counted(passes, "good check"),
            kind=kind,
        )
        return criterion("activated", "open", what, lacking, passes, wait_min + passes * CHECK_MINUTES)
    number = passes if again >= passes else min(math.ceil(passes / chance), MOST_MORE_CHECKS)
    minutes = number * CHECK_MINUTES
    checks, time = counted(number, "check"), about_minutes(minutes)
    lacking = tell("{checks} of {kind}, at least 5 s apart, {time}.", checks=checks, kind=kind, time=time)
    lacking = f"{after} {lacking}" if after else lacking
    return criterion("activated", "open", what, lacking, number, minutes)


def _kind(fresh: int, again: int) -> str:
    """Which channels to check: those that bring something new."""
    if again and fresh:
        return tell(
            "expected channels other than those that play already, or of channels that were marked together with "
            "others, now one by one"
        )
    if again:
        return tell("channels that were marked together with others, now one by one")
    return tell("expected channels other than those that play already")


def _too_few(passes: int, fresh: int) -> str:
    left = tell_many("only {n} is left", "only {n} are left", fresh) if fresh else tell("none is left")
    more = tell_many("{n} other expected channel", "{n} or more other expected channels", passes)
    return tell(
        "Checks of channels cannot settle it: {more} would have to play, and {left}; a channel that plays again "
        "proves nothing new. Ask the provider whether the account is active for this receiver.",
        more=more,
        left=left,
    )


def _ask_about_lost(seen: Seen) -> str:
    lost = _lost(seen)
    if not lost:
        return ""
    return tell_many(
        "Ask the provider why {n} channel that played before is refused now; then",
        "Ask the provider why {n} channels that played before are refused now; then",
        lost,
    )


def _lost(seen: Seen) -> int:
    channels = seen.findings.entitlement.channels
    return sum(one.reason == "lost" for one in channels if one.channel in seen.expected)


def _can_settle(model: Model, weighed: Weighed, alpha: float, fresh: int) -> bool:
    """True if it would be confirmed if everything that is left passed in the end."""
    gain = np.log(model.pass_chance(IN_THE_END_S) / model.dead)
    reserve = 0.0 if weighed.reserve is None else weighed.reserve
    return float(model.average(weighed.by_case + reserve + fresh * gain)) >= boundaries(alpha, 0.5).confirm_at


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
        return criterion("share", "open", tell("No channel is expected."), _what_is_expected())
    channels = counted(total, "expected channel")
    what = tell("{plays} of {channels} play", plays=plays, channels=channels)
    if 1 in (plays, total):
        what = tell("{plays} of {channels} plays", plays=plays, channels=channels)
    goal = math.ceil((1.0 - SHARE_TOLERANCE) * total - 1e-9)
    if plays >= goal:
        return criterion("share", "holds", f"{what}.")
    dead = found.p_account_dead if found.p_account_dead is not None else 1.0
    interval = found.entitled_fraction_90
    lost = _lost(seen)
    if interval is None:
        lacking = tell("Checks of the other channels.")
        return criterion("share", "open", f"{what}.", lacking, *_looks_left(goal - plays))
    what = _share_text(what, interval, lost)
    if dead >= 1.0 - DEAD_AT_MOST:
        dead_text = tell("The account looks dead ({chance}).", chance=percent(dead))
        return criterion("share", "fails", f"{what} {dead_text}", tell("A living account."))
    if interval[1] < 1.0 - SHARE_TOLERANCE and not _too_early(seen):
        lacking = tell("A look at the package: so many channels will not come.")
        if lost:
            again = tell("look again.")
            lacking = f"{_ask_about_lost(seen)} {again}"
        return criterion("share", "fails", what, lacking)
    if interval[0] >= 1.0 - SHARE_TOLERANCE and dead <= DEAD_AT_MOST and not lost:
        return criterion("share", "holds", what)
    return _share_open(seen, what, goal - plays, total - (found.checked or 0))


def _share_text(what: str, interval: tuple[float, float], lost: int) -> str:
    """How many play, with the predicted share and how many were lost."""
    values = {"what": what, "low": 100 * interval[0], "high": 100 * interval[1]}
    if lost:
        return tell(
            "{what}; predicted share {low:.0f} to {high:.0f} % (90 %), {lost} played before and are refused now.",
            lost=lost,
            **values,
        )
    return tell("{what}; predicted share {low:.0f} to {high:.0f} % (90 %).", **values)


def _share_open(seen: Seen, what: str, lacking_channels: int, unseen: int) -> Criterion:
    """The share may still come: so many looks, and the wait before them."""
    found = seen.findings.entitlement
    wait_min = (
        0.0 if found.remaining_to_last_s is None or not found.refused else found.remaining_to_last_s.median / 60
    )
    looks, minutes = _looks_left(min(lacking_channels, unseen + (found.refused or 0)))
    checks, asked = counted(looks, "check"), _ask_about_lost(seen)
    lacking = tell("{checks} of the channels that do not play.", checks=checks)
    if asked:
        lacking = f"{asked} {lacking}"
    elif wait_min:
        lacking = tell(
            "{time} more awake and receiving, then {checks} of the channels that do not play.",
            time=sentence_case(about_minutes(wait_min)),
            checks=checks,
        )
    return criterion("share", "open", what, lacking, looks, wait_min + minutes)


def _too_early(seen: Seen) -> bool:
    """True if of some channel nobody can tell yet whether it is late or never comes."""
    channels = seen.findings.entitlement.channels
    return any(
        one.state == "refused" and one.reason == "cannot-tell" for one in channels if one.channel in seen.expected
    )


def _what_is_expected() -> str:
    return tell("A line-up and the package, or channel checks.")


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
        return criterion("open-channel", "holds", tell("Open channel {channel} plays.", channel=plays[0]))
    if len(refused) >= 2:
        what = tell_many(
            "{n} open channel is refused, none plays.", "{n} open channels are refused, none plays.", len(refused)
        )
        return criterion("open-channel", "fails", what, tell("An open channel that plays."))
    missing = sorted(channel for channel, state in states.items() if state == "missing")
    left = marked - set(refused) - set(missing) or marked - set(refused) or marked
    lacking = tell("1 check of open channel {channel}.", channel=min(left))
    if set(missing) == marked:
        lacking = tell(
            "Open channel {missing} in the list, and 1 check of open channel {channel}.",
            missing=missing[0],
            channel=min(left),
        )
    return criterion("open-channel", "open", _open_text(refused, missing), lacking, 1, CHECK_MINUTES)


def _open_text(refused: list[int], missing: list[int]) -> str:
    """What was seen of open channels where none plays."""
    said = [tell("Open channel {channel} is refused.", channel=refused[0])] if refused else []
    if missing:
        said.append(
            tell_many(
                "Open channel {channels} is not in the list.",
                "Open channels {channels} are not in the list.",
                len(missing),
                channels=", ".join(map(str, missing)),
            )
        )
    return " ".join(said) or tell("No open channel was seen playing or refused.")
