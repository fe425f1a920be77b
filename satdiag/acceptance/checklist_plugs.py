"""The checklist's judgements on what was drawn up or tested of ring and lead: ring.toml, positions, a sweep.

ring.toml and a sweep bear no time, like job.toml: they are taken for the vehicle as it is, unless rows of the log
say otherwise.
"""

from __future__ import annotations

import pandas as pd

from satdiag.acceptance.checklist_document import State
from satdiag.acceptance.checklist_signs import Judged, Known, not_for, row_sign, settle
from satdiag.acceptance.checklist_wiring import other_sources, receiver_answers, ring_closed
from satdiag.diagnosis.seen import names_of
from satdiag.findings import FeedlineFindings, RingBreak, RingFindings
from satdiag.language import parted, tell
from satdiag.wiring.chained import chained
from satdiag.wiring.ring import not_plugged, same_ring

RING_FILE, SWEEP_FILE = "ring.toml", "feedline.s1p"
OURS = "receiver"

FIRM = 0.9
"""So sure must a sweep be of where the lead ends (judgement, no source)."""


def plugs(known: Known) -> Judged:
    """The plugs by ring.toml, and by the positions that nodes report on a closed ring, against the wanted order."""
    ring = known.findings.wiring.ring
    reported = _order_reported(known, ring)
    if ring is None or ring.plan is None:
        nothing = tell("No ring.toml in the job says how the ring is plugged: satdiag ring new begins one.")
        return reported or Judged("missing", nothing)
    if reported is not None and reported.state in ("contradicted", "proved"):
        return reported
    waits = not_plugged(ring.wanted, ring.rings, ring.chains)
    if waits:
        text = tell("ring.toml has {nodes} not plugged yet: write the plugs as they are now.", nodes=chained(waits))
        return reported or Judged("missing", text, seen=RING_FILE)
    if ring.plan != "valid":
        return _wrong(known, ring)
    return _right(ring)


def _right(ring: RingFindings) -> Judged:
    if not ring.wanted:
        text = tell("By ring.toml the plugs make one closed ring; the wanted order is not written.")
        return Judged("partly", text, seen=RING_FILE)
    text = tell("By ring.toml the plugs make one closed ring in the wanted order.")
    if ring.second_ring:
        text = tell("{said} Yet: {reason}", said=text, reason=ring.second_ring_text)
        return Judged("partly", text, seen=RING_FILE)
    return Judged("proved", text, seen=RING_FILE)


def _wrong(known: Known, ring: RingFindings) -> Judged:
    """Plugs with problems; where the receiver answers over plugs that leave it out, the file is not of now."""
    found = tell("By ring.toml {problems}.", problems=parted(ring.plan_problems))
    if len(ring.rings) == 1 and not ring.chains and same_ring(ring.rings[0], ring.wanted or ring.rings[0]):
        passes = tell("The light passes the wanted order all the same.")
        return Judged("partly", f"{found} {passes}", seen=RING_FILE)
    lit = ring.rings[0] if ring.rings else ()
    if OURS in ring.wanted and OURS not in lit and receiver_answers(known).state == "proved":
        stale = tell("Yet the receiver answers: the plugs stand otherwise, so write them as they are now.")
        return Judged("partly", f"{found} {stale}", seen=RING_FILE)
    plan = tell("satdiag ring plan names the plugs to move.")
    return Judged("contradicted", f"{found} {plan}", seen=RING_FILE)


def _order_reported(known: Known, ring: RingFindings | None) -> Judged | None:
    """Positions reported on a closed ring; None without any. They prove the order once every node told its own."""
    if ring is None or ring.order_reported is None:
        return None
    rows = _positions(known)
    good = ring.order_reported == "as-wanted"
    judged = settle([row_sign(rows.tail(1), good, ring.order_reported_text)], known.ring_s, "")
    told = {str(subject).partition(":")[2] for subject in rows["subject"]}
    state: State = "partly" if judged.state == "proved" and not told >= set(ring.wanted) else judged.state
    return Judged(state, judged.text, judged.earlier, judged.seen, judged.t_s, names_of(rows))


def _positions(known: Known) -> pd.DataFrame:
    """The last position that each node reported."""
    rows = known.rows("ring")
    rows = rows[rows["subject"].str.startswith("position:").to_numpy(dtype=bool)]
    return rows.drop_duplicates("subject", keep="last")


def break_test(known: Known) -> Judged:
    """Positions from a ring-break test, where the ring was last reported open, and what they point to."""
    closed = ring_closed(known)
    if closed.state != "contradicted" and other_sources(known).state != "contradicted":
        return not_for(tell("Only where the ring is open; the log does not say so."))
    if closed.state == "proved":
        return not_for(tell("Only where the ring is open; it is closed."))
    rows, ring = _positions(known), known.findings.wiring.ring
    if not len(rows):
        return Judged("missing", tell("No position from a ring-break test is noted."))
    found = ring.break_ if ring is not None else None
    judged = settle([row_sign(rows.tail(1), True, _break_text(found))], known.visit_s, "")
    located = found is not None and found.state == "located"
    state: State = "partly" if judged.state == "proved" and not located else judged.state
    return Judged(state, judged.text, judged.earlier, judged.seen, judged.t_s, names_of(rows))


def _break_text(found: RingBreak | None) -> str:
    if found is None or found.state == "unknown":
        return tell(
            "Positions of a ring-break test are noted; to read them takes the order of the nodes: add ring.toml."
        )
    if found.state == "contradiction":
        return tell("The positions of the ring-break test contradict each other: satdiag ring break says how.")
    return tell(
        "The positions point to a break between the output of {upstream} and the input of {node}; satdiag ring break "
        "names the tests that part what it may be.",
        upstream=found.upstream,
        node=found.node,
    )


# --- the antenna lead --------------------------------------------------------------------------------------------


def sweep(known: Known) -> Judged:
    """Where the lead ends by its sweep, and whether something reflects on the way."""
    lead = known.findings.wiring.feedline
    if lead is None:
        return Judged("missing", tell("No sweep of the lead, feedline.s1p, is in the job."))
    state = _end_state(lead)
    text = lead.verdict or tell("The sweep does not tell where the lead ends.")
    swaps = known.rows("swap", "lead", "antenna").tail(1)
    if len(swaps) and state in ("proved", "contradicted"):
        if str(swaps["subject"].iloc[0]) == "lead":
            tried = tell("Whether that is the lead fitted now is not noted: another one was tried.")
        else:
            tried = tell("Whether that is the antenna fitted now is not noted: another one was tried.")
        return Judged("partly", f"{text} {tried}", seen=SWEEP_FILE)
    return Judged(state, text, seen=SWEEP_FILE)


def _end_state(lead: FeedlineFindings) -> State:
    """A lead that ends too early speaks against it; one longer than stated, or with a bad place, is whole in part."""
    if lead.end == "before" and (lead.p_before or 0.0) >= FIRM:
        return "contradicted"
    if lead.end == "at" and (lead.p_at or 0.0) >= FIRM:
        placed = lead.velocity_factor is not None  # else a bad place would have no distance to be named by
        return "proved" if placed and lead.fault_m_90 is None else "partly"
    return "partly"
