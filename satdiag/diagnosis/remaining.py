"""How many of the refused channels should still come, and when: one whole sentence for each case."""

from __future__ import annotations

from satdiag.diagnosis.remarks import CANNOT_TELL_BELOW, FEWEST_ARRIVALS, Case
from satdiag.diagnosis.wording import minutes, percent, span
from satdiag.findings import Quantiles
from satdiag.language import tell


def remaining(case: Case) -> str:
    """The sentence; empty where no channel is awaited or nothing can be said.

    Nothing is said that few arrivals do not bear out: no time before `FEWEST_ARRIVALS` channels came.
    """
    awaited, time = case.awaited, case.entitlement.remaining_to_last_s
    if not awaited:
        return ""
    if len(awaited) > 1 and not round(sum(awaited)):
        return tell("Whether any of the others comes is doubtful.")
    if case.arrived < FEWEST_ARRIVALS:
        return _too_early_for_a_time(awaited)
    return _with_time(awaited, time) if time is not None and time.p95 > 0.0 else _without_time(awaited)


def _only_some(awaited: list[float]) -> bool:
    """True if too few are expected to speak of them as 'the others'."""
    return sum(awaited) < CANNOT_TELL_BELOW * len(awaited)


def _with_time(awaited: list[float], time: Quantiles) -> str:
    within = span(time.p05, time.p95)
    if len(awaited) == 1:
        return tell(
            "The chance that the last one comes is {p}; if it does, that should take {span} more awake and "
            "receiving.",
            p=percent(awaited[0]),
            span=within,
        )
    if _only_some(awaited):
        return tell(
            "About {come} of the other {number} should still come; for all of these it should take {span} more awake "
            "and receiving.",
            come=round(sum(awaited)),
            number=len(awaited),
            span=within,
        )
    return tell(
        "The last of those still to come should be there after about {wait} more awake and receiving (90 % range "
        "{span}).",
        wait=minutes(time.median),
        span=within,
    )


def _too_early_for_a_time(awaited: list[float]) -> str:
    if len(awaited) == 1:
        return tell(
            "The chance that the last one comes is {p}; how long that may take cannot be told yet.",
            p=percent(awaited[0]),
        )
    if _only_some(awaited):
        return tell(
            "About {come} of the other {number} should still come; how long that may take cannot be told yet.",
            come=round(sum(awaited)),
            number=len(awaited),
        )
    return tell("How long the others may take cannot be told yet.")


def _without_time(awaited: list[float]) -> str:
    if len(awaited) == 1:
        return tell("The chance that the last one comes is {p}.", p=percent(awaited[0]))
    if _only_some(awaited):
        return tell(
            "About {come} of the other {number} should still come.", come=round(sum(awaited)), number=len(awaited)
        )
    return ""
