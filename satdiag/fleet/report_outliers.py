"""The section of jobs worth a look: each with a sentence why, and where it is.

Robust: what counts as far is measured by medians, which a few odd jobs do not move. Among many jobs some lie far out
by chance; the fill-in's are chosen so that of those named about one in twenty is (Benjamini and Hochberg 1995).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy import stats

from satdiag.fleet.pool_normal import Floats
from satdiag.fleet.reasons import reason_of
from satdiag.fleet.report_counts import counted
from satdiag.fleet.report_data import Fleet, finding_words
from satdiag.fleet.report_times import FEWEST, Times, times_of
from satdiag.fleet.report_truth import hits_of, mended_in
from satdiag.language import listed, tell
from satdiag.report.figure import Table, table
from satdiag.report.numbers import duration, percent
from satdiag.report.section import Section
from satdiag.report.words import fault_words

FALSE_SHARE = 0.05
FAR = 5.0
"""So many robust standard deviations from the median are far."""

LEAST_BITS = 4.0
LEAST_SLOWER = 3.0
MOST = 20
"""Jobs named of each sort."""

MAD_TO_SD = 1.4826
"""The median distance from the median of a normal distribution, times this, is its standard deviation."""


class Odd(NamedTuple):
    """A job worth a look, why, and how far out it is among those of its sort (the largest first)."""

    job: str
    why: str
    source: str
    far: float


def robust(values: Floats) -> tuple[float, float]:
    """Median and robust standard deviation."""
    middle = float(np.median(values))
    return middle, MAD_TO_SD * float(np.median(np.abs(values - middle)))


def outliers_section(fleet: Fleet) -> Section:
    """All sorts of odd jobs, a table for each that there is."""
    title = tell("Jobs worth a look")
    sorts: list[tuple[str, Callable[[Fleet], list[Odd]]]] = [
        (tell("Sure verdicts that turned out otherwise."), turned_out_otherwise),
        (tell("Evidence that contradicts itself."), contradictory),
        (tell("Fill-in far from that of the other jobs of its package."), far_fill_in),
        (tell("Jobs that took unusually long to analyse."), slow),
        (tell("Jobs that could not be analysed."), unreadable),
    ]
    tables, sentences = [], []
    for caption, find in sorts:
        found = sorted(find(fleet), key=lambda one: (-one.far, one.source))
        if not found:
            continue
        tables.append(_table(caption, found[:MOST]))
        if len(found) > MOST:
            sentences.append(
                tell("{caption} Shown are {shown} of {all}.", caption=caption, shown=MOST, all=counted(len(found)))
            )
    missing = () if tables else (tell("No job stands out."),)
    return Section("outliers", title, tuple(sentences), tables=tuple(tables), missing=missing)


def _table(caption: str, found: list[Odd]) -> Table:
    rows = [(one.job or tell("not known"), one.why, one.source) for one in found]
    return table(caption, (tell("job"), tell("why"), tell("place")), rows)


# --- the sorts ---------------------------------------------------------------------------------------------------


def turned_out_otherwise(fleet: Fleet) -> list[Odd]:
    """Closed jobs whose sure verdict named a fault that was not found."""
    closed = fleet.closed()
    closed = closed[closed["sure"].eq(True).to_numpy() & ~mended_in(closed)]
    wrong = closed[hits_of(closed) == 0.0] if len(closed) else closed
    return [
        Odd(
            str(row["job"]),
            tell(
                "The verdict was sure of “{named}” ({p}); found was: {found}.",
                named=fault_words(row["fault"]),
                p=percent(row["probability"]),
                found=listed([fault_words(one) for one in finding_words(list(row["confirmed_fault"]))]),
            ),
            str(row["source"]),
            float(row["probability"]),
        )
        for _, row in wrong.iterrows()
    ]


def contradictory(fleet: Fleet) -> list[Odd]:
    """Jobs whose evidence contradicts itself far more than that of others."""
    jobs = fleet.jobs[fleet.jobs["conflict_bits"].notna()]
    if not len(jobs):
        return []
    bits = jobs["conflict_bits"].to_numpy(dtype=float)
    middle, sd = robust(bits)
    limit = max(LEAST_BITS, middle + FAR * sd)
    return [
        Odd(
            str(row["job"]),
            tell(
                "The pieces of evidence contradict each other by {bits:.1f} bits; the middle of all jobs is "
                "{middle:.1f}.",
                bits=float(row["conflict_bits"]),
                middle=middle,
            ),
            str(row["source"]),
            float(row["conflict_bits"]),
        )
        for _, row in jobs[bits > limit].iterrows()
    ]


def far_fill_in(fleet: Fleet) -> list[Odd]:
    """Jobs whose time to nine tenths lies far from those of the other jobs of their package."""
    times = times_of(fleet.jobs, "hours_to_90")
    if not len(times.at):
        return []
    packages = fleet.jobs.loc[times.at, "package"].fillna("").astype(str).to_numpy()
    found = []
    tails, centres = tail_chances(times, packages)
    told = np.flatnonzero(np.isfinite(tails))
    if not len(told):
        return []
    adjusted = stats.false_discovery_control(tails[told], method="bh")
    for place, q in zip(told, adjusted, strict=True):
        if q <= FALSE_SHARE:
            row = fleet.jobs.loc[times.at[int(place)]]
            why = tell(
                "Nine tenths of its channels take {own}; the middle of the other jobs of its package is {others}.",
                own=duration(3600.0 * float(np.exp(times.log_h[place]))),
                others=duration(3600.0 * float(np.exp(centres[place]))),
            )
            found.append(Odd(str(row["job"]), why, str(row["source"]), -float(tails[place])))
    return found


def tail_chances(times: Times, packages: np.ndarray) -> tuple[Floats, Floats]:
    """For each job the chance that one more of its package lies as far out or farther (both sides), and the median of
    the others; nan where its package has fewer than five others.

    The spread between jobs is a robust one: that with which half of all jobs lie within 0.6745 of their own total
    standard deviations of the median of the others.
    """
    chance, centre = np.full(len(packages), np.nan), np.full(len(packages), np.nan)
    others = np.zeros(len(packages))
    for name in np.unique(packages):
        own = np.flatnonzero(packages == name)
        if len(own) <= FEWEST:
            continue
        centre[own], others[own] = medians_of_others(times.log_h[own]), len(own) - 1
    told = np.isfinite(centre)
    if not told.any():
        return chance, centre
    away, se = (times.log_h - centre)[told], times.se[told]
    tau = robust_tau(away, se)
    variance = (se**2 + tau**2) + (np.pi / 2.0) * (tau**2 + float(np.mean(se**2))) / others[told]
    chance[told] = 2.0 * stats.norm.sf(np.abs(away) / np.sqrt(variance))
    return chance, centre


def medians_of_others(values: Floats) -> Floats:
    """For each of two values or more the median of the others."""
    order = np.argsort(values, kind="stable")
    ranked, rank = values[order], np.empty(len(values), dtype=np.intp)
    rank[order] = np.arange(len(values))
    rest = len(values) - 1
    low, high = (rest - 1) // 2, rest // 2
    lower, upper = (ranked[at + (rank <= at)] for at in (low, high))
    return np.asarray((lower + upper) / 2.0)


def robust_tau(away: Floats, se: Floats) -> float:
    """The scatter at which the median of |away| / sqrt(se^2 + tau^2) is that of a normal distribution; 0 at least."""
    low, high = 0.0, float(np.abs(away).max()) * 3.0 + 1e-9
    goal = float(stats.norm.ppf(0.75))
    for _ in range(60):
        tau = (low + high) / 2.0
        if float(np.median(np.abs(away) / np.sqrt(se**2 + tau**2))) > goal:
            low = tau
        else:
            high = tau
    return (low + high) / 2.0


def slow(fleet: Fleet) -> list[Odd]:
    """Jobs whose analysis took far more processor time than that of others."""
    jobs = fleet.jobs[fleet.jobs["cpu_s"].astype(float) > 0]
    if not len(jobs):
        return []
    log_s = np.log(jobs["cpu_s"].to_numpy(dtype=float))
    middle, sd = robust(log_s)
    limit = middle + max(FAR * sd, float(np.log(LEAST_SLOWER)))
    return [
        Odd(
            str(row["job"]),
            tell(
                "It took {own} of processor time; the middle of all jobs is {middle}.",
                own=duration(float(row["cpu_s"])),
                middle=duration(float(np.exp(middle))),
            ),
            str(row["source"]),
            float(row["cpu_s"]),
        )
        for _, row in jobs[log_s > limit].iterrows()
    ]


def unreadable(fleet: Fleet) -> list[Odd]:
    """Jobs that could not be analysed, each with the reason as the analysis gave it."""
    return [
        Odd(job, _where(file, line, reason_of(error, source)), source, 0.0)
        for job, source, file, line, error in zip(
            *(_texts(fleet.bad[name]) for name in ("job", "source", "error_file", "error_line", "error")), strict=True
        )
    ]


def _texts(column: pd.Series[Any]) -> list[str]:
    """A column as texts, whole numbers without a point; blank where nothing stands."""
    return [
        ("" if missing else str(value).removesuffix(".0"))
        for value, missing in zip(column, column.isna(), strict=True)
    ]


def _where(file: str, line: str, error: str) -> str:
    """The error with file and line, where they are known."""
    place = f"{file}:{line}" if file and line else file
    return f"{place}: {error}" if place else error
