"""Which conductor the receiver sits on, in the report."""

from __future__ import annotations

from satdiag.findings import AdaptorFindings
from satdiag.report.figure import table
from satdiag.report.numbers import UNKNOWN
from satdiag.report.wiring.part import Part

CONCLUSIONS = {
    "fits": "the right one",
    "wrong-conductor": "the wrong one of two",
    "other-service": "perhaps another service's",
    "cannot-tell": UNKNOWN,
}
LEADS = {"single": "a single lead", "dual": "a lead of two conductors", "unknown": "kind of lead not known"}
ADAPTORS = {
    "none": "no adaptor",
    "combiner": "a combiner",
    "satellite-only": "an adaptor for the satellite conductor",
    "unknown": "adaptor not known",
}


def adaptor_part(found: AdaptorFindings) -> Part:
    """The conclusion, what would look the same, and the reasons with their rows."""
    named = f"{LEADS[found.antenna_lead]}, {ADAPTORS[found.adaptor]}"
    row = ("conductor at the receiver", CONCLUSIONS[found.conclusion], named)
    also = f"The same would be seen with: {'; '.join(found.also_possible)}." if found.also_possible else ""
    rows = [(reason.text, ", ".join(reason.rows)) for reason in found.reasons]
    caption = "What the conductor at the receiver was judged by."
    reasons = (table(caption, ("what was seen", "rows of the log"), rows),) if rows else ()
    return Part(row, tuple(text for text in (found.text, also) if text), (), reasons)
