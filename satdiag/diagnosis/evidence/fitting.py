"""Evidence from what was drawn up or swept: the ring's plugs, positions reported on it, the antenna lead."""

from __future__ import annotations

from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import log_of
from satdiag.diagnosis.seen import Seen, softly
from satdiag.findings import FeedlineFindings, Interval, RingFindings
from satdiag.wiring.ring import not_plugged, same_ring

PLANS = {"valid": "valid", "order-differs": "order-differs"}


def _ring_plan(known: Known) -> Seen | None:
    """How the plugs as written stand to the wanted order."""
    ring = known.wiring.ring
    if ring is None or ring.plan is None:
        return None
    if ring.plan in PLANS:
        return Seen("ring-plan", PLANS[ring.plan])
    state = _of_problems(ring)
    return None if state is None else Seen("ring-plan", state)


def _of_problems(ring: RingFindings) -> str | None:
    """The state of plugs with problems, by where the light goes; None where they say nothing of the ring of now.

    A wanted node without a plug: ring.toml is of before the fitting. One closed ring whose plugs stand in each
    other's row passes its light all the same; one through other nodes than the wanted ones is not judged.
    """
    if not_plugged(ring.wanted, ring.rings, ring.chains):
        return None
    if len(ring.rings) > 1:
        return "two-rings"
    if ring.chains or not ring.rings:
        return "open" if ring.chains else None
    if not ring.wanted or same_ring(ring.rings[0], ring.wanted):
        return "valid"
    return "order-differs" if set(ring.rings[0]) == set(ring.wanted) else None


def _ring_positions(known: Known) -> Seen | None:
    """What the reported positions say: of a closed ring its order, of an open one where it is broken."""
    ring = known.wiring.ring
    if ring is None:
        return None
    named = log_of(known.job).of("ring").about(lambda one: one.startswith("position:")).names()
    if ring.order_reported is not None:
        return Seen("ring-positions", "as-wanted" if ring.order_reported == "as-wanted" else "other-order", named)
    if ring.break_ is not None and ring.break_.state != "unknown":
        return Seen("ring-positions", "one-break" if ring.break_.state == "located" else "contradict", named)
    return None


def _lead(known: Known) -> Seen | None:
    """Where the lead ends by its reflections, open or short, and whether a joint stands out before that."""
    lead = known.wiring.feedline
    if lead is None:
        return None
    # Without a velocity factor a fault has a range alone, no place.
    joint = lead.fault_m_90 is not None and lead.end != "before"
    if lead.end in ("none", "unknown") or None in (lead.p_before, lead.p_at, lead.p_beyond):
        return Seen("lead", "joint") if joint else None
    at = "joint" if joint else "at-antenna"
    short_of = _BEFORE.get(_kind_at(lead, lead.end_m_90), "before")
    chances = {at: lead.p_at or 0.0, short_of: lead.p_before or 0.0, "beyond": lead.p_beyond or 0.0}
    kind = _kind_at(lead, lead.fault_m_90)
    if joint and kind not in ("", "step"):  # a break that some of the wave passes looks the same
        chances.pop(short_of)
        chances[_BEFORE.get(kind, "before")] = max(chances[at], lead.p_before or 0.0)
    return softly("lead", chances)


_BEFORE = {"open": "before-open", "short": "before-short"}


def _kind_at(lead: FeedlineFindings, place_m_90: Interval | None) -> str:
    """What the reflection at a place is by its sign; blank where none was found there."""
    return next((one.kind for one in lead.reflections if one.distance_m_90 == place_m_90), "")


LOOKS = (_ring_plan, _ring_positions, _lead)
