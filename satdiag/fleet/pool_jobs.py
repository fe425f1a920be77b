"""What of a data set may teach: jobs that a person closed, and how long channels took, each job once."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.seen import Seen
from satdiag.fleet.dataset import arrow, compute, read_table
from satdiag.fleet.pool_normal import Floats
from satdiag.vocabulary import FAULTS, REASONS

FEWEST_ARRIVALS = 2
"""Arrivals at different times, below which a job hardly tells how long channels take."""

WIDEST_SE = 1.0
"""Standard error of the log wait, from which on it is the estimator's own prior that was measured: beyond, the 90 %
interval covers a factor of 27 and its ends lie near the ends of that prior."""

LEAST_SE = 0.02
HOUR_S = 3600.0
_Z_95 = 1.6449

_OF_JOBS = (
    "key",
    "hash",
    "job",
    "started",
    "ended",
    "reason",
    "package",
    "confirmed_fault",
    "mended_evidence",
    "arrivals",
    "dead_account_bits",
    "hours_typical_wait",
    "hours_typical_wait_low",
    "hours_typical_wait_high",
    "wait_prior_jobs",
    "error",
)


@dataclass(frozen=True)
class Closed:
    """A closed job: its lesson, and the evidence as it was seen, told in part or whole."""

    key: str
    lesson: Lesson
    seen: tuple[Seen, ...]


@dataclass(frozen=True, eq=False)
class Waits:
    """Log typical waits [s] with their standard errors, one a job; `left_out` says why others are not here."""

    jobs: tuple[str, ...]
    packages: tuple[str, ...]
    log_s: Floats
    se: Floats
    left_out: Mapping[str, int]

    def only(self, kept: Sequence[bool]) -> Waits:
        """Some of the jobs."""
        at = np.flatnonzero(np.asarray(kept))
        return Waits(
            tuple(self.jobs[k] for k in at),
            tuple(self.packages[k] for k in at),
            self.log_s[at],
            self.se[at],
            self.left_out,
        )


def rows_that_teach(directory: Path) -> list[dict[str, Any]]:
    """Rows of readable jobs; of rows with one id and one first moment, which are one job grown, the last.

    Raises SatdiagError.
    """
    rows = read_table(directory, "jobs", list(_OF_JOBS)).to_pylist()
    last: dict[tuple[str, Any], dict[str, Any]] = {}
    for row in sorted(rows, key=lambda one: (str(one["ended"]), one["key"])):
        if row["error"] is None and row["job"]:
            last[row["job"], row["started"]] = row
    return sorted(last.values(), key=lambda one: str(one["key"]))


def closed_jobs(rows: Sequence[Mapping[str, Any]], directory: Path, model: Model) -> list[Closed]:
    """The closed ones among rows, with their evidence; states that the model does not know are left out."""
    closed = {str(row["key"]): row for row in rows if row["confirmed_fault"] is not None and row["reason"] in REASONS}
    seen: dict[str, list[Seen]] = {key: [] for key in closed}
    table = read_table(directory, "evidence", ["key", "item", "state", "soft"])
    own = table.filter(compute.is_in(table["key"], value_set=arrow.array(list(closed), arrow.string())))
    for one in own.to_pylist():
        item = model.items.get(one["item"])
        if one["key"] in seen and item is not None and one["state"] in item.states:
            soft = one["soft"]
            told = (
                None if soft is None or len(soft) != len(item.states) else dict(zip(item.states, soft, strict=True))
            )
            seen[one["key"]].append(Seen(one["item"], one["state"], soft=told))
    for key, row in closed.items():
        if row["mended_evidence"] is not None:  # the rows of evidence speak of the end, when it was sound again
            seen[key] = [Seen(one["item"], one["state"]) for one in row["mended_evidence"] if _has_state(model, one)]
    return [_closed(row, tuple(seen[key])) for key, row in closed.items() if _known(row["confirmed_fault"])]


def _has_state(model: Model, told: Mapping[str, str]) -> bool:
    item = model.items.get(told["item"])
    return item is not None and told["state"] in item.states


def _known(faults: Sequence[str]) -> bool:
    return all(name in FAULTS or name == "other" for name in faults)


def _closed(row: Mapping[str, Any], seen: tuple[Seen, ...]) -> Closed:
    evidence = {one.item: one.state for one in seen}
    lesson = Lesson(row["job"], row["hash"] or "", row["reason"], frozenset(row["confirmed_fault"]), evidence)
    return Closed(str(row["key"]), lesson, seen)


def waits_of(rows: Sequence[Mapping[str, Any]]) -> Waits:
    """How long channels took in each job that can tell; no job that was judged with a prior of other jobs."""
    left_out: dict[str, int] = {}
    kept: list[tuple[str, str, float, float]] = []
    for row in rows:
        why, wait = _wait_of(row)
        if wait is None:
            left_out[why] = left_out.get(why, 0) + 1
        else:
            kept.append((str(row["job"]), row["package"] or "", *wait))
    columns: list[Any] = [list(part) for part in zip(*kept, strict=True)] or [[], [], [], []]
    return Waits(
        tuple(columns[0]),
        tuple(columns[1]),
        np.array(columns[2], dtype=float),
        np.array(columns[3], dtype=float),
        dict(sorted(left_out.items())),
    )


def _wait_of(row: Mapping[str, Any]) -> tuple[str, tuple[float, float] | None]:
    """Log wait and standard error of a job, or why it tells none."""
    ends = [row[f"hours_typical_wait{end}"] for end in ("", "_low", "_high")]
    if row["wait_prior_jobs"]:
        return "judged with a prior of other jobs", None
    if any(end is None or end <= 0.0 for end in ends) or (row["arrivals"] or 0) < FEWEST_ARRIVALS:
        return "too few arrivals", None
    middle, low, high = (float(np.log(end * HOUR_S)) for end in ends)
    se = max((high - low) / (2.0 * _Z_95), LEAST_SE)
    return ("interval too wide", None) if se > WIDEST_SE else ("", (middle, se))


def fold_of(job: str, folds: int) -> int:
    """Which fold of a cross-validation a job falls into: by its id alone, the same on every computer and for ever.

    So a job that has grown, or is analysed by another version, stays where it was, and never is on both sides.
    """
    return int(hashlib.sha256(job.encode()).hexdigest()[:8], 16) % folds
