"""What drop-outs and weak levels go with: a position, or the vehicle; the ground, or the vehicle's own frame."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from satdiag.job import Job
from satdiag.language import tell
from satdiag.signal.expected import look_of, satellite_of
from satdiag.signal.headings import LEAST_HEADINGS, turned
from satdiag.signal.pieces import Pieces
from satdiag.signal.repeats import LEAST_LOSSES, LEAST_POSITIONS, TELLING_DB, repeats, where_of
from satdiag.signal.states import PathStates
from satdiag.signal.together import compared_paths
from satdiag.sky.constellation import Constellation


def patterns_of(
    job: Job, states: Mapping[str, PathStates], constellation: Constellation | None
) -> tuple[dict[str, Any], list[str]]:
    """The fields of the findings that tell patterns, and why one is not told."""
    kept = {name: states[name] for name in compared_paths(list(states)) if states[name].reads}
    where_found, said = _where(job, kept)
    heading_found, more = _heading(job, kept, constellation)
    return where_found | heading_found, said + more


def _where(job: Job, states: Mapping[str, PathStates]) -> tuple[dict[str, Any], list[str]]:
    losses = sum(history.losses for path in states.values() for history in path.received())
    if losses < LEAST_LOSSES:
        return {}, []
    where = where_of(job)
    if where is None:
        said = tell("no positions (fixes, or moves between sites): whether drop-outs come back at a place is unknown")
        return {}, [said]
    found = repeats(where, [_joined(path) for path in states.values()])
    if found is None:
        if len(np.unique(where.cell)) < LEAST_POSITIONS:
            said = tell("the vehicle stood in one place: whether drop-outs come back at a place is unknown")
        else:
            said = tell("too few positions were passed twice: whether drop-outs come back at a place is unknown")
        return {}, [said]
    word = "place" if found.place_db >= TELLING_DB else "vehicle" if found.place_db <= -TELLING_DB else None
    fields = {"repeats_at": word, "repeats_place_db": found.place_db, "repeats_positions": found.positions}
    return fields, []


def _joined(path: PathStates) -> Pieces:
    """The pieces of all visits."""
    parts = [read.pieces for read in path.reads]
    return Pieces(
        np.concatenate([part.start_s for part in parts]),
        np.concatenate([part.end_s for part in parts]),
        np.concatenate([part.received for part in parts]),
        np.concatenate([part.level for part in parts]),
    )


def _heading(
    job: Job, states: Mapping[str, PathStates], constellation: Constellation | None
) -> tuple[dict[str, Any], list[str]]:
    count = job.select("heading", "vehicle")["number"].nunique()
    if count < 2:
        return {}, []
    azimuths = {}
    for name in states:
        satellite = satellite_of(name, constellation)
        seen = look_of(job, satellite) if satellite is not None else None
        if seen is not None:
            azimuths[name] = float(seen.azimuth_deg)
    found = turned(job, states, azimuths)
    if found is None:
        few = tell(
            "fewer than {least} headings at one spot, or too few readings at them: "
            "whether a weakness turns with the vehicle is unknown",
            least=LEAST_HEADINGS,
        )
        return {}, [few]
    fields = {
        "turns_with": "vehicle" if found.by_vehicle else "site" if found.by_site else None,
        "turns_both": found.by_vehicle and found.by_site,
        "turns_site_db": found.site_db,
        "turns_vehicle_db": found.vehicle_db,
        "turns_vehicle_db_90": found.vehicle_db_90,
        "turns_headings": found.headings,
    }
    return fields, []
