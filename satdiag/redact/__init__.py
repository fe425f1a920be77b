"""A copy of a job for sharing: what it says of the vehicle's reception stays, what names people or places goes.

Every file is written anew from what was read of it, so that nothing comes along that nobody looked at: a text is
kept only if it is a word of the vocabulary, a number or a time. Names that others refer to (sites, satellites, nodes,
packages, ids) become numbered ones. There is no key to turn it back.
"""

from satdiag.redact.copying import Redacted, redact_job, removed_lines, write_copy

__all__ = ["Redacted", "redact_job", "removed_lines", "write_copy"]
