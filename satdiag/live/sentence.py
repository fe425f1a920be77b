"""The one sentence at the top of the page, what to do, and when the person is called; from the findings.

Three moments are worth calling a person for. Each is a wait on the exposure clock, which only runs while the receiver
is awake with signal, counted from the analysis. With n channels that are likely to come and have not:

* look: when at least one more should be there, but not within a minute of the last look, nor half an hour after it;
* half: when half of the n (rounded up) should be there; left out where that is the first one;
* stop: when the last of all that come is there with 95 % certainty, the upper end of its 90 % range.

'Should be there' means as likely as not: the exposure at which the median of the fill-in curve, which counts all
channels together in every simulated future, has reached so many more than were seen for certain. Where the curve
ends before, it is the wait of that rank among the channels' own median waits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from satdiag.diagnosis.wording import whole_minutes
from satdiag.findings import EntitlementFindings, FillCurve, Findings, Quantiles
from satdiag.language import mark, tell, tell_many, translated
from satdiag.live.state import Chance
from satdiag.live.waits import Waits
from satdiag.report import words

SOONEST_LOOK_S = 60.0
LATEST_LOOK_S = 1800.0
LIKELY = 0.5
HOURS_FROM_S = 5400.0
"""Waits from here on are said in hours."""

NOTHING_YET = mark("Nothing is known yet. Tap what you see.")
TOLD_FROM = 5
"""From so many channels that came on, how long the rest takes is told: below, it says the prior more than the log."""


@dataclass(frozen=True)
class Call:
    """A moment to call the person: `in_s` after the analysis if the receiver listens on; below 0 it has passed."""

    what: Literal["look", "half", "stop"]
    in_s: float
    why: str


@dataclass(frozen=True)
class Now:
    """Where it stands: a sentence, what to do, and the moments to call the person, the first one first.

    `told`: more sentences, of channels and channel changes, and what must be checked first.
    """

    sentence: str
    what_to_do: str = ""
    calls: tuple[Call, ...] = ()
    told: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """As the page gets it. A call's `in_s` counts from the analysis: its age has to be taken off."""
        calls = [{"what": call.what, "in_s": round(call.in_s), "why": call.why} for call in self.calls]
        told = list(self.told)
        return {"sentence": self.sentence, "what_to_do": self.what_to_do, "calls": calls, "told": told}


def now_of(findings: Findings, looked_s_ago: float = 0.0) -> Now:
    """The sentence of an analysis; `looked_s_ago`: how long before the last row a channel was last looked at."""
    verdict, entitlement = findings.verdict, findings.entitlement
    sentence = words.sentence(verdict.text) or translated(NOTHING_YET)
    calls: tuple[Call, ...] = ()
    span = ""
    if verdict.state == "filling":
        (sentence, span), calls = _filling(entitlement), calls_of(entitlement, looked_s_ago)
    elif verdict.state == "works" and entitlement.expected:
        sentence = _works(entitlement)
    tuning = findings.tuning.text if findings.tuning.audio_s else ""
    cautions = (words.sentence(text) for text in findings.sky.cautions)
    told = tuple(text for text in (span, entitlement.text, tuning, *cautions) if text)
    return Now(sentence, words.sentence(verdict.do_next), calls, told)


def _works(entitlement: EntitlementFindings) -> str:
    """Without a line-up nobody knows how many there are: only those that were looked at are counted."""
    authorised, expected = entitlement.authorised, entitlement.expected or 0
    if entitlement.expected_from != "seen":
        return tell_many(
            "It works: {plays} of {n} channel plays.",
            "It works: {plays} of {n} channels play.",
            expected,
            plays=authorised,
        )
    if authorised == expected:
        return tell("It works: all {total} seen so far play.", total=expected)
    return tell("It works: {plays} of {total} seen so far play.", plays=authorised, total=expected)


def _filling(entitlement: EntitlementFindings) -> tuple[str, str]:
    """The sentence, and the range behind its number; blank where there is no number."""
    authorised, rest = entitlement.authorised or 0, entitlement.remaining_to_last_s
    came = max(entitlement.arrival_events or 0, authorised)
    if rest is None or came < TOLD_FROM:
        return tell(
            "How long it still takes cannot be told yet: {plays} of {total} play.",
            plays=authorised,
            total=entitlement.expected,
        ), ""
    counted = tell("Still filling in: {plays} of {total}.", plays=authorised, total=entitlement.expected)
    span = tell("The last channel comes after {span} more awake, outdoors (90 % sure).", span=_span(rest))
    return f"{counted} {_about(rest.median)}", span


def _about(rest_s: float) -> str:
    if round(rest_s / 60) < 1:
        return tell("Look now.")
    if _in_hours(rest_s):
        return tell("About {hours:.1f} more hours awake, outdoors.", hours=rest_s / 3600)
    return tell_many(
        "About {n} more minute awake, outdoors.", "About {n} more minutes awake, outdoors.", whole_minutes(rest_s)
    )


def _in_hours(wait_s: float) -> bool:
    return wait_s >= HOURS_FROM_S


def _span(rest: Quantiles) -> str:
    """E.g. '4 to 25 minutes', '40 minutes to 2.1 hours'; from 0 where the early end is less than half a minute."""
    if round(rest.p95 / 60) < 1:
        return tell("less than a minute")
    if _in_hours(rest.p05):
        low_h, high_h = rest.p05 / 3600, rest.p95 / 3600
        if f"{low_h:.1f}" == f"{high_h:.1f}":
            return tell("about {hours:.1f} hours", hours=high_h)
        return tell("{low:.1f} to {high:.1f} hours", low=low_h, high=high_h)
    low = 0 if round(rest.p05 / 60) < 1 else whole_minutes(rest.p05)
    if _in_hours(rest.p95):
        return tell("{low} minutes to {high:.1f} hours", low=low, high=rest.p95 / 3600)
    high = whole_minutes(rest.p95)
    if low == high:
        return tell_many("about {n} minute", "about {n} minutes", high)
    return tell_many("{low} to {n} minute", "{low} to {n} minutes", high, low=low)


# --- calls ----------------------------------------------------------------------------------------------------------


def calls_of(entitlement: EntitlementFindings, looked_s_ago: float = 0.0) -> tuple[Call, ...]:
    """The moments that the findings tell, in order; how they are found is said above."""
    likely = _likely_waits_s(entitlement)
    found: list[Call] = []
    if likely:
        found.append(_look(_until_more_s(entitlement, 1, likely), looked_s_ago, len(likely)))
    rank = (len(likely) + 1) // 2
    if rank > 1:
        half_s = max(_until_more_s(entitlement, rank, likely), found[0].in_s)
        why = tell_many(
            "If the receiver is awake with signal until then, {rank} of the one channel that should still come are "
            "there with even chances.",
            "If the receiver is awake with signal until then, {rank} of the {n} channels that should still come are "
            "there with even chances.",
            len(likely),
            rank=rank,
        )
        found.append(Call("half", half_s, why))
    last = entitlement.remaining_to_last_s
    if last is not None and (likely or last.p95 > 0):
        stop_s = max([last.p95, *(call.in_s for call in found)])
        why = tell(
            "If the receiver is awake with signal until then, the last channel that comes is there with 95 % "
            "certainty: what is missing then needs another test than waiting."
        )
        found.append(Call("stop", stop_s, why))
    return tuple(found)


def _look(wait_s: float, looked_s_ago: float, number: int) -> Call:
    latest_s = LATEST_LOOK_S - looked_s_ago
    if wait_s > latest_s:
        return Call(
            "look", latest_s, tell("Then nobody has looked for half an hour, though nothing need have come yet.")
        )
    why = tell_many(
        "If the receiver is awake with signal until then, at least one more of the one channel that should still "
        "come is there with even chances.",
        "If the receiver is awake with signal until then, at least one more of the {n} channels that should still "
        "come is there with even chances.",
        number,
    )
    return Call("look", max(wait_s, SOONEST_LOOK_S - looked_s_ago), why)


def _likely_waits_s(entitlement: EntitlementFindings) -> list[float]:
    """The median waits of the channels that are likely to come, the shortest first."""
    return sorted(
        channel.remaining_s.median
        for channel in entitlement.channels
        if channel.remaining_s is not None and (channel.p_will_come or 0.0) >= LIKELY
    )


def _until_more_s(entitlement: EntitlementFindings, more: int, likely: list[float]) -> float:
    """How long from now until so many more should be there; below 0 if they should be there already."""
    curve, now_s = entitlement.curve, entitlement.exposure_s
    if curve is not None and curve.seen_low and now_s is not None:
        reached_s = _reached_s(curve, curve.seen_low[-1] + more)
        if reached_s is not None:
            return reached_s - now_s
    return likely[more - 1]


def _reached_s(curve: FillCurve, number: float) -> float | None:
    """The exposure at which the median of the curve reaches a number, a straight line between its points."""
    points = list(zip(curve.exposure_s, curve.median, strict=True))
    for (before_s, before), (at_s, count) in pairwise(points):
        if before < number <= count:
            return before_s + (at_s - before_s) * (number - before) / (count - before)
    return None


def chances_of(findings: Findings) -> Mapping[int, Chance]:
    """Channel by channel what the findings hold on whether and when it comes."""
    return Waits(findings.entitlement.channels)
