"""Which conductor the receiver sits on, in the report."""

from __future__ import annotations

from satdiag.findings import AdaptorFindings
from satdiag.language import mark, parted, tell
from satdiag.report.figure import table
from satdiag.report.numbers import UNKNOWN
from satdiag.report.wiring.part import Part
from satdiag.report.words import Words, row_words

CONCLUSIONS = Words(
    {
        "fits": mark("the right one"),
        "wrong-conductor": mark("the wrong one of two"),
        "other-service": mark("perhaps another service's"),
        "cannot-tell": UNKNOWN,
    }
)
LEADS = Words(
    {
        "single": mark("a single lead"),
        "dual": mark("a lead of two conductors"),
        "unknown": mark("kind of lead not known"),
    }
)
ADAPTORS = Words(
    {
        "none": mark("no adaptor"),
        "combiner": mark("a combiner"),
        "satellite-only": mark("an adaptor for the satellite conductor"),
        "unknown": mark("adaptor not known"),
    }
)


def adaptor_part(found: AdaptorFindings) -> Part:
    """The conclusion, what would look the same, and the reasons with their rows."""
    named = f"{LEADS[found.antenna_lead]}, {ADAPTORS[found.adaptor]}"
    row = (tell("conductor at the receiver"), CONCLUSIONS[found.conclusion], named)
    also = ""
    if found.also_possible:
        also = tell("The same would be seen with: {causes}.", causes=parted(found.also_possible))
    rows = [(reason.text, row_words(reason.rows)) for reason in found.reasons]
    caption = tell("What the conductor at the receiver was judged by.")
    reasons = (table(caption, (tell("what was seen"), tell("rows of the log")), rows),) if rows else ()
    return Part(row, tuple(text for text in (found.text, also) if text), (), reasons)
