"""What a piece of evidence is, which rows it rests on, and since when rows speak of how things are now."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from satdiag.diagnosis.model import Floats
from satdiag.exposure import era_start_s
from satdiag.job import Job

MOST_REPEATS = 5


@dataclass(frozen=True)
class Seen:
    """An item of evidence seen in a state, the rows it rests on, and how many of the last readings agree."""

    item: str
    state: str
    rows: tuple[str, ...] = ()
    repeats: int = 1


def name_row(row: int) -> str:
    """How a row of observations.csv is called, counted from 1 below the header."""
    return f"row {row + 1}"


def names_of(rows: pd.DataFrame, most: int = 3) -> tuple[str, ...]:
    names = [row_id or name_row(row) for row_id, row in zip(rows["id"], rows["row"], strict=True)]
    return tuple(names[-most:])


def trailing(rows: pd.DataFrame) -> pd.DataFrame:
    """The last rows, as far back as they say the same as the very last one."""
    differs = np.flatnonzero(rows["value"].to_numpy() != rows["value"].iloc[-1])
    return rows.iloc[differs[-1] + 1 if len(differs) else 0 :]


def of_this_receiver(job: Job, kind: str) -> pd.DataFrame:
    """Rows of a kind since the receiver was last exchanged."""
    rows = job.select(kind)
    return rows[rows["t_s"] >= era_start_s(job)]


def settled_since_s(job: Job) -> float:
    """Since when the vehicle has stood where it stands: seconds since the first row."""
    visits = job.visits
    started = visits[-1].start_s if visits else 0.0
    return max(started, _last_change_s(job, ("place", "vehicle"), ("site", "vehicle")))


def heard_since_s(job: Job) -> float:
    """Since when the head unit has had the receiver as it has now: its source listed or not, its ring open or closed.

    What was heard before says nothing of now.
    """
    return _last_change_s(job, ("listing", "source"), ("ring", "bus"), ("ring", "other-sources"))


def _last_change_s(job: Job, *subjects: tuple[str, str]) -> float:
    since = 0.0
    for kind, subject in subjects:
        changed = changes_s(job.select(kind, subject))
        if len(changed) > 1:
            since = max(since, float(changed[-1]))
    return since


def changes_s(rows: pd.DataFrame) -> Floats:
    """When the value differed from the one before, the first row included."""
    return rows.loc[rows["value"] != rows["value"].shift(), "t_s"].to_numpy(dtype=float)
