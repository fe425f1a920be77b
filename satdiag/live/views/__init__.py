"""What the views of the page show of the last analysis: each a JSON object in the language in use, from findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from satdiag.findings import Findings
    from satdiag.job import Job

VIEWS: Mapping[str, str] = {
    "verdict": "satdiag.live.views.verdict",
    "timing": "satdiag.live.views.timing",
    "sky": "satdiag.live.views.sky",
    "wiring": "satdiag.live.views.wiring",
    "handover": "satdiag.live.views.handover",
}
"""Each view and the module whose `view(job, findings)` puts it together."""


def view_of(name: str, job: Job, findings: Findings) -> dict[str, Any]:
    """A view by its name. Raises KeyError for one that there is not."""
    make: Callable[[Job, Findings], dict[str, Any]] = import_module(VIEWS[name]).view
    return make(job, findings)
