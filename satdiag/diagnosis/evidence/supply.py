"""Evidence of the supply: too low, dips, and whether restarts fall into the dips."""

from __future__ import annotations

from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import log_of
from satdiag.diagnosis.seen import Seen
from satdiag.findings import SupplyFindings

LOWEST_V = {"A": 6.0, "B": 8.0, "C": 9.0, "D": 10.5}  # supply codes of ISO 16750-2


def _supply(known: Known) -> Seen | None:
    """Low: below what the receiver is made for. Dips of a start are no fault; short ones of their own are."""
    supply = known.wiring.supply
    lowest = None if supply is None else (supply.minimum_v if supply.minimum_v is not None else supply.median_v)
    if supply is None or lowest is None:
        return None
    log = log_of(known.job)
    rows = log.of("supply").names()
    if any(dip.shape == "contact" for dip in supply.dips):
        return Seen("supply", "dips", rows)
    return Seen("supply", "low" if lowest < LOWEST_V[supply.code_needed] else "normal", rows)


def _restarts_tied(known: Known) -> Seen | None:
    """Whether restarts fall into dips more often than chance would have it; or where the supply was seen sound."""
    supply = known.wiring.supply
    if supply is None or supply.tie is None or not supply.tie.restarts:
        return None
    word = _word(supply)
    return None if word is None else Seen("restarts-tied", word, log_of(known.job).of("reset").names())


def _word(supply: SupplyFindings) -> str | None:
    tie = supply.tie
    if tie is None or tie.standing == "cannot-tell":
        return None
    return "tied" if tie.standing == "tied" else "apart"


LOOKS = (_supply, _restarts_tied)
