"""The room's one door: from a job and its exposure clock to the entitlement findings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from satdiag.entitlement.channels import (
    Expected,
    History,
    Reading,
    checks_by_channel,
    expected_channels,
    fill_in_of,
    history_of,
    is_awaited,
)
from satdiag.entitlement.fill_in import FillIn, arrival_events, nodes_of
from satdiag.entitlement.goodness import largest_gap
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.posterior import Posterior, posterior_of
from satdiag.entitlement.predict import Prediction, p_account_dead, predict
from satdiag.entitlement.slips import LOG_SLIP, are_too_many, settle
from satdiag.exposure import ExposureClock
from satdiag.findings import ChannelFinding, EntitlementFindings, FillCurve, Quantiles
from satdiag.job import Job

Reason = Literal["plays", "late", "not-in-package", "account", "lost", "not-listed", "cannot-tell"]

# Judgements. Of the channels that a line-up puts in the package most should come; without one nothing is known.
PACKAGE_PRIOR = Priors(come_a=4.0, come_b=1.0)
OPEN_PRIOR = Priors()
STOPPED_ACCOUNT_DEAD = 0.98  # the log itself says that the account was refused, has lapsed or does not exist
LIVE_ACCOUNT_LOSES_MOST = 0.02  # chance that most channels of a living account are refused again
STOPPED_STATES = ("rejected", "lapsed", "none")
LIKELY = 0.5
UNLIKELY = 0.05
WAITS_TO_TELL = 2.0  # listened this many typical waits at their longest plausible: late can be told from never
WAITS_TO_SAY_NEVER = 3.0
WAKE_UP_PAUSE_S = 120.0  # after a longer pause in listening the phase of a repeated message is anyone's guess
SEEN_POINTS = 60
SHOWN_CHANNELS = 8


def estimate_entitlement(job: Job, clock: ExposureClock) -> EntitlementFindings:
    """What was authorised, what is still to come and when, which channels will not come, and why.

    Pure function of its arguments. Chances and times are averaged over the posterior; what cannot be told is None,
    with a sentence in `could_not`.
    """
    checks = checks_by_channel(job, clock)
    expected = expected_channels(job, checks)
    known = set(checks) | {line.channel for line in job.lineup or ()}
    histories = {channel: history_of(channel, checks.get(channel, []), clock) for channel in sorted(known)}
    wanted = [history for channel, history in histories.items() if channel in expected.channels]
    found = _counts(clock, expected, histories, wanted)
    said = _said_of_the_log(clock, expected, wanted)
    if not any(history.state in ("authorised", "refused") for history in wanted):
        said.append("No expected channel was seen authorised or refused: nothing can be said of entitlements.")
        channels = tuple(_channel(history, expected, None, None) for history in histories.values())
        return replace(found, channels=channels, could_not=tuple(said))
    outlook = _outlook(job, clock, expected, wanted)
    places = {channel: k for k, channel in enumerate(outlook.awaited)}
    channels = tuple(
        _channel(history, expected, places.get(channel), outlook) for channel, history in histories.items()
    )
    said += _said_of_the_outlook(outlook, [c for c in channels if c.channel in expected.channels])
    return replace(_predicted(found, outlook), channels=channels, could_not=tuple(said))


# --- counts and exposure -----------------------------------------------------------------------------------------


def _counts(
    clock: ExposureClock, expected: Expected, histories: Mapping[int, History], wanted: list[History]
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
    )


def _complete(wanted: list[History]) -> bool | None:
    """True if every expected channel plays, False if one was seen not to, None if that is not known."""
    if not wanted:
        return None
    if all(history.state == "authorised" for history in wanted):
        return True
    return False if any(history.state in ("refused", "missing") for history in wanted) else None


# --- the outlook -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Outlook:
    """`awaited`: channels that have not come, in the order of `fill.unseen_s`; `lost`: came, and refused now;
    `doubted`: with a check that is taken as noted wrongly.
    """

    fill: FillIn
    posterior: Posterior
    prediction: Prediction
    awaited: tuple[int, ...]
    lost: frozenset[int]
    doubted: tuple[int, ...]


def _outlook(job: Job, clock: ExposureClock, expected: Expected, wanted: list[History]) -> _Outlook:
    priors = PACKAGE_PRIOR if expected.source == "package" else OPEN_PRIOR
    wake_ups_s, origin_known = _wake_ups_s(clock), clock.origin == "confirmed"
    stopped_s = _stopped_s(job)
    settled = settle(wanted, clock.exposure_s, origin_known, priors, wake_ups_s, stopped_s is not None)
    fill = fill_in_of(wanted, settled.chosen, clock.exposure_s, origin_known)
    posterior = posterior_of(fill, priors, wake_ups_s)
    pairs = list(zip(wanted, settled.chosen, strict=True))
    lost = frozenset(h.channel for h, reading in pairs if h.state == "refused" and _is_lost(h, reading))
    dead = _account_dead(wanted, lost, settled.log_alive, stopped_s, priors.account_dead)
    return _Outlook(
        fill,
        posterior,
        predict(fill, posterior, dead),
        awaited=tuple(h.channel for h, reading in pairs if is_awaited(h, reading)),
        lost=lost,
        doubted=tuple(h.channel for h, reading in pairs if reading and reading.slips and h.channel not in lost),
    )


def _is_lost(history: History, reading: Reading | None) -> bool:
    return history.refused_now and not is_awaited(history, reading)


def _wake_ups_s(clock: ExposureClock) -> list[float]:
    """Exposures at which listening was taken up again after a pause."""
    spans = clock.proved
    if len(spans) < 2:
        return []
    pauses_s = spans[1:, 0] - spans[:-1, 1]
    return [float(x) for x in clock.lower_s(spans[1:, 0][pauses_s > WAKE_UP_PAUSE_S])]


def _stopped_s(job: Job) -> float | None:
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


def _predicted(found: EntitlementFindings, outlook: _Outlook) -> EntitlementFindings:
    prediction = outlook.prediction
    return replace(
        found,
        entitled_fraction=prediction.fraction,
        entitled_fraction_90=prediction.fraction_90,
        p_all_expected=None if outlook.lost else prediction.p_all_come,
        p_account_dead=prediction.p_account_dead,
        time_to_first_s=prediction.time_to_first_s,
        time_to_share_s={f"{share:.1f}": time for share, time in prediction.time_to_share_s.items()},
        remaining_to_last_s=prediction.remaining_to_last_s,
        curve=_curve(outlook.fill, prediction),
        arrival_events=arrival_events(outlook.fill),
    )


def _curve(fill: FillIn, prediction: Prediction) -> FillCurve:
    """The model's band, and how many of the channels seen to play had come by then at least and at most."""
    low_s = np.sort(np.concatenate([np.maximum(fill.seen_lower_s, 0.0), np.zeros(len(fill.held_s))]))
    high_s = np.sort(np.concatenate([fill.seen_upper_s, fill.held_s]))
    at_s = nodes_of(np.concatenate([[0.0, fill.now_s], low_s, high_s]), SEEN_POINTS)
    at_least = np.searchsorted(high_s, at_s, side="right") + fill.held_before
    at_most = np.maximum(np.searchsorted(low_s, at_s, side="left") + fill.held_before, at_least)
    band = (prediction.curve_exposure_s, prediction.curve_median, prediction.curve_p05, prediction.curve_p95)
    return FillCurve(*(tuple(float(x) for x in part) for part in (*band, at_s, at_least, at_most)))


# --- one channel -------------------------------------------------------------------------------------------------


def _channel(history: History, expected: Expected, place: int | None, outlook: _Outlook | None) -> ChannelFinding:
    """The finding of one channel; `place` is its index among the awaited ones, None if it is not awaited."""
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
        reason = _awaited_reason(history, place, outlook.prediction)
        if reason in ("late", "cannot-tell") and chance >= UNLIKELY:
            remaining = outlook.prediction.remaining_s[place]
    if history.state == "missing":
        reason = "not-listed"
    elif history.state == "authorised":
        reason = "plays"
    return ChannelFinding(history.channel, history.state, chance, remaining, reason)


def _awaited_reason(history: History, place: int, prediction: Prediction) -> Reason:
    """Late, never or not to be told, for an expected channel that has not come.

    Never needs both a small chance and a long enough follow-up: with less than two typical waits of listening the
    data cannot tell late from never.
    """
    chance = float(prediction.p_will_come[place])
    if history.state != "refused":
        return "cannot-tell"
    if prediction.p_account_dead >= LIKELY:
        return "account"
    if chance >= LIKELY:
        return "late"
    at_least, middle = prediction.waits_listened[place]
    long_enough = at_least >= WAITS_TO_TELL and middle >= WAITS_TO_SAY_NEVER
    return "not-in-package" if chance < UNLIKELY and long_enough else "cannot-tell"


# --- sentences ---------------------------------------------------------------------------------------------------


def _said_of_the_log(clock: ExposureClock, expected: Expected, wanted: list[History]) -> list[str]:
    said = []
    if not wanted:
        said.append("No channel is expected: there is no line-up with channels in the package, and none was checked.")
    if clock.origin == "first-row" and clock.era_start_s > 0:
        said.append(
            "The receiver was exchanged and no confirmation is logged since: the time listened counts "
            "from the exchange."
        )
    elif clock.origin == "first-row":
        said.append(
            "No confirmation of the account is logged: the time listened counts from the first row, and how long "
            "the receiver had listened before is not known."
        )
    if clock.exposure_s == 0.0 and any(history.state == "refused" for history in wanted):
        said.append("No stretch of listening is proved, so a refused channel does not yet mean anything.")
    if expected.taken_as_open:
        said.append(
            f"{_number(len(expected.taken_as_open), 'channel')} played before the account was submitted: "
            "taken as open to all and not counted."
        )
    if expected.package_unknown:
        said.append(
            f"The line-up does not say which packages hold {_number(len(expected.package_unknown), 'channel')}: "
            "not counted."
        )
    for state, what in (
        ("missing", "not listed by the head unit; its chance is that of the others in the package"),
        ("no-signal", "not to be judged for lack of signal"),
        ("unchecked", "never checked"),
    ):
        number = sum(history.state == state for history in wanted)
        if number:
            said.append(f"{_number(number, 'expected channel')}: {what}.")
    return said


def _said_of_the_outlook(outlook: _Outlook, wanted: list[ChannelFinding]) -> list[str]:
    said = []
    prediction, fill = outlook.prediction, outlook.fill
    undecided = sum(channel.state == "refused" and channel.reason == "cannot-tell" for channel in wanted)
    if undecided:
        said.append(_late_or_never(undecided, fill, prediction))
    lost = sum(channel.reason == "lost" for channel in wanted)
    if lost:
        said.append(
            f"{_number(lost, 'channel')} played before and {'is' if lost == 1 else 'are'} refused now: "
            "whether they come back is not a matter of waiting, so no chance is given for them or for the whole."
        )
    if outlook.doubted:
        slips = len(outlook.doubted)
        shown = ", ".join(str(channel) for channel in outlook.doubted[:SHOWN_CHANNELS])
        more = ", ..." if len(outlook.doubted) > SHOWN_CHANNELS else ""
        said.append(
            f"{_number(slips, 'channel')} {'has' if slips == 1 else 'have'} a check that fits nothing else that was "
            f"seen; it is taken as noted wrongly: look again at {shown}{more}."
        )
    if fill.unseen_s.size and prediction.remaining_to_last_s is None:
        said.append("Hardly anything more is likely to come: no time is given for the last channel.")
    gap = largest_gap(fill, outlook.posterior)
    if gap is not None and gap[0] > gap[1]:
        said.append(
            f"The channels did not come in by any of the laws that are averaged (off by {100 * gap[0]:.0f} % of "
            "them): trust the counts more than the predicted times."
        )
    return said


def _late_or_never(undecided: int, fill: FillIn, prediction: Prediction) -> str:
    text = f"Too early to tell late from never for {_number(undecided, 'refused channel')}"
    if not fill.arrivals:
        return f"{text}: none has come yet, so the pace is not known."
    wait = prediction.typical_wait_s
    need_s = max(WAITS_TO_TELL * wait.p95, WAITS_TO_SAY_NEVER * wait.median) - float(fill.unseen_s.max(initial=0.0))
    if need_s <= 0.0:
        return f"{text}: the chance of each is neither small nor large."
    return f"{text}: check again after about {max(round(need_s / 60.0), 1)} min more of listening."


def _number(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")
