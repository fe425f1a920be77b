"""Evidence of the supply: too low, dips, and whether restarts fall into the dips."""

from __future__ import annotations

import numpy as np

from satdiag.diagnosis.again import LOOKS_ENOUGH
from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import Part, log_of
from satdiag.diagnosis.seen import Seen
from satdiag.findings import SupplyFindings

LOWEST_V = {"A": 6.0, "B": 8.0, "C": 9.0, "D": 10.5}  # supply codes of ISO 16750-2

START_V = 6.0
"""So low a start may pull a sound supply: 8 V and 6 V for milliseconds in the starting profiles I and IV of
ISO 16750-2 (from memory)."""

ANEW_S = 60.0
"""Measured so much later, it is another measurement."""


def _supply(known: Known) -> Seen | None:
    """Low: below what the receiver is made for. Dips of a start are no fault; short ones of their own are.

    A lowest value that a start alone explains tells nothing: it may be the start, or too low a supply.
    """
    supply = known.wiring.supply
    lowest = None if supply is None else (supply.minimum_v if supply.minimum_v is not None else supply.median_v)
    if supply is None or lowest is None:
        return None
    log = log_of(known.job)
    rows = log.of("supply").names()
    if any(dip.shape == "contact" for dip in supply.dips):
        return Seen("supply", "dips", rows)
    needed = LOWEST_V[supply.code_needed]
    if lowest >= needed:
        return Seen("supply", "normal", rows, measured_anew(log.of("supply")))
    rests = supply.median_v is None or supply.median_v >= needed
    started = lowest >= START_V and rests and not _lasts(supply)
    return Seen("supply", "low", rows, soft=dict.fromkeys(("low", "dips", "normal"), 1.0) if started else None)


def measured_anew(rows: Part) -> int:
    """How often it was measured, each time at least a minute after the last; no more than is weighed."""
    return min(1 + int((np.diff(rows.t_s) > ANEW_S).sum()), LOOKS_ENOUGH)


def _lasts(supply: SupplyFindings) -> bool:
    return any(dip.shape == "lasting" for dip in supply.dips)


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
