"""The one sentence at the top of the page, what to do, and when to look next; from the findings of the analysis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from satdiag.diagnosis.verdict import minutes
from satdiag.findings import EntitlementFindings, Findings
from satdiag.live.state import Chance
from satdiag.report import words

SOONEST_LOOK_S = 60.0
LATEST_LOOK_S = 1800.0
LIKELY = 0.5

NOTHING_YET = "Nothing is known yet. Tap what you see."


@dataclass(frozen=True)
class Now:
    """Where it stands: a sentence, what to do, and in how many seconds to look at the channels again, if known."""

    sentence: str
    what_to_do: str = ""
    next_look_s: float | None = None

    def to_dict(self, age_s: float | None) -> dict[str, object]:
        """As the page gets it; the wait until the next look has run since the analysis."""
        wait = self.next_look_s
        if wait is not None and age_s is not None:
            wait = max(0.0, wait - age_s)
        look = None if wait is None else round(wait)
        return {"sentence": self.sentence, "what_to_do": self.what_to_do, "next_look_s": look}


def now_of(findings: Findings) -> Now:
    """The sentence of an analysis."""
    verdict, entitlement = findings.verdict, findings.entitlement
    sentence, look_s = words.sentence(verdict.text) or NOTHING_YET, None
    if verdict.state == "filling":
        sentence, look_s = _filling(entitlement), _next_look_s(entitlement)
    elif verdict.state == "works" and entitlement.expected:
        sentence = f"It works: {entitlement.authorised} of {entitlement.expected} channels play."
    return Now(sentence, words.sentence(verdict.do_next), look_s)


def _filling(entitlement: EntitlementFindings) -> str:
    counted = f"Still filling in: {entitlement.authorised or 0} of {entitlement.expected}."
    rest = entitlement.remaining_to_last_s
    if rest is None:
        return f"{counted} How long it still takes cannot be told yet."
    number, unit = minutes(rest.median).split(" ", 1)
    return f"{counted} About {number} more {unit} awake, outdoors."


def _next_look_s(entitlement: EntitlementFindings) -> float | None:
    """When half of the channels that are likely to come should be there; None where nothing tells."""
    waits = sorted(
        channel.remaining_s.median
        for channel in entitlement.channels
        if channel.remaining_s is not None and (channel.p_will_come or 0.0) >= LIKELY
    )
    if not waits:
        return None
    return min(max(waits[(len(waits) - 1) // 2], SOONEST_LOOK_S), LATEST_LOOK_S)


def chances_of(findings: Findings) -> Mapping[int, Chance]:
    """Channel by channel what the findings hold on whether and when it comes."""
    return {
        channel.channel: Chance(
            None if channel.p_will_come is None else round(channel.p_will_come, 3),
            None if channel.remaining_s is None else round(channel.remaining_s.median),
        )
        for channel in findings.entitlement.channels
    }
