"""The view 'Hand over': which papers can be made, what each is for, and whose business is inside.

What is told to be inside is what the makers of the papers put there; a test looks into the papers.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from satdiag.acceptance import confirm
from satdiag.language import listed, mark, tell, translated
from satdiag.live.papers import FORMS, WHATS, WITH_ID, What, has_browser

if TYPE_CHECKING:
    from satdiag.findings import Findings
    from satdiag.job import Job

TITLES: dict[What, str] = {
    "report": mark("Report"),
    "customer": mark("Letter to the customer"),
    "provider": mark("Letter to the provider"),
    "dealer": mark("Letter to the dealer"),
    "record": mark("Acceptance record"),
    "bundle": mark("Hand-over bundle"),
}
PURPOSES: dict[What, str] = {
    "report": mark("For the workshop's own file: what was seen, what it means and what to do next, with figures."),
    "customer": mark("One page in plain words: what works, what does not, and how long to wait."),
    "provider": mark("One page for the provider's support: what it needs to know, and the one thing asked of it."),
    "dealer": mark("One page for whoever works on the vehicle next: what was measured, and what it points to."),
    "record": mark("To sign and to keep: whether the activation is confirmed, point by point."),
    "bundle": mark(
        "All of it in one ZIP file, to file or to send: report, letters, the job and its rows, and hashes."
    ),
}
ACTIVATION = {
    "confirmed": mark("By the last analysis the activation is confirmed."),
    "go-on": mark("By the last analysis the activation is not confirmed yet: the record says what is lacking."),
    "not-confirmed": mark("By the last analysis the activation is not confirmed: the record says why."),
}


def view(job: Job, findings: Findings) -> dict[str, Any]:
    """The papers in their order: `forms` that can be made here, `notes` to know before one is made, what is `inside`.

    `by`: who did the work is named in it; `full_id`: it may hold the receiver's whole identifier.
    """
    pdf, state = has_browser(), confirm(job, findings).state
    return {"papers": [_paper(what, job, state, pdf) for what in WHATS]}


def _paper(what: What, job: Job, state: str, pdf: bool) -> dict[str, Any]:
    return {
        "what": what,
        "title": translated(TITLES[what]),
        "purpose": translated(PURPOSES[what]),
        "forms": [form for form in FORMS[what] if form != "pdf" or pdf],
        "inside": tell("Inside: {things}.", things=listed([*_inside(what, job)])),
        "notes": list(_notes(what, state, pdf)),
        "full_id": what in WITH_ID and bool(job.sheet.receiver.id),
    }


def _inside(what: What, job: Job) -> Iterator[str]:
    """What of people, places and the vehicle stands in a paper."""
    sheet = job.sheet
    if what != "provider" and sheet.vehicle:
        yield tell("the vehicle")
    if what != "report":
        yield tell("who did the work")
    if what == "bundle":
        if sheet.technician:
            yield tell("the technician")
        if sheet.sites:
            yield tell("the places with their positions")
    elif what in ("report", "record") and sheet.sites:
        yield tell("the names of places")
    if what in ("report", "bundle"):
        has_notes = any(row.kind == "note" or row.note for row in job.rows)
        yield tell("every entry and note (word for word)") if has_notes else tell("every entry")
    if sheet.receiver.id:
        open_ = tell("the receiver's identifier (masked unless you tick below)")
        yield open_ if what in WITH_ID else tell("the receiver's identifier (masked)")


def _notes(what: What, state: str, pdf: bool) -> Iterator[str]:
    if what == "record":
        yield translated(ACTIVATION[state])
        yield tell("The page can be verified later, with satdiag verify; a print of it cannot.")
    if what == "bundle" and state != "confirmed":
        yield tell("No acceptance record is in it as long as the activation is not confirmed.")
    if what in ("report", "bundle") and not pdf:
        yield tell("No PDF: this laptop has no browser to make one with. Any browser prints the page.")
