"""The supply at the receiver: usual and lowest voltage, unexpected restarts."""

from __future__ import annotations

from typing import Literal

import numpy as np

from satdiag.findings import SupplyFindings
from satdiag.job import Job

CODE_C_MINIMUM_V = 9.0
CODE_C_MAXIMUM_V = 16.0
"""ISO 16750-2:2010, table 1, supply voltage code C (12 V systems): a unit works fully from 9 V to 16 V."""

LOW_V = 11.8
"""A battery at rest below 12.0 V is discharged; 0.2 V less under the load of the ignition (common practice, no
source). It still feeds the receiver, but not for long."""

State = Literal["normal", "low", "dropouts"]


def supply_findings(job: Job) -> tuple[SupplyFindings | None, tuple[str, ...]]:
    """The supply over the whole job, and what could not be told.

    dropouts: the receiver restarted, or the voltage fell below what a unit of code C must work at and came back;
    low: it stays low; normal: neither. Without any voltage and any restart the state is unknown.
    """
    supply = job.select("supply")
    usual_v = supply.loc[(supply["subject"] == "receiver").to_numpy(), "number"].to_numpy(dtype=float)
    all_v = supply["number"].to_numpy(dtype=float)
    resets = len(job.select("reset"))
    if not len(all_v) and not resets:
        return None, ("the supply at the receiver was not measured: its state is unknown",)
    median_v = float(np.median(usual_v)) if len(usual_v) else None
    minimum_v = float(all_v.min()) if len(all_v) else None
    said = []
    if minimum_v is None:
        said.append("the receiver restarted, but the supply was not measured: how low it falls is unknown")
    if median_v is not None and median_v > CODE_C_MAXIMUM_V:
        said.append(f"the supply reads above {CODE_C_MAXIMUM_V:g} V: the reading or the charging needs a look")
    return SupplyFindings(_state(median_v, minimum_v, resets), minimum_v, median_v, resets), tuple(said)


def _state(median_v: float | None, minimum_v: float | None, resets: int) -> State | None:
    if resets:
        return "dropouts"
    if median_v is not None and median_v > CODE_C_MAXIMUM_V:
        return None
    if minimum_v is not None and minimum_v < CODE_C_MINIMUM_V and (median_v is None or median_v >= CODE_C_MINIMUM_V):
        return "dropouts"
    if median_v is not None:
        return "low" if median_v < LOW_V else "normal"
    return None if minimum_v is None else "normal"
