"""What a piece of evidence is, which rows it rests on, and since when rows speak of how things are now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from satdiag.diagnosis.log import log_of
from satdiag.diagnosis.space import Floats
from satdiag.exposure import era_start_s
from satdiag.job import Job

MOST_REPEATS = 5


@dataclass(frozen=True)
class Seen:
    """An item of evidence seen in a state, the rows it rests on, and how many of the last readings agree.

    `soft`: where an estimator could not tell the state for certain, the likelihood of what was measured given each
    state, the largest one 1; `state` is then the likeliest. Never a posterior: a prior in it would count twice.
    `but`: what of the log the reading leaves out, said behind it.
    """

    item: str
    state: str
    rows: tuple[str, ...] = ()
    repeats: int = 1
    soft: Mapping[str, float] | None = None
    but: str = ""


def softly(item: str, likelihood: Mapping[str, float], rows: tuple[str, ...] = ()) -> Seen:
    """An item told in part: the likelihoods scaled so that the largest is 1, the likeliest state in front."""
    top = max(likelihood.values())
    soft = {state: value / top for state, value in likelihood.items()}
    return Seen(item, max(soft, key=lambda state: soft[state]), rows, soft=soft)


def name_row(row: int) -> str:
    """How a row of observations.csv is called, counted from 1 below the header."""
    return f"row {row + 1}"


def names_of(rows: pd.DataFrame, most: int = 3) -> tuple[str, ...]:
    """How the last of these rows are called."""
    names = [row_id or name_row(row) for row_id, row in zip(rows["id"], rows["row"], strict=True)]
    return tuple(names[-most:])


def of_this_receiver(job: Job, kind: str) -> pd.DataFrame:
    """Rows of a kind since the receiver was last exchanged."""
    rows = job.select(kind)
    return rows[rows["t_s"] >= era_start_s(job)]


def settled_since_s(job: Job) -> float:
    """Since when the vehicle has stood where it stands: seconds since the first row."""
    return log_of(job).settled_since_s


def heard_since_s(job: Job) -> float:
    """Since when the head unit has had the receiver as it has now: its source listed or not, its ring open or closed.

    What was heard before says nothing of now.
    """
    return log_of(job).heard_since_s


def changes_s(rows: pd.DataFrame) -> Floats:
    """When the value differed from the one before, the first row included."""
    return rows.loc[rows["value"] != rows["value"].shift(), "t_s"].to_numpy(dtype=float)
