"""All evidence that a job holds."""

from __future__ import annotations

from satdiag.diagnosis.beside import beside_evidence
from satdiag.diagnosis.evidence import channels, fitting, pattern, resent, sky, supply, vehicle
from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.evidence.last import last_states
from satdiag.diagnosis.evidence.swapped import swap_evidence
from satdiag.diagnosis.received import reception_evidence
from satdiag.diagnosis.seen import Seen

_LOOKS = (*vehicle.LOOKS, *supply.LOOKS, *fitting.LOOKS, *channels.LOOKS, *sky.LOOKS, *pattern.LOOKS, *resent.LOOKS)


def collect(known: Known) -> tuple[Seen, ...]:
    """All evidence that the job holds."""
    found = [*swap_evidence(known), *last_states(known.job), *reception_evidence(known.job)]
    if (compared := beside_evidence(known.beside, known.job)) is not None:
        found.append(compared)
    for look in _LOOKS:
        seen = look(known)
        if seen is not None:
            found.append(seen)
    return tuple(found)
