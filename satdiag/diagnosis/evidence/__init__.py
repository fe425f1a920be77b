"""From rows and findings to evidence: which state each item of `faults.toml` was seen in, as things stand at the end.

An item that was not tried is not there: absence is no evidence. Where things changed (the vehicle was moved, the
ring was closed again), only what was seen since counts.
"""

from satdiag.diagnosis.evidence.collecting import collect
from satdiag.diagnosis.evidence.known import Known

__all__ = ["Known", "collect"]
