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

from satdiag.diagnosis.verdict import minutes
from satdiag.findings import EntitlementFindings, FillCurve, Findings, Quantiles
from satdiag.live.state import Chance
from satdiag.report import words

SOONEST_LOOK_S = 60.0
LATEST_LOOK_S = 1800.0
LIKELY = 0.5

NOTHING_YET = "Nothing is known yet. Tap what you see."
TOLD_FROM = 5
"""From so many channels that came on, how long the rest takes is told: below, it says the prior more than the log."""

IF_AWAKE = "If the receiver is awake with signal until then"
EVEN = "with even chances"
SURE = "with 95 % certainty: what is missing then needs another test than waiting"


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
    sentence = words.sentence(verdict.text) or NOTHING_YET
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
    authorised, expected = entitlement.authorised, entitlement.expected
    if entitlement.expected_from != "seen":
        return f"It works: {authorised} of {expected} channels play."
    some = f"all {expected}" if authorised == expected else f"{authorised} of {expected}"
    return f"It works: {some} seen so far play."


def _filling(entitlement: EntitlementFindings) -> tuple[str, str]:
    """The sentence, and the range behind its number; blank where there is no number."""
    authorised, rest = entitlement.authorised or 0, entitlement.remaining_to_last_s
    came = max(entitlement.arrival_events or 0, authorised)
    if rest is None or came < TOLD_FROM:
        return f"How long it still takes cannot be told yet: {authorised} of {entitlement.expected} play.", ""
    counted = f"Still filling in: {authorised} of {entitlement.expected}."
    span = f"The last channel comes after {_span(rest)} more awake, outdoors (90 % sure)."
    if round(rest.median / 60) < 1:
        return f"{counted} Look now.", span
    number, unit = minutes(rest.median).split(" ", 1)
    return f"{counted} About {number} more {unit} awake, outdoors.", span


def _span(rest: Quantiles) -> str:
    """E.g. '4 to 25 minutes', '40 minutes to 2.1 hours'; from 0 where the early end is less than half a minute."""
    low, high = ("0 minutes" if round(end_s / 60) < 1 else minutes(end_s) for end_s in (rest.p05, rest.p95))
    if low == high:
        return f"about {high}"
    (first, unit), other = low.split(" ", 1), high.split(" ", 1)[1]
    return f"{first} to {high}" if unit.rstrip("s") == other.rstrip("s") else f"{low} to {high}"


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
        what = f"{rank} of {_these(len(likely))} that should still come are there"
        found.append(Call("half", half_s, f"{IF_AWAKE}, {what} {EVEN}."))
    last = entitlement.remaining_to_last_s
    if last is not None and (likely or last.p95 > 0):
        stop_s = max([last.p95, *(call.in_s for call in found)])
        found.append(Call("stop", stop_s, f"{IF_AWAKE}, the last channel that comes is there {SURE}."))
    return tuple(found)


def _look(wait_s: float, looked_s_ago: float, number: int) -> Call:
    latest_s = LATEST_LOOK_S - looked_s_ago
    if wait_s > latest_s:
        return Call("look", latest_s, "Then nobody has looked for half an hour, though nothing need have come yet.")
    why = f"{IF_AWAKE}, at least one more of {_these(number)} that should still come is there {EVEN}."
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


def _these(number: int) -> str:
    return f"the {number} channels" if number > 1 else "the one channel"


def chances_of(findings: Findings) -> Mapping[int, Chance]:
    """Channel by channel what the findings hold on whether and when it comes."""
    return {
        channel.channel: Chance(
            None if channel.p_will_come is None else round(channel.p_will_come, 3),
            None if channel.remaining_s is None else round(channel.remaining_s.median),
        )
        for channel in findings.entitlement.channels
    }
