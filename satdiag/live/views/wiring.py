"""The view 'Wiring': the optical ring, the antenna's feed, the supply, and the checklist of the installation."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from satdiag.language import tell
from satdiag.live.views.wiring_checks import checks_told
from satdiag.live.views.wiring_feed import feed_told
from satdiag.live.views.wiring_ring import ring_told
from satdiag.report.cautions import CAUTIONS
from satdiag.report.local_time import local_time_of
from satdiag.report.numbers import unknown
from satdiag.report.page import masker
from satdiag.report.wiring.supply import supply_part

if TYPE_CHECKING:
    from satdiag.findings import Findings
    from satdiag.job import Job


def view(job: Job, findings: Findings) -> dict[str, Any]:
    """What the view shows: four parts by name, each with its state in words, sentences and cautions."""
    told: dict[str, Any] = _masked(
        {
            "ring": {**ring_told(job, findings), "cautions": cautions_of("fibre", "airbag")},
            "feed": {**feed_told(job, findings), "cautions": cautions_of("feed")},
            "supply": supply_told(job, findings),
            "checks": checks_told(job, findings),
        },
        job,
    )
    return told


def _masked(told: Any, job: Job) -> Any:
    """The same without the receiver's identifier: others may see the page."""
    clean = masker(job)

    def one(part: Any) -> Any:
        if isinstance(part, str):
            return clean(part)
        if isinstance(part, dict):
            return {key: one(value) for key, value in part.items()}
        return [one(value) for value in part] if isinstance(part, (list, tuple)) else part

    return one(told)


def supply_told(job: Job, findings: Findings) -> dict[str, Any]:
    """The supply: its state, what was read, sentences of the findings, cautions."""
    found = findings.wiring.supply
    cautions = cautions_of("garage", "tap", "battery")
    if found is None:
        state, said = unknown(), [tell("The supply at the receiver was not measured yet.")]
        return {"state": state, "read": "", "said": said, "cautions": cautions}
    part = supply_part(found, local_time_of(job))
    _, state, read = part.row
    return {"state": state, "read": read, "said": [*part.sentences], "cautions": cautions}


def cautions_of(*keys: str) -> list[dict[str, str]]:
    """Cautions by their keys, each a head and a text, in the order of the keys: the page folds all but the first."""
    known = {one.key: one for one in CAUTIONS}
    return [{"head": known[key].head, "text": known[key].text} for key in keys]
