"""The entitlement findings in sentences: what was seen, what is still to come and when, and what cannot be told."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from satdiag.entitlement.channels import Expected, History
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.goodness import largest_gap
from satdiag.entitlement.outlook import Outlook
from satdiag.entitlement.posterior import likely_inside
from satdiag.entitlement.predict import Prediction
from satdiag.exposure import ExposureClock
from satdiag.findings import ChannelFinding, EntitlementFindings, Quantiles

LIKELY = 0.5
UNLIKELY = 0.05
WAITS_TO_TELL = 2.0  # listened this many typical waits at their longest plausible: late can be told from never
WAITS_TO_SAY_NEVER = 3.0
SHOWN_CHANNELS = 8
MOST_COME = 0.8  # of the rest, on the average: 'half of the rest should come' may be said
FEW_LATE = 4
FEW_ARRIVALS = 5
AT_ONCE_S = 30.0
LONG_AGO_S = 300.0
LESS_THAN_A_MINUTE_S = 45.0
_HOUR_MIN = 90


def is_long_enough(at_least: float, middle: float) -> bool:
    """True if a channel was listened for long enough to tell late from never; both in typical waits."""
    return at_least >= WAITS_TO_TELL and middle >= WAITS_TO_SAY_NEVER


# --- the summary -------------------------------------------------------------------------------------------------


def summary(found: EntitlementFindings, expected: Collection[int]) -> str:
    """Where the fill-in stands, in a few sentences; `expected` are the channels that should play."""
    wanted = [channel for channel in found.channels if channel.channel in expected]
    said = [_counted(found)]
    awaited = [channel for channel in wanted if channel.reason in ("late", "cannot-tell") and channel.p_will_come]
    if found.silence is not None:
        said.append(_of_silence(found))
    elif awaited and found.authorised:
        said += _of_the_rest(found, awaited)
    dead = [channel for channel in wanted if channel.reason == "account"]
    if dead and found.silence is None:
        said.append(f"{_channels(dead)}: the account as a whole looks dead.")
    others = [channel for channel in found.channels if channel.channel not in expected]
    said.append(_with_reason(others, "not-in-package", "{} {are} not in the package."))
    known = {"package": ", though the line-up has {them} in it"}.get(found.expected_from or "", "")
    never = "{} {are} most likely outside the account" + known + "."
    said.append(_with_reason(wanted, "not-in-package", never))
    said.append(_with_reason(found.channels, "lost", "{} played before and {are} refused now."))
    return " ".join(text for text in said if text)


def _counted(found: EntitlementFindings) -> str:
    of_what = {"package": " in the package", "lineup": " of the line-up", "seen": " seen so far"}
    where = of_what.get(found.expected_from or "", "")
    expected, here = found.expected or 0, found.authorised or 0
    plays = "none plays" if not here else f"{here} {'plays' if here == 1 else 'play'}"
    if expected == 1:
        return f"The one channel{where} {'plays' if here else 'does not play'}."
    if here == expected:
        return f"All {expected} channels{where} play."
    return f"Of {expected} channels{where} {plays}."


def _of_silence(found: EntitlementFindings) -> str:
    """Of the last look: what was not looked at since may have come."""
    looked_s, now_s = found.last_look_s or 0.0, found.exposure_s or 0.0
    if looked_s <= 0.0:
        return "No listening before the last look is proved, so that says nothing of the account yet."
    chance = 100.0 * (found.p_account_dead or 0.0)
    text = (
        f"After {_minutes(looked_s)} awake and receiving the chance that the account gives nothing is {chance:.0f} %"
    )
    if now_s - looked_s > LONG_AGO_S:
        return f"{text}; nobody has looked in the {_minutes(now_s - looked_s)} of listening since: look again now."
    sure_s = found.dead_sure_after_s
    if sure_s is None:
        return f"{text}; waiting alone will not settle it."
    if sure_s <= looked_s:
        return f"{text}."
    return f"{text}; if there is still nothing after {_minutes(sure_s)} in all, that is 95 % sure."


def _of_the_rest(found: EntitlementFindings, awaited: Sequence[ChannelFinding]) -> list[str]:
    """When the rest should come, and which of a few are late."""
    chances = [channel.p_will_come or 0.0 for channel in awaited]
    times = found.remaining_to_share_s or {}
    half, most = times.get("0.5"), times.get("0.9")
    if half is None or most is None:
        return []
    if (found.authorised or 0) < FEW_ARRIVALS:
        return ["How long the rest takes cannot be told from so few."]
    coming = sum(chances)
    late = [channel for channel in awaited if channel.reason == "late"]
    if len(awaited) <= FEW_LATE:
        said = f"{_channels(late)} {'is' if len(late) == 1 else 'are'} late but normal" if late else ""
        return [f"{said}: {_within(found.remaining_to_last_s or most)}."] if said else []
    if coming >= MOST_COME * len(awaited):
        who = "Half of the rest"
    elif coming >= LIKELY:
        who = f"About {max(round(coming), 1)} of the other {len(awaited)} should still come; half of those"
    else:
        return []
    if half.median < AT_ONCE_S:
        return [f"{who} may be there already: look now. Nearly all should be within {_late_end(most)}."]
    return [
        f"{who} should arrive within {_minutes(half.median, ' more')} awake outdoors, nearly all within "
        f"{_minutes(most.median)} (19 times in 20 within {_late_end(most)})."
    ]


def _within(time: Quantiles) -> str:
    return f"about {_minutes(time.median, ' more')} awake outdoors (19 times in 20 within {_late_end(time)})"


def _late_end(time: Quantiles) -> str:
    return _minutes(time.p95)


def _with_reason(channels: Iterable[ChannelFinding], reason: str, text: str) -> str:
    found = [channel for channel in channels if channel.reason == reason]
    one = len(found) == 1
    return text.format(_channels(found), are="is" if one else "are", them="it" if one else "them") if found else ""


def _channels(channels: Sequence[ChannelFinding]) -> str:
    """E.g. 'Channel 31', 'Channels 12, 200-219'; the first few stretches of many."""
    numbers = sorted(channel.channel for channel in channels)
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    texts = [f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    shown = ", ".join(texts[:SHOWN_CHANNELS]) + (
        f" and others ({len(numbers)} in all)" if len(texts) > SHOWN_CHANNELS else ""
    )
    return f"Channel{'' if len(numbers) == 1 else 's'} {shown}"


def _minutes(time_s: float, more: str = "") -> str:
    """Whole minutes, or hours where they are more than an hour and a half; `more` stands behind the number."""
    if time_s < LESS_THAN_A_MINUTE_S and not more:
        return "less than a minute"
    minutes = max(round(time_s / 60.0), 1)
    if minutes <= _HOUR_MIN:
        return f"{minutes}{more} minute{'' if minutes == 1 else 's'}"
    hours = f"{minutes / 60.0:.1f}".removesuffix(".0")
    return f"{hours}{more} hours"


# --- what cannot be told -----------------------------------------------------------------------------------------


def said_of_the_log(clock: ExposureClock, expected: Expected, wanted: list[History]) -> list[str]:
    """What the log itself leaves open."""
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
    gap = largest_gap(likely_inside(fill, outlook.posterior.outside), outlook.posterior)
    if gap is not None and gap[0] > gap[1]:
        said.append(
            f"The channels did not come in by any of the laws that are averaged (off by {100 * gap[0]:.0f} % of "
            "them): trust the counts more than the predicted times."
        )
    return said


def _late_or_never(undecided: int, fill: FillIn, prediction: Prediction, last_look_s: float) -> str:
    text = f"Too early to tell late from never for {_number(undecided, 'refused channel')}"
    if not fill.arrivals:
        return f"{text}: none has come yet, so the pace is not known."
    wait = prediction.typical_wait_s
    need_s = max(WAITS_TO_TELL * wait.p95, WAITS_TO_SAY_NEVER * wait.median) - last_look_s
    if need_s <= 0.0:
        return f"{text}: the chance of each is neither small nor large."
    return f"{text}: check again after about {max(round(need_s / 60.0), 1)} min more of listening."


def _number(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")
