"""The outlook of a job's expected channels: how their checks are read, the posterior, and what is still to come."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from satdiag.entitlement.channels import Expected, History, Reading, fill_in_of, is_awaited
from satdiag.entitlement.fill_in import FillIn, Index
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.posterior import AT_THE_ORIGIN, Posterior, Start, posterior_of
from satdiag.entitlement.predict import Prediction, p_account_dead, predict
from satdiag.entitlement.reception import Clock, ScaledClock
from satdiag.entitlement.silence import Silence, silence
from satdiag.entitlement.slips import LOG_SLIP, are_too_many, settle
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.findings import Quantiles
from satdiag.job import Job

# Judgements. Of the channels that a line-up puts in the package most should come; without one nothing is known.
PACKAGE_PRIOR = Priors(come_a=4.0, come_b=1.0, category_outside=0.03)
OPEN_PRIOR = Priors(category_outside=0.15)
STOPPED_ACCOUNT_DEAD = 0.98  # the log itself says that the account was refused, has lapsed or does not exist
LIVE_ACCOUNT_LOSES_MOST = 0.02  # chance that most channels of a living account are refused again
STOPPED_STATES = ("rejected", "lapsed", "none")
WAKE_UP_PAUSE_S = 120.0  # after a longer pause in listening the phase of a repeated message is anyone's guess
FEWEST_OF_A_CATEGORY = 3  # refused channels of it, before a category is taken for one
MOST_CATEGORIES = 24

PROVIDER_DELAYS_S = ((0.0, 0.6), (120.0, 0.15), (300.0, 0.12), (900.0, 0.07), (3600.0, 0.04), (4 * 3600.0, 0.02))
"""Time by the clock on the wall from the confirmation until anything is sent, and how likely (judgement; that a
channel should be there after some five minutes is common practice, no source)."""


@dataclass(frozen=True)
class Outlook:
    """`awaited`: channels that have not come, in the order of `fill.unseen_s`; `lost`: came, and refused now;
    `doubted`: with a check that is taken as noted wrongly. `fill` and `posterior` run on the clock that was given,
    `prediction` and `silence` (None once something came) on the exposure clock. `outside`: for each category of
    which nothing came, the chance that all of it is outside the account. `last_look_s`: the exposure at the last
    refusal of a channel that has not come, 0 where there is none; `shown`: the fill-in without what was lost again;
    `typical_wait_s`: within which 63 % of those that come have come, on the clock that was given.
    """

    fill: FillIn
    posterior: Posterior
    prediction: Prediction
    awaited: tuple[int, ...]
    lost: frozenset[int]
    doubted: tuple[int, ...]
    outside: Mapping[str, float]
    silence: Silence | None
    last_look_s: float
    shown: FillIn
    typical_wait_s: Quantiles


def outlook_of(
    job: Job, clock: Clock, expected: Expected, wanted: list[History], wait: WaitPrior | None = None
) -> Outlook:
    """The outlook of the expected channels (`wanted`), on a clock that may be scaled by reception.

    `wait`: what other jobs say of the typical wait, and of accounts that give nothing.
    """
    priors = _priors(expected, wait)
    wake_ups_s, origin_known = _wake_ups_s(clock), clock.origin == "confirmed"
    starts, stopped_s = starts_of(clock), account_stopped_s(job)
    settled = settle(wanted, clock.exposure_s, origin_known, priors, wake_ups_s, stopped_s is not None, starts)
    plain = fill_in_of(wanted, settled.chosen, clock.exposure_s, origin_known)
    pairs = list(zip(wanted, settled.chosen, strict=True))
    awaited = [h for h, reading in pairs if is_awaited(h, reading)]
    names, group = _silent_categories(job, wanted, awaited)
    fill = replace(plain, unseen_group=group) if names and not plain.is_silent else plain
    posterior = posterior_of(fill, priors, wake_ups_s, starts=starts)
    lost = frozenset(h.channel for h, reading in pairs if h.state == "refused" and _is_lost(h, reading))
    dead = _account_dead(wanted, lost, settled.log_alive, stopped_s, priors.account_dead)
    shown = _without_lost(fill, pairs, lost, clock)
    prediction = _counting_lost(predict(shown, posterior, dead, outside=priors.category_outside), shown, len(lost))
    last_look_s = float(np.max(fill.unseen_s, initial=0.0))
    quiet = plain.is_silent and not plain.held_before and stopped_s is None and len(plain.unseen_s)
    return Outlook(
        fill,
        posterior,
        in_exposure(prediction, clock),
        awaited=tuple(h.channel for h in awaited),
        lost=lost,
        doubted=tuple(h.channel for h, reading in pairs if reading and reading.slips and h.channel not in lost),
        outside=dict(zip(names, posterior.outside.tolist(), strict=False)),
        silence=_silence(len(plain.unseen_s), priors, starts, clock) if quiet else None,
        last_look_s=float(clock.reception.back(last_look_s)) if isinstance(clock, ScaledClock) else last_look_s,
        shown=shown,
        typical_wait_s=prediction.typical_wait_s,
    )


def _priors(expected: Expected, wait: WaitPrior | None) -> Priors:
    packaged = PACKAGE_PRIOR if expected.source == "package" else OPEN_PRIOR
    if wait is None:
        return packaged
    dead = packaged.account_dead if wait.account_dead is None else wait.account_dead
    return replace(packaged, account_dead=dead, wait=None if wait.mean_log_s is None else wait)


def starts_of(clock: Clock) -> tuple[Start, ...]:
    """When sending may have begun: some time by the clock on the wall after the confirmation.

    A delay that reaches beyond the last row is taken as listening throughout from there.
    """
    if clock.origin != "confirmed":
        return AT_THE_ORIGIN
    weights: dict[float, float] = {}
    rate = clock.reception.latest if isinstance(clock, ScaledClock) else 1.0
    for delay_s, weight in PROVIDER_DELAYS_S:
        begun_s = clock.origin_s + delay_s
        at_s = float(clock.lower_s(min(begun_s, clock.end_s))) + rate * max(begun_s - clock.end_s, 0.0)
        weights[at_s] = weights.get(at_s, 0.0) + weight
    return tuple(Start(at_s, weight) for at_s, weight in weights.items())


def _without_lost(
    fill: FillIn, pairs: Sequence[tuple[History, Reading | None]], lost: frozenset[int], clock: Clock
) -> FillIn:
    """The fill-in without the channels that were taken away again: they tell of the pace, but they do not play."""
    if not lost:
        return fill
    kept = [(history, reading) for history, reading in pairs if history.channel not in lost]
    histories, chosen = [history for history, _ in kept], [reading for _, reading in kept]
    found = fill_in_of(histories, chosen, fill.now_s, clock.origin == "confirmed")
    return replace(found, unseen_group=fill.unseen_group)


def _counting_lost(prediction: Prediction, shown: FillIn, lost: int) -> Prediction:
    """A prediction of the others with the lost channels in what it is a share of."""
    part = shown.channels / max(shown.channels + lost, 1)
    low, high = prediction.fraction_90
    return replace(prediction, fraction=part * prediction.fraction, fraction_90=(part * low, part * high))


def _silence(channels: int, priors: Priors, starts: Sequence[Start], clock: Clock) -> Silence:
    found = silence(channels, clock.exposure_s, priors, starts, priors.account_dead)
    if not isinstance(clock, ScaledClock):
        return found
    back = clock.reception.back
    sure_s = None if found.sure_after_s is None else float(back(found.sure_after_s))
    return Silence(back(found.exposure_s), found.p_dead, sure_s)


def _silent_categories(job: Job, wanted: list[History], awaited: list[History]) -> tuple[list[str], Index]:
    """Categories of which no expected channel came, and the place of each awaited channel's among them, or -1."""
    category = {line.channel: line.category for line in job.lineup or () if line.category}
    waiting = {history.channel for history in awaited}
    came = {category.get(history.channel) for history in wanted if history.channel not in waiting}
    refused: dict[str, int] = {}
    for history in awaited:
        name = category.get(history.channel)
        if name and name not in came and history.state == "refused":
            refused[name] = refused.get(name, 0) + 1
    names = [name for name, number in refused.items() if number >= FEWEST_OF_A_CATEGORY][:MOST_CATEGORIES]
    place = {name: k for k, name in enumerate(names)}
    found = [place.get(category.get(history.channel, ""), -1) for history in awaited]
    return names, np.array(found, dtype=np.intp)


# --- back to the exposure clock ----------------------------------------------------------------------------------


def in_exposure(prediction: Prediction, clock: Clock) -> Prediction:
    """A prediction on a scaled clock as one on the exposure clock; times to come at the latest share received."""
    if not isinstance(clock, ScaledClock):
        return prediction
    back, now_s, exposure_s = clock.reception.back, clock.exposure_s, clock.clock.exposure_s

    def at(time: Quantiles | None) -> Quantiles | None:
        return None if time is None else Quantiles(*(float(back(x)) for x in (time.median, time.p05, time.p95)))

    def rest(time: Quantiles) -> Quantiles:
        ends = (float(back(now_s + x)) for x in (time.median, time.p05, time.p95))
        return Quantiles(*(max(end - exposure_s, 0.0) for end in ends))

    def rest_or_none(time: Quantiles | None) -> Quantiles | None:
        return None if time is None else rest(time)

    wait = prediction.typical_wait_s
    return replace(
        prediction,
        remaining_s=tuple(rest(time) for time in prediction.remaining_s),
        time_to_first_s=at(prediction.time_to_first_s),
        time_to_share_s={share: at(time) for share, time in prediction.time_to_share_s.items()},
        remaining_to_last_s=rest_or_none(prediction.remaining_to_last_s),
        remaining_to_share_s={share: rest_or_none(time) for share, time in prediction.remaining_to_share_s.items()},
        typical_wait_s=Quantiles(*(x / clock.reception.latest for x in (wait.median, wait.p05, wait.p95))),
        curve_exposure_s=back(prediction.curve_exposure_s),
    )


# --- what the account is -----------------------------------------------------------------------------------------


def _is_lost(history: History, reading: Reading | None) -> bool:
    return history.refused_now and not is_awaited(history, reading)


def _wake_ups_s(clock: Clock) -> list[float]:
    """Exposures at which listening was taken up again after a pause."""
    spans = clock.proved
    if len(spans) < 2:
        return []
    pauses_s = spans[1:, 0] - spans[:-1, 1]
    return [float(x) for x in clock.lower_s(spans[1:, 0][pauses_s > WAKE_UP_PAUSE_S])]


def account_stopped_s(job: Job) -> float | None:
    """When the log says that the account was refused, lapsed or is none; None if that is not its last word."""
    account = job.select("account")
    if account.empty or account["value"].iloc[-1] not in STOPPED_STATES:
        return None
    return float(account["t_s"].iloc[-1])


def _account_dead(
    wanted: list[History],
    lost: frozenset[int],
    log_alive: float,
    stopped_s: float | None,
    prior: float,
) -> float:
    """P(the account as a whole gives nothing now)."""
    if stopped_s is not None:
        prior = STOPPED_ACCOUNT_DEAD
        if any(history.played_t_s is not None and history.played_t_s < stopped_s for history in wanted):
            since = sum(history.played_t_s is not None and history.played_t_s >= stopped_s for history in wanted)
            return _probability(prior, since * LOG_SLIP)
    playing = sum(history.state == "authorised" for history in wanted)
    if len(lost) > playing:
        return _probability(prior, playing * LOG_SLIP - math.log(LIVE_ACCOUNT_LOSES_MOST))
    sightings = sum(history.sightings for history in wanted)
    if are_too_many(sightings, sum(history.judged for history in wanted)):
        return 0.0
    return p_account_dead(log_alive, prior, sightings)


def _probability(prior: float, log_odds: float) -> float:
    """A prior probability moved by log odds."""
    return 1.0 / (1.0 + (1.0 - prior) / prior * math.exp(-log_odds))
