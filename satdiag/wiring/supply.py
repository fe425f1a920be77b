"""The supply at the receiver: its levels against the supply codes, dips, restarts tied to them, load and rest."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from satdiag.findings import Restart, SupplyFindings, instant_text
from satdiag.job import Job
from satdiag.language import tell
from satdiag.wiring.supply_codes import CODES, DEFAULT, code_kept
from satdiag.wiring.supply_dips import dips, over_voltages
from satdiag.wiring.supply_load import is_charging, load_drop, resting_voltage
from satdiag.wiring.supply_log import Floats, SupplyLog, supply_log, supply_points
from satdiag.wiring.supply_restarts import tie_restarts
from satdiag.wiring.supply_words import supply_sentences

CODE_C_MINIMUM_V, CODE_C_MAXIMUM_V = CODES["C"]

LOW_V = 11.8
"""A battery at rest below 12.0 V is discharged; 0.2 V less under the load of the ignition (common practice, no
source). It still feeds the receiver, but not for long."""

MOST_LISTED = 200
"""So many dips, over-voltages and restarts are listed; all are counted."""

State = Literal["normal", "low", "dropouts"]


def supply_findings(job: Job) -> tuple[SupplyFindings | None, tuple[str, ...]]:
    """The supply over the whole job, and what could not be told.

    dropouts: the receiver restarted, or the voltage fell below what a unit of its code must work at and came back;
    low: it stays low; normal: neither. Without any voltage and any restart the state is unknown.
    """
    log = supply_log(job)
    restarts_s = job.select("reset")["t_s"].to_numpy(dtype=float)
    all_v = np.concatenate([log.volts, log.low_v])
    if not len(all_v) and not len(restarts_s):
        return None, (tell("the supply at the receiver was not measured: its state is unknown"),)
    median_v = float(np.median(log.volts)) if len(log.volts) else None
    minimum_v = float(all_v.min()) if len(all_v) else None
    said = []
    if minimum_v is None:
        said.append(tell("the receiver restarted, but the supply was not measured: how low it falls is unknown"))
    if median_v is not None and median_v > CODE_C_MAXIMUM_V:
        said.append(
            tell(
                "the supply reads above {volts:g} V: the reading or the charging needs a look", volts=CODE_C_MAXIMUM_V
            )
        )
    levels = (median_v, minimum_v, float(all_v.max()) if len(all_v) else None)
    return _findings(log, restarts_s, levels), tuple(said)


def _findings(
    log: SupplyLog, restarts_s: Floats, levels: tuple[float | None, float | None, float | None]
) -> SupplyFindings:
    job = log.job
    median_v, minimum_v, maximum_v = levels
    low, over = dips(log), over_voltages(log)
    bound = tie_restarts(log, low, restarts_s)
    wanted = job.sheet.supply.code or DEFAULT
    found = SupplyFindings(
        state=_state(median_v, minimum_v, len(restarts_s), CODES[wanted][0]),
        minimum_v=minimum_v,
        median_v=median_v,
        resets=len(restarts_s),
        maximum_v=maximum_v,
        code=code_kept(minimum_v, maximum_v),
        code_needed=wanted,
        readings=len(log.volts),
        interval_s=log.interval_s,
        minimum_rows=len(log.low_v),
        charging=is_charging(log),
        dip_count=len(low),
        dips=tuple(event.finding(job, number) for event, number in zip(low, bound.counts, strict=True))[:MOST_LISTED],
        over_count=len(over),
        over_voltages=tuple(event.finding(job, 0) for event in over)[:MOST_LISTED],
        restarts=tuple(
            Restart(instant_text(job.instant(float(t_s))) or "", bool(tied))
            for t_s, tied in zip(restarts_s, bound.tied, strict=True)
        )[:MOST_LISTED],
        tie=bound.tie,
        load_drop=load_drop(log, job.sheet.supply.awake_a),
        resting=resting_voltage(log),
        points=supply_points(log),
    )
    return replace(found, sentences=supply_sentences(found))


def _state(median_v: float | None, minimum_v: float | None, resets: int, needed_v: float) -> State | None:
    if resets:
        return "dropouts"
    if median_v is not None and median_v > CODE_C_MAXIMUM_V:
        return None
    if minimum_v is not None and minimum_v < needed_v and (median_v is None or median_v >= needed_v):
        return "dropouts"
    if median_v is not None:
        return "low" if median_v < LOW_V else "normal"
    return None if minimum_v is None else "normal"
