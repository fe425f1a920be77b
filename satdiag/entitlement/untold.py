"""What the entitlement findings cannot tell, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from satdiag.entitlement.channels import Expected, History
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.goodness import largest_gap
from satdiag.entitlement.outlook import Outlook
from satdiag.entitlement.posterior import likely_inside
from satdiag.entitlement.predict import Prediction
from satdiag.entitlement.said import SHOWN_CHANNELS
from satdiag.exposure import ExposureClock
from satdiag.findings import ChannelFinding
from satdiag.language import tell, tell_many

WAITS_TO_TELL = 2.0  # listened this many typical waits at their longest plausible: late can be told from never
WAITS_TO_SAY_NEVER = 3.0


def is_long_enough(at_least: float, middle: float) -> bool:
    """True if a channel was listened for long enough to tell late from never; both in typical waits."""
    return at_least >= WAITS_TO_TELL and middle >= WAITS_TO_SAY_NEVER


def said_of_the_log(clock: ExposureClock, expected: Expected, wanted: list[History]) -> list[str]:
    """What the log itself leaves open."""
    said = []
    if not wanted:
        said.append(
            tell("No channel is expected: there is no line-up with channels in the package, and none was checked.")
        )
    if clock.origin == "first-row":
        said.append(_of_the_first_row(clock))
    if clock.exposure_s == 0.0 and any(history.state == "refused" for history in wanted):
        said.append(tell("No stretch of listening is proved, so a refused channel does not yet mean anything."))
    if expected.taken_as_open:
        said.append(
            tell_many(
                "{n} channel played before the account was submitted: taken as open to all and not counted.",
                "{n} channels played before the account was submitted: taken as open to all and not counted.",
                len(expected.taken_as_open),
            )
        )
    if expected.package_unknown:
        said.append(
            tell_many(
                "The line-up does not say which packages hold {n} channel: not counted.",
                "The line-up does not say which packages hold {n} channels: not counted.",
                len(expected.package_unknown),
            )
        )
    for state, say in (("missing", _missing), ("no-signal", _without_signal), ("unchecked", _unchecked)):
        if number := sum(history.state == state for history in wanted):
            said.append(say(number))
    return said


def _of_the_first_row(clock: ExposureClock) -> str:
    if clock.era_start_s > 0:
        return tell(
            "The receiver was exchanged and no confirmation is logged since: the time listened counts "
            "from the exchange."
        )
    return tell(
        "No confirmation of the account is logged: the time listened counts from the first row, and how long "
        "the receiver had listened before is not known."
    )


def _missing(number: int) -> str:
    return tell_many(
        "{n} expected channel: not listed by the head unit; its chance is that of the others in the package.",
        "{n} expected channels: not listed by the head unit; its chance is that of the others in the package.",
        number,
    )


def _without_signal(number: int) -> str:
    return tell_many(
        "{n} expected channel: not to be judged for lack of signal.",
        "{n} expected channels: not to be judged for lack of signal.",
        number,
    )


def _unchecked(number: int) -> str:
    return tell_many(
        "{n} expected channel: never checked, or nothing could be read.",
        "{n} expected channels: never checked, or nothing could be read.",
        number,
    )


def said_of_the_outlook(outlook: Outlook, wanted: list[ChannelFinding]) -> list[str]:
    """What the outlook leaves open, for the expected channels."""
    said = []
    prediction, fill = outlook.prediction, outlook.fill
    undecided = sum(channel.state == "refused" and channel.reason == "cannot-tell" for channel in wanted)
    if undecided:
        said.append(_late_or_never(undecided, fill, prediction, outlook.last_look_s))
    lost = sum(channel.reason == "lost" for channel in wanted)
    if lost:
        said.append(
            tell_many(
                "{n} channel played before and is refused now: whether they come back is not a matter of waiting, "
                "so no chance is given for them or for the whole.",
                "{n} channels played before and are refused now: whether they come back is not a matter of waiting, "
                "so no chance is given for them or for the whole.",
                lost,
            )
        )
    if outlook.doubted:
        said.append(_doubted(outlook.doubted))
    if fill.unseen_s.size and prediction.remaining_to_last_s is None:
        said.append(tell("Hardly anything more is likely to come: no time is given for the last channel."))
    gap = largest_gap(likely_inside(fill, outlook.posterior.outside), outlook.posterior)
    if gap is not None and gap[0] > gap[1]:
        said.append(
            tell(
                "The channels did not come in by any of the laws that are averaged (off by {share:.0f} % of "
                "them): trust the counts more than the predicted times.",
                share=100 * gap[0],
            )
        )
    return said


def _doubted(channels: Sequence[int]) -> str:
    shown = ", ".join(str(channel) for channel in channels[:SHOWN_CHANNELS])
    more = ", ..." if len(channels) > SHOWN_CHANNELS else ""
    return tell_many(
        "{n} channel has a check that fits nothing else that was seen, and is taken as noted wrongly: look again at "
        "channel {channels}.",
        "{n} channels have a check that fits nothing else that was seen, and is taken as noted wrongly: look again "
        "at channels {channels}.",
        len(channels),
        channels=shown + more,
    )


def _late_or_never(undecided: int, fill: FillIn, prediction: Prediction, last_look_s: float) -> str:
    said = tell_many(
        "Too early to tell late from never for {n} refused channel",
        "Too early to tell late from never for {n} refused channels",
        undecided,
    )
    if not fill.arrivals:
        return tell("{said}: none has come yet, so the pace is not known.", said=said)
    wait = prediction.typical_wait_s
    need_s = max(WAITS_TO_TELL * wait.p95, WAITS_TO_SAY_NEVER * wait.median) - last_look_s
    if need_s <= 0.0:
        return tell("{said}: the chance of each is neither small nor large.", said=said)
    minutes = max(round(need_s / 60.0), 1)
    return tell("{said}: check again after about {minutes} min more of listening.", said=said, minutes=minutes)
