"""The optical ring: open or closed, which nodes answer, whether its other sources play."""

from __future__ import annotations

from typing import Literal, cast

import pandas as pd

from satdiag.exposure import stretches
from satdiag.findings import RingFindings
from satdiag.job import Job
from satdiag.spans import Spans, intersect, length_s, spans

NODE = "node:"
POSITION = "position:"


def ring_findings(job: Job) -> tuple[RingFindings | None, tuple[str, ...]]:
    """The ring at the last report of each kind, how long it was open, and what could not be told."""
    rows = job.select("ring")
    said = []
    if rows["subject"].str.startswith(POSITION).any():
        said.append("positions from a ring-break test are kept with the job; this version does not read them")
    states = rows[~rows["subject"].str.startswith(POSITION).to_numpy(dtype=bool)]
    if states.empty:
        return None, ("nothing of the optical ring was logged: its state is unknown", *said)
    bus = states[(states["subject"] == "bus").to_numpy()]
    if bus.empty:
        said.append("the optical ring was not reported open or closed")
    nodes = states[states["subject"].str.startswith(NODE).to_numpy(dtype=bool)]
    return RingFindings(
        state=cast(Literal["closed", "open"] | None, _last(bus)),
        nodes_present=_nodes(nodes, "present"),
        nodes_absent=_nodes(nodes, "absent"),
        other_sources=cast(
            Literal["working", "lost"] | None, _last(states[(states["subject"] == "other-sources").to_numpy()])
        ),
        open_s=None if bus.empty else length_s(_open(job, bus)),
    ), tuple(said)


def _last(rows: pd.DataFrame) -> str | None:
    return None if rows.empty else str(rows["value"].iloc[-1])


def _nodes(rows: pd.DataFrame, state: str) -> tuple[str, ...]:
    """Names of the nodes whose latest report is `state`, in alphabetical order."""
    latest = dict(zip(rows["subject"], rows["value"], strict=True))  # later rows replace earlier ones
    return tuple(sorted(subject.removeprefix(NODE) for subject, value in latest.items() if value == state))


def _open(job: Job, bus: pd.DataFrame) -> Spans:
    """When the ring was open: from a report 'open' to the next 'closed', nights between visits apart."""
    found = stretches(bus, {"open"}, {"closed"}, job.end_s)
    return intersect(found, spans([(visit.start_s, visit.end_s) for visit in job.visits]))
