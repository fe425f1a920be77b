"""The navigation satellites as a receiver heard them last, with classes of strength: `heard_now`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

from satdiag.sky.mask.parked import record_in

if TYPE_CHECKING:
    from satdiag.job import Job

LATEST_S = 15.0
"""Judgement, no source: what was heard so shortly before the last look is heard now; some tell it every 10 s."""

STRONG_DB_HZ, FAIR_DB_HZ = 40.0, 30.0
"""C/N0 from which a navigation satellite counts as strong, and as fair (common practice, no source)."""

Class = Literal["strong", "fair", "weak", "unheard"]


class Heard(NamedTuple):
    """The last look at each navigation satellite, in the order of their names.

    `satellites`: name, azimuth and elevation in degrees, C/N0 in dB-Hz (None: listed, not heard), class.
    """

    satellites: list[dict[str, Any]]


def class_of(cn0_db_hz: float | None) -> Class:
    """How strong a navigation satellite is heard."""
    if cn0_db_hz is None:
        return "unheard"
    if cn0_db_hz >= STRONG_DB_HZ:
        return "strong"
    return "fair" if cn0_db_hz >= FAIR_DB_HZ else "weak"


def heard_now(job: Job) -> Heard | None:
    """What the job's receiver heard last of the navigation satellites above the horizon; None without a record.

    The same satellite on several signals counts once, by its strongest.
    """
    record = record_in(job.documents)
    if record is None:
        return None
    looks = record.looks
    latest = np.flatnonzero(looks.time_s >= np.max(looks.time_s) - LATEST_S)
    found: dict[str, dict[str, Any]] = {}
    for at in latest[np.argsort(looks.time_s[latest], kind="stable")].tolist():
        told = _told(record.satellites[looks.satellite[at]].name, looks, at)
        before = found.get(told["name"])
        if before and before["time_s"] == told["time_s"] and (before["cn0_db_hz"] or 0) > (told["cn0_db_hz"] or 0):
            continue
        found[told["name"]] = told
    shown = [one for _, one in sorted(found.items()) if one["elevation_deg"] >= 0.0]
    return Heard([{key: value for key, value in one.items() if key != "time_s"} for one in shown])


def _told(name: str, looks: Any, at: int) -> dict[str, Any]:
    level = float(looks.cn0_db_hz[at])
    cn0 = level if np.isfinite(level) else None
    return {
        "name": name,
        "azimuth_deg": float(looks.azimuth_deg[at]),
        "elevation_deg": float(looks.elevation_deg[at]),
        "cn0_db_hz": cn0,
        "kind": class_of(cn0),
        "time_s": float(looks.time_s[at]),
    }
