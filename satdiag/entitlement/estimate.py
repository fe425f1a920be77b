"""The room's one door: from a job and its exposure clock to the entitlement findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np

from satdiag.entitlement.channels import Expected, History, checks_by_channel, expected_channels, history_of
from satdiag.entitlement.fill_in import FillIn, arrival_events, nodes_of, widened
from satdiag.entitlement.outlook import Outlook, outlook_of
from satdiag.entitlement.predict import Prediction
from satdiag.entitlement.reception import Clock, Reception, ScaledClock, reception_of
from satdiag.entitlement.said import LIKELY, UNLIKELY, summary
from satdiag.entitlement.turnbull import step_curve
from satdiag.entitlement.untold import is_long_enough, said_of_the_log, said_of_the_outlook
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.exposure import ExposureClock
from satdiag.findings import (
    ChannelFinding,
    EntitlementFindings,
    FillCurve,
    Quantiles,
    SilenceCurve,
    StepFinding,
)
from satdiag.job import Job
from satdiag.language import tell

Reason = Literal["plays", "late", "not-in-package", "account", "lost", "not-listed", "cannot-tell"]

SEEN_POINTS = 60
MANY, STEP_ENDS = 4000, 500
"""With more channels the steps have at most so many distinct ends: more than a figure can show."""

OUTSIDE = 0.9
"""A category that is so likely outside the account is taken for that."""


def estimate_entitlement(job: Job, clock: ExposureClock, wait: WaitPrior | None = None) -> EntitlementFindings:
    """What was authorised, what is still to come and when, which channels will not come, and why.

    Pure function of its arguments. Chances and times are averaged over the posterior; what cannot be told is None,
    with a sentence in `could_not`. `wait`: what other jobs say of the typical wait; None: nothing.
    """
    reception = reception_of(job, clock)
    own: Clock = clock if reception is None else ScaledClock(clock, reception)
    expected, histories = _read(job, own)
    wanted = [history for channel, history in histories.items() if channel in expected.channels]
    found = _counts(clock, reception, expected, histories, wanted)
    said = said_of_the_log(clock, expected, wanted)
    if not any(history.state in ("authorised", "refused") for history in wanted):
        said.append(tell("No expected channel was seen authorised or refused: nothing can be said of entitlements."))
        channels = tuple(_channel(history, expected, None, None, 0.0) for history in histories.values())
        return replace(found, channels=channels, could_not=tuple(said))
    outlook = outlook_of(job, own, expected, wanted, wait)
    places = {channel: k for k, channel in enumerate(outlook.awaited)}
    category = {line.channel: line.category for line in job.lineup or ()}
    channels = tuple(
        _channel(history, expected, places.get(channel), outlook, outlook.outside.get(category.get(channel, ""), 0.0))
        for channel, history in histories.items()
    )
    said += said_of_the_outlook(outlook, [c for c in channels if c.channel in expected.channels])
    found = replace(_predicted(found, outlook, own), channels=channels, could_not=tuple(said))
    found = replace(found, wait_prior_jobs=0 if wait is None else wait.jobs)
    return replace(found, text=summary(found, expected.channels))


def _read(job: Job, clock: Clock) -> tuple[Expected, dict[int, History]]:
    """Which channels should play, and the history of each that is known, in order of their numbers."""
    checks = checks_by_channel(job, clock)
    known = set(checks) | {line.channel for line in job.lineup or ()}
    histories = {channel: history_of(channel, checks.get(channel, []), clock) for channel in sorted(known)}
    return expected_channels(job, checks), histories


# --- counts and exposure -----------------------------------------------------------------------------------------


def _counts(
    clock: ExposureClock,
    reception: Reception | None,
    expected: Expected,
    histories: Mapping[int, History],
    wanted: list[History],
) -> EntitlementFindings:
    states = [history.state for history in wanted]
    return EntitlementFindings(
        exposure_s=clock.exposure_s,
        exposure_max_s=clock.exposure_max_s,
        exposure_since_resend_s=clock.since_resend_s,
        exposure_origin=clock.origin,
        exposure_basis=clock.basis,
        awake_s=float(np.sum(clock.awake[:, 1] - clock.awake[:, 0])) if len(clock.awake) else 0.0,
        expected_from=expected.source,
        expected=len(wanted),
        checked=sum(state in ("authorised", "refused", "missing") for state in states),
        authorised=states.count("authorised"),
        refused=states.count("refused"),
        beyond_package=tuple(
            channel
            for channel, history in histories.items()
            if history.state == "authorised" and channel not in expected.channels
        ),
        complete=_complete(wanted),
        reception_scale=None if reception is None else reception.mean,
        reception_scale_90=None if reception is None else reception.mean_90,
    )


def _complete(wanted: list[History]) -> bool | None:
    """True if every expected channel plays, False if one was seen not to, None if that is not known."""
    if not wanted:
        return None
    if all(history.state == "authorised" for history in wanted):
        return True
    return False if any(history.state in ("refused", "missing") for history in wanted) else None


def _predicted(found: EntitlementFindings, outlook: Outlook, clock: Clock) -> EntitlementFindings:
    prediction, posterior, quiet = outlook.prediction, outlook.posterior, outlook.silence
    return replace(
        found,
        entitled_fraction=prediction.fraction,
        entitled_fraction_90=prediction.fraction_90,
        p_all_expected=None if outlook.lost else prediction.p_all_come,
        p_account_dead=prediction.p_account_dead,
        p_not_begun=posterior.p_begun_after(outlook.fill.now_s) if clock.origin == "confirmed" else None,
        time_to_first_s=prediction.time_to_first_s,
        time_to_share_s={f"{share:.1f}": time for share, time in prediction.time_to_share_s.items()},
        remaining_to_last_s=prediction.remaining_to_last_s if outlook.awaited or not outlook.lost else None,
        remaining_to_share_s={f"{share:.1f}": time for share, time in prediction.remaining_to_share_s.items()},
        silence=None if quiet is None else SilenceCurve(_floats(quiet.exposure_s), _floats(quiet.p_dead)),
        dead_sure_after_s=None if quiet is None else quiet.sure_after_s,
        last_look_s=outlook.last_look_s if outlook.awaited else None,
        outside_categories=outlook.outside or None,
        law_weights=_law_weights(outlook),
        dispersion=posterior.dispersion,
        curve=_curve(outlook.shown, prediction, clock),
        steps=_steps(outlook.shown, clock),
        arrival_events=arrival_events(outlook.fill),
        typical_wait_s=outlook.typical_wait_s,
    )


def _law_weights(outlook: Outlook) -> dict[str, float]:
    """How much each law of waiting counts in the average."""
    weights: dict[str, float] = {}
    for member, weight in zip(outlook.posterior.members, outlook.posterior.weights, strict=True):
        weights[member.family.name] = weights.get(member.family.name, 0.0) + float(weight)
    return weights


def _floats(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _back(clock: Clock, at_s: np.ndarray) -> np.ndarray:
    """From the clock that the channels are read by to the exposure clock."""
    return clock.reception.back(at_s) if isinstance(clock, ScaledClock) else at_s


def _steps(fill: FillIn, clock: Clock) -> StepFinding | None:
    """Turnbull's estimate of the share of channels that have come, as far as half of the others were looked at.

    Beyond, the last looks of a few would move all the rest.
    """
    unseen_s = np.maximum(fill.unseen_s, 0.0)
    lower_s = np.concatenate([np.maximum(fill.seen_lower_s, 0.0), unseen_s])
    upper_s = np.concatenate([fill.seen_upper_s, np.full(len(unseen_s), np.inf)])
    if not fill.arrivals or bool(np.any(upper_s <= lower_s)):
        return None
    rows = (lower_s, upper_s, np.ones(len(lower_s)))
    found = step_curve(*(rows if len(lower_s) <= MANY else widened(lower_s, upper_s, STEP_ENDS)))
    known = np.isfinite(found.upper_s) & (found.upper_s <= (np.median(unseen_s) if len(unseen_s) else np.inf))
    return StepFinding(
        _floats(_back(clock, found.lower_s[known])),
        _floats(_back(clock, found.upper_s[known])),
        _floats(np.minimum(np.cumsum(found.mass[known]), 1.0)),
        channels=len(lower_s),
        held=len(fill.held_s) + fill.held_before,
    )


def _curve(fill: FillIn, prediction: Prediction, clock: Clock) -> FillCurve:
    """The model's band, and how many channels had come by then at least and at most.

    A channel that was refused last may have come at any time since.
    """
    low_s = np.sort(np.concatenate([np.maximum(fill.seen_lower_s, 0.0), np.zeros(len(fill.held_s))]))
    high_s = np.sort(np.concatenate([fill.seen_upper_s, fill.held_s]))
    may_s = np.sort(np.concatenate([low_s, np.maximum(fill.unseen_s, 0.0)]))
    at_s = nodes_of(np.concatenate([[0.0, fill.now_s], may_s, high_s]), SEEN_POINTS)
    at_least = np.searchsorted(high_s, at_s, side="right") + fill.held_before
    at_most = np.maximum(np.searchsorted(may_s, at_s, side="left") + fill.held_before, at_least)
    band = (prediction.curve_exposure_s, prediction.curve_median, prediction.curve_p05, prediction.curve_p95)
    return FillCurve(*(_floats(part) for part in (*band, _back(clock, at_s), at_least, at_most)))


# --- one channel -------------------------------------------------------------------------------------------------


def _channel(
    history: History, expected: Expected, place: int | None, outlook: Outlook | None, outside: float
) -> ChannelFinding:
    """The finding of one channel; `place` is its index among the awaited ones, None if it is not awaited.

    `outside`: the chance that its whole category is outside the account.
    """
    if history.state == "authorised" and place is None:
        return ChannelFinding(history.channel, history.state, 1.0, None, "plays")
    if outlook is not None and history.channel in outlook.lost:
        return ChannelFinding(history.channel, history.state, None, None, "lost")
    chance: float | None = None
    remaining: Quantiles | None = None
    reason: Reason = "cannot-tell"
    if history.channel in expected.outside:
        chance, reason = 0.0, "not-in-package"
    elif place is not None and outlook is not None:
        chance = float(outlook.prediction.p_will_come[place])
        reason = _awaited_reason(history, place, outlook.prediction, outside)
        if reason in ("late", "cannot-tell") and chance >= UNLIKELY:
            remaining = outlook.prediction.remaining_s[place]
    if history.state == "missing":
        reason = "not-listed"
    elif history.state == "authorised":
        reason = "plays"
    return ChannelFinding(history.channel, history.state, chance, remaining, reason)


def _awaited_reason(history: History, place: int, prediction: Prediction, outside: float) -> Reason:
    """Late, never or not to be told, for an expected channel that has not come.

    Never needs a small chance and either a whole category that is outside, or a long enough follow-up: with less
    than two typical waits of listening the data cannot tell late from never.
    """
    chance = float(prediction.p_will_come[place])
    if history.state != "refused":
        return "cannot-tell"
    if prediction.p_account_dead >= LIKELY:
        return "account"
    if chance >= LIKELY:
        return "late"
    settled = outside >= OUTSIDE or is_long_enough(*prediction.waits_listened[place])
    return "not-in-package" if chance < UNLIKELY and settled else "cannot-tell"
