"""Evidence of a resend: what came once the provider had sent the activation again."""

from __future__ import annotations

from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import log_of
from satdiag.diagnosis.seen import MOST_REPEATS, Seen

# Judgement, no source.
FEWEST_NEW = 2
"""So many channels that were refused before and play now are no slip of the pen."""

HEARD_S = 600.0
"""Who looks so long after a resend, and sees the channels refused still, was not too hasty."""

LONGEST_PAUSE_S = 3600.0
"""A look later than that does not tell that the receiver was on in between; the exposure clock may."""


def _resend(known: Known) -> Seen | None:
    """Whether channels refused before the last resend play after it; where none does, after an ample wait only."""
    log = log_of(known.job)
    asked = log.of("account").said("resend-requested", "resend-confirmed")
    if not len(asked):
        return None
    since_s, looks = float(asked.t_s[-1]), log.ours("channel")
    before = looks.where(looks.t_s < since_s).last_of_each()
    after = looks.since(since_s).last_of_each()
    refused = set(before.said("refused").subject)
    fresh = after.said("authorised").about(lambda channel: channel in refused)
    if len(fresh) >= FEWEST_NEW:
        return Seen("resend", "came", fresh.names(), min(len(fresh), MOST_REPEATS))
    still = after.said("refused")
    if len(fresh) or not len(still):
        return None
    waited_s = float(still.t_s[-1]) - since_s
    heard = (known.entitlement.exposure_since_resend_s or 0.0) >= HEARD_S or waited_s <= LONGEST_PAUSE_S
    return Seen("resend", "nothing", still.names()) if heard and waited_s >= HEARD_S else None


LOOKS = (_resend,)
