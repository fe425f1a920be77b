"""The entitlement findings in sentences: what was seen, what is still to come and when."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from satdiag.findings import ChannelFinding, EntitlementFindings, Quantiles
from satdiag.language import chance_text, in_figures, mark, tell, tell_many, translated

LIKELY = 0.5
UNLIKELY = 0.05
SHOWN_CHANNELS = 8
MOST_COME = 0.8  # of the rest, on the average: 'half of the rest should come' may be said
FEW_LATE = 4
FEW_ARRIVALS = 5
AT_ONCE_S = 30.0
LONG_AGO_S = 300.0
LESS_THAN_A_MINUTE_S = 45.0
_HOUR_MIN = 90
_ONE_OF = {
    "package": mark("channel in the package"),
    "lineup": mark("channel of the line-up"),
    "seen": mark("channel seen so far"),
}


def summary(found: EntitlementFindings, expected: Collection[int]) -> str:
    """Where the fill-in stands, in a few sentences; `expected` are the channels that should play."""
    wanted = [channel for channel in found.channels if channel.channel in expected]
    said = [_counted(found)]
    awaited = [channel for channel in wanted if channel.reason in ("late", "cannot-tell") and channel.p_will_come]
    if found.silence is not None:
        said.append(_of_silence(found))
    elif awaited and found.authorised:
        said += _of_the_rest(found, awaited)
    dead = _because(wanted, "account") if found.silence is None else []
    others = [channel for channel in found.channels if channel.channel not in expected]
    said += [_dead(dead), _not_in_package(_because(others, "not-in-package"))]
    said.append(_outside(_because(wanted, "not-in-package"), found.expected_from == "package"))
    said.append(_lost(_because(found.channels, "lost")))
    return " ".join(text for text in said if text)


def _counted(found: EntitlementFindings) -> str:
    expected, here = found.expected or 0, found.authorised or 0
    if expected == 1:
        one = translated(_ONE_OF.get(found.expected_from or "", mark("channel")))
        if here:
            return tell("The one {channel} plays.", channel=one)
        return tell("The one {channel} does not play.", channel=one)
    many = _many_channels(found.expected_from or "", expected)
    if here == expected:
        return tell("All {channels} play.", channels=many)
    if not here:
        return tell("Of {channels} none plays.", channels=many)
    return tell_many("Of {channels} {n} plays.", "Of {channels} {n} play.", here, channels=many)


def _many_channels(expected_from: str, n: int) -> str:
    if expected_from == "package":
        return tell_many("{n} channel in the package", "{n} channels in the package", n)
    if expected_from == "lineup":
        return tell_many("{n} channel of the line-up", "{n} channels of the line-up", n)
    if expected_from == "seen":
        return tell_many("{n} channel seen so far", "{n} channels seen so far", n)
    return tell_many("{n} channel", "{n} channels", n)


def _of_silence(found: EntitlementFindings) -> str:
    """Of the last look: what was not looked at since may have come."""
    looked_s, now_s = found.last_look_s or 0.0, found.exposure_s or 0.0
    if looked_s <= 0.0:
        return tell("No listening before the last look is proved, so that says nothing of the account yet.")
    said = tell(
        "After {time} awake and receiving the chance that the account gives nothing is {chance}",
        time=_minutes(looked_s),
        chance=chance_text(found.p_account_dead or 0.0),
    )
    if now_s - looked_s > LONG_AGO_S:
        since = _minutes(now_s - looked_s)
        return tell(
            "{said}; nobody has looked in the {time} of listening since: look again now.", said=said, time=since
        )
    sure_s = found.dead_sure_after_s
    if sure_s is None:
        return tell("{said}; waiting alone will not settle it.", said=said)
    if sure_s <= looked_s:
        return f"{said}."
    sure = _minutes(sure_s)
    return tell("{said}; if there is still nothing after {time} in all, that is 95 % sure.", said=said, time=sure)


def _of_the_rest(found: EntitlementFindings, awaited: Sequence[ChannelFinding]) -> list[str]:
    """When the rest should come, and which of a few are late."""
    coming = sum(channel.p_will_come or 0.0 for channel in awaited)
    times = found.remaining_to_share_s or {}
    half, most = times.get("0.5"), times.get("0.9")
    if half is None or most is None:
        return []
    if (found.authorised or 0) < FEW_ARRIVALS:
        return [tell("How long the rest takes cannot be told from so few.")]
    late = [channel for channel in awaited if channel.reason == "late"]
    if len(awaited) <= FEW_LATE:
        return [_late(late, found.remaining_to_last_s or most)] if late else []
    if coming >= MOST_COME * len(awaited):
        return [_half_of_the_rest(half, most)]
    if coming >= LIKELY:
        return [_half_of_some(max(round(coming), 1), len(awaited), half, most)]
    return []


def _late(late: Sequence[ChannelFinding], time: Quantiles) -> str:
    return tell_many(
        "Channel {channels} is late but normal: about {time} awake outdoors (19 times in 20 within {longest}).",
        "Channels {channels} are late but normal: about {time} awake outdoors (19 times in 20 within {longest}).",
        len(late),
        channels=_numbers(late),
        time=_more_minutes(time.median),
        longest=_minutes(time.p95),
    )


def _half_of_the_rest(half: Quantiles, most: Quantiles) -> str:
    if half.median < AT_ONCE_S:
        return tell(
            "Half of the rest may be there already: look now. Nearly all should be there within {longest}.",
            longest=_minutes(most.p95),
        )
    return tell(
        "Half of the rest should arrive within {half} awake outdoors, nearly all within {most} "
        "(19 times in 20 within {longest}).",
        half=_more_minutes(half.median),
        most=_minutes(most.median),
        longest=_minutes(most.p95),
    )


def _half_of_some(some: int, rest: int, half: Quantiles, most: Quantiles) -> str:
    if half.median < AT_ONCE_S:
        return tell_many(
            "About {n} of the other {rest} should still come; half of those may be there already: look now. "
            "Nearly all should be there within {longest}.",
            "About {n} of the other {rest} should still come; half of those may be there already: look now. "
            "Nearly all should be there within {longest}.",
            some,
            rest=rest,
            longest=_minutes(most.p95),
        )
    return tell_many(
        "About {n} of the other {rest} should still come; half of those should arrive within {half} awake outdoors, "
        "nearly all within {most} (19 times in 20 within {longest}).",
        "About {n} of the other {rest} should still come; half of those should arrive within {half} awake outdoors, "
        "nearly all within {most} (19 times in 20 within {longest}).",
        some,
        rest=rest,
        half=_more_minutes(half.median),
        most=_minutes(most.median),
        longest=_minutes(most.p95),
    )


def _because(channels: Iterable[ChannelFinding], reason: str) -> list[ChannelFinding]:
    return [channel for channel in channels if channel.reason == reason]


def _dead(found: Sequence[ChannelFinding]) -> str:
    return _of(
        found,
        mark("Channel {channels}: the account as a whole looks dead."),
        mark("Channels {channels}: the account as a whole looks dead."),
    )


def _not_in_package(found: Sequence[ChannelFinding]) -> str:
    return _of(
        found,
        mark("Channel {channels} is not in the package."),
        mark("Channels {channels} are not in the package."),
    )


def _outside(found: Sequence[ChannelFinding], in_lineup: bool) -> str:
    if in_lineup:
        return _of(
            found,
            mark("Channel {channels} is most likely outside the account, though the line-up has it in it."),
            mark("Channels {channels} are most likely outside the account, though the line-up has them in it."),
        )
    return _of(
        found,
        mark("Channel {channels} is most likely outside the account."),
        mark("Channels {channels} are most likely outside the account."),
    )


def _lost(found: Sequence[ChannelFinding]) -> str:
    return _of(
        found,
        mark("Channel {channels} played before and is refused now."),
        mark("Channels {channels} played before and are refused now."),
    )


def _of(channels: Sequence[ChannelFinding], one: str, many: str) -> str:
    """A sentence on channels, or nothing where there are none."""
    text = translated(one if len(channels) == 1 else many)
    return text.format(channels=_numbers(channels)) if channels else ""


def _numbers(channels: Sequence[ChannelFinding]) -> str:
    """E.g. '31', '12, 200-219'; the first few stretches of many."""
    numbers = sorted(channel.channel for channel in channels)
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    texts = [f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    shown = ", ".join(texts[:SHOWN_CHANNELS])
    if len(texts) <= SHOWN_CHANNELS:
        return shown
    return tell("{channels} and others ({count} in all)", channels=shown, count=len(numbers))


def _minutes(time_s: float) -> str:
    """Whole minutes, or hours where they are more than an hour and a half."""
    if time_s < LESS_THAN_A_MINUTE_S:
        return tell("less than a minute")
    minutes = max(round(time_s / 60.0), 1)
    if minutes <= _HOUR_MIN:
        return tell_many("{n} minute", "{n} minutes", minutes)
    return tell("{hours} hours", hours=_hours(minutes))


def _more_minutes(time_s: float) -> str:
    """'6 more minutes', '2.3 more hours'."""
    minutes = max(round(time_s / 60.0), 1)
    if minutes <= _HOUR_MIN:
        return tell_many("{n} more minute", "{n} more minutes", minutes)
    return tell("{hours} more hours", hours=_hours(minutes))


def _hours(minutes: int) -> str:
    return in_figures(f"{minutes / 60.0:.1f}".removesuffix(".0"))
