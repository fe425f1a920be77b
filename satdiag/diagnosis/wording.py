"""Chances, waits and counts as a verdict says them."""

from __future__ import annotations

from satdiag.findings import EntitlementFindings
from satdiag.language import tell, tell_many

AS_GOOD_AS_SURE = 0.9
"""From this chance on a conclusion is said flatly ('very likely' in the letters); below, as what is most likely."""


def percent(p: float) -> str:
    """A probability as a person should see it: whole percent, and never 0 or 100."""
    if p < 0.05:
        return tell("under 5 %")
    return tell("over 95 %") if p > 0.95 else tell("about {share} %", share=round(p * 100))


def minutes(seconds: float) -> str:
    """Seconds as minutes, no finer than such a prediction is worth; hours when long."""
    if seconds >= 5400:
        return tell("{hours:.1f} hours", hours=seconds / 3600)
    return tell_many("{n} minute", "{n} minutes", whole_minutes(seconds))


def whole_minutes(seconds: float) -> int:
    """Seconds as minutes, to the minute below ten and to five above."""
    step = 1 if seconds < 600 else 5
    return max(step * round(seconds / 60 / step), 1)


def span(low_s: float, high_s: float) -> str:
    """Two waits as a range: '3 minutes to 2.3 hours'; 'about 3 minutes' where both are said alike."""
    low, high = minutes(low_s), minutes(high_s)
    return tell("about {low}", low=low) if low == high else tell("{low} to {high}", low=low, high=high)


def plays_of(entitlement: EntitlementFindings) -> str:
    """'3 of 27 expected channels play'."""
    total, plays = entitlement.expected or 0, entitlement.authorised or 0
    if total == 1:
        return tell("{plays} of {total} expected channel plays", plays=plays, total=total)
    if plays == 1:
        return tell("{plays} of {total} expected channels plays", plays=plays, total=total)
    return tell("{plays} of {total} expected channels play", plays=plays, total=total)
