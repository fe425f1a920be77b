"""Which faults a letter speaks of: the leading one, and what is likelier than not beside it."""

from __future__ import annotations

from satdiag.diagnosis.remarks import CANNOT_TELL_BELOW, LAPSED
from satdiag.diagnosis.space import EXPLANATION
from satdiag.findings import Findings
from satdiag.vocabulary import CLASS_OF

HINDERING = frozenset({"antenna", "sky", "service", "receiver"})
HINDERING_WIRES = frozenset({"feed-swapped", "feed-lossy", "supply-dropout", "node-unpowered"})
"""Classes, and faults of the wiring, with which a receiver cannot take in well what is sent to it."""


def others(findings: Findings) -> list[str]:
    """The faults beside the leading one that the verdict names too, the likeliest first."""
    verdict, chances = findings.verdict, findings.diagnosis.faults
    if verdict.state != "fault":
        return []
    likely = [fault for fault, p in chances.items() if p >= CANNOT_TELL_BELOW]
    return sorted({*likely} - {verdict.fault, EXPLANATION}, key=lambda fault: -chances[fault])


def is_cut_down(findings: Findings) -> bool:
    """True if the account seems to have ended, and yet channels of it still play."""
    verdict = findings.verdict
    return verdict.state == "fault" and verdict.fault == LAPSED and bool(findings.entitlement.authorised)


def hindering(findings: Findings) -> float:
    """How likely the likeliest fault is that keeps the receiver from receiving well; 0 if none is named."""
    verdict = findings.verdict
    if verdict.state != "fault":
        return 0.0
    named = {verdict.fault or "": verdict.probability or 0.0}
    named |= {fault: findings.diagnosis.faults[fault] for fault in others(findings)}
    hinders = [p for fault, p in named.items() if CLASS_OF.get(fault) in HINDERING or fault in HINDERING_WIRES]
    return max((p for p in hinders if p >= CANNOT_TELL_BELOW), default=0.0)
