"""What the report of a fleet is made of: the rows of its jobs, and small helps for all sections."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from satdiag.fleet.columns import CLASSES
from satdiag.fleet.dataset import read_table
from satdiag.fleet.report_stats import wilson
from satdiag.language import tell
from satdiag.report.numbers import duration, percent
from satdiag.report.words import CLASSES as CLASS_WORDS

COLUMNS = (
    "analysis",
    "source",
    "job",
    "started",
    "ended",
    "region",
    "package",
    "receiver",
    "state",
    "class",
    "fault",
    "probability",
    "sure",
    "conflict_bits",
    "confirmed_fault",
    "earlier",
    "arrivals",
    "hours_to_half",
    "hours_to_half_low",
    "hours_to_half_high",
    "hours_to_90",
    "hours_to_90_low",
    "hours_to_90_high",
    "wait_prior_jobs",
    "learned_jobs",
    "error",
    "error_file",
    "error_line",
    "cpu_s",
    "month",
    *(f"p_{name}" for name in CLASSES),
)

CANNOT_TELL = "cannot-tell"
SHOWN_CLASSES = (*CLASSES, CANNOT_TELL)
"""The classes of the verdicts, and those that do not tell, in the order in which they are shown."""


@dataclass(frozen=True, eq=False)
class Fleet:
    """The rows of a data set: `jobs` could be analysed, `bad` could not."""

    jobs: pd.DataFrame
    bad: pd.DataFrame

    @property
    def number(self) -> int:
        """All jobs."""
        return len(self.jobs) + len(self.bad)

    def closed(self) -> pd.DataFrame:
        """The jobs of which a person wrote down what it was."""
        return self.jobs[self.jobs["confirmed_fault"].notna()]


def fleet_in(directory: Path) -> Fleet:
    """The rows of the data set in a folder. Raises SatdiagError."""
    rows = read_table(directory, "jobs", list(COLUMNS)).to_pandas()
    rows = rows.sort_values(["source", "job"], kind="stable", na_position="last").reset_index(drop=True)
    return Fleet(rows[rows["error"].isna()], rows[rows["error"].notna()])


def shown_class(jobs: pd.DataFrame) -> pd.Series[str]:
    """The class of each job's verdict, or that it does not tell."""
    found: pd.Series[str] = jobs["class"].where(jobs["state"] != CANNOT_TELL, CANNOT_TELL).fillna(CANNOT_TELL)
    return found


def class_words(name: str) -> str:
    """A class in words; a verdict that does not tell has its own."""
    return tell("cannot tell") if name == CANNOT_TELL else CLASS_WORDS.get(name) or name


def share_text(hits: int, number: int) -> str:
    """A share in per cent with Wilson's 90 % interval."""
    return percent(hits / number, wilson(hits, number))


def hours_text(log_hours: float, se: float) -> str:
    """The time whose logarithm (of hours) is known with a standard error, with its 90 % interval."""
    middle, low, high = (duration(3600.0 * float(np.exp(log_hours + z * se))) for z in (0.0, -1.6449, 1.6449))
    return tell("{value} ({low} to {high})", value=middle, low=low, high=high)


def finding_words(faults: Sequence[str]) -> tuple[str, ...]:
    """What was found, 'none' where that is nothing."""
    return tuple(faults) or ("none",)
