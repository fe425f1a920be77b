"""The section of fill-in times: how long channels take by package, region and receiver.

Each job's time is known with an error (its 90 % interval on a log scale); jobs of a group scatter about the group's
median, groups about one median. What is drawn towards the others is what an own few jobs leave open (`pool_normal`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from satdiag.fleet.figures import forest_figure
from satdiag.fleet.pool_jobs import FEWEST_ARRIVALS, LEAST_SE, WIDEST_SE
from satdiag.fleet.pool_normal import Floats, Grouped, grouped
from satdiag.fleet.report_counts import counted
from satdiag.fleet.report_data import Fleet, hours_text
from satdiag.language import tell, tell_many
from satdiag.report.figure import Figure, Table, table
from satdiag.report.numbers import duration
from satdiag.report.section import Section

FEWEST = 5
"""Jobs of a group, below which nothing is said of it."""

MOST_GROUPS = 24
"""The largest groups are shown; more would not be read."""

BY = ("package", "region", "receiver")
MEASURES = ("hours_to_half", "hours_to_90")
_Z_95 = 1.6449


@dataclass(frozen=True, eq=False)
class Times:
    """Log hours of one measure with their standard errors; `at` names the rows of the fleet's jobs.

    `lent`: how many jobs are not here because they were judged with what other jobs said of the waits.
    """

    at: pd.Index
    log_h: Floats
    se: Floats
    left_out: int
    lent: int = 0


def times_of(jobs: pd.DataFrame, measure: str) -> Times:
    """The times of jobs that can tell: channels came at two times at least, and the interval is no mere prior.

    Nor a prior of other jobs: what was learned from a fleet narrows a job's interval without a look at the job.
    """
    middle, low, high = (jobs[f"{measure}{end}"].astype(float) for end in ("", "_low", "_high"))
    told = (middle > 0) & (low > 0) & (high >= low) & (jobs["arrivals"].fillna(0) >= FEWEST_ARRIVALS)
    se: pd.Series[float] = (high.where(told) / low.where(told)).map(np.log) / (2.0 * _Z_95)
    lent = jobs["wait_prior_jobs"].fillna(0) > 0
    kept = told & (se <= WIDEST_SE) & ~lent
    at = jobs.index[kept]
    log_h = np.log(middle[kept].to_numpy(dtype=float))
    sure = np.maximum(se[kept].to_numpy(dtype=float), LEAST_SE)
    return Times(at, log_h, sure, int((~kept & ~lent).sum()), int(lent.sum()))


def times_section(fleet: Fleet) -> Section:
    """Times to half and to nine tenths of the channels, by what a job is of."""
    title = tell("How long channels take")
    found = {measure: times_of(fleet.jobs, measure) for measure in MEASURES}
    longest = max(found.values(), key=lambda times: len(times.at))
    if not len(longest.at):
        none = tell("No job tells how long its channels took: none came at two times at least while it was logged.")
        return Section("times", title, missing=tuple(_lent(longest)) or (none,))
    sentences = [
        tell(
            "Exposure until half, and until nine tenths, of those channels that come are there. A time that "
            "a log does "
            "not reach is a prediction, with the wide interval that goes with it."
        ),
        *_counts(longest),
    ]
    figures, tables = [], []
    for by in BY:
        for measure in MEASURES:
            drawn, listed = _by(fleet, by, measure, found[measure])
            figures += drawn
            tables += listed
    return Section("times", title, tuple(sentences), figures=tuple(figures), tables=tuple(tables))


def _counts(times: Times) -> list[str]:
    said = [
        tell_many(
            "{count} job tells its times.",
            "{count} jobs tell their times.",
            len(times.at),
            count=counted(len(times.at)),
        )
    ]
    if times.left_out:
        said.append(
            tell_many(
                "{count} job does not: too few channels came, or the interval is wider than a factor of 27. "
                "Where slow "
                "channels had not come by the end of the log they are missing here, so that times look shorter.",
                "{count} jobs do not: too few channels came, or the interval is wider than a factor of 27. "
                "Where slow "
                "channels had not come by the end of the log they are missing here, so that times look shorter.",
                times.left_out,
                count=counted(times.left_out),
            )
        )
    return [*said, *_lent(times)]


def _lent(times: Times) -> list[str]:
    """That jobs are left out whose waits were judged with a prior of other jobs, if there are any."""
    if not times.lent:
        return []
    return [
        tell_many(
            "{count} job was judged with what other jobs had taught of the waits; its times say what those say, and "
            "are left out.",
            "{count} jobs were judged with what other jobs had taught of the waits; their times say what those say, "
            "and are left out.",
            times.lent,
            count=counted(times.lent),
        )
    ]


def _by(fleet: Fleet, by: str, measure: str, times: Times) -> tuple[list[Figure], list[Table]]:
    """The forest of one measure by one property, or its table alone where there is nothing to compare."""
    names = fleet.jobs.loc[times.at, by].fillna("").astype(str)
    number = names.value_counts()
    enough = sorted(number.index[number >= FEWEST], key=lambda name: (-int(number[name]), name))[:MOST_GROUPS]
    caption = _caption(by, measure)
    kept = names.isin(enough).to_numpy()
    if not kept.any():
        rows = (
            [(_few_words(number), counted(int(number.sum())), "", tell("too few to say"), "")] if len(number) else []
        )
        return [], [table(caption, _heads(by), rows, _NUMERIC)] if rows else []
    found = grouped(times.log_h[kept], times.se[kept], names[kept].tolist())
    order = [one.name for one in sorted(found.groups, key=lambda one: (-one.drawn, one.name))]
    whole = _table(caption, by, found, order, times.log_h, names, number)
    if len(order) < 2:
        return [], [whole]
    words = {name: name or tell("not stated") for name in order}
    return [forest_figure(f"{by}-{measure.replace('_', '-')}", found, order, words, whole, caption)], []


def _table(
    caption: str,
    by: str,
    found: Grouped,
    order: list[str],
    log_h: Floats,
    names: pd.Series[str],
    number: pd.Series[int],
) -> Table:
    groups = {group.name: group for group in found.groups}
    rows = []
    for name in order:
        group, own = groups[name], log_h[(names == name).to_numpy()]
        rows.append(
            (
                name or tell("not stated"),
                counted(group.number),
                duration(3600.0 * float(np.exp(np.median(own)))),
                hours_text(group.raw, group.raw_se),
                hours_text(group.drawn, group.drawn_se),
            )
        )
    rest = number[~number.index.isin(order)]
    if len(rest):
        rows.append((_few_words(rest), counted(int(rest.sum())), "", tell("too few to say"), ""))
    return table(caption, _heads(by), rows, _NUMERIC)


_NUMERIC = "jobs|middle of its jobs|by its own jobs|drawn towards the others"


def _heads(by: str) -> tuple[str, ...]:
    first = {"package": tell("package"), "region": tell("region"), "receiver": tell("receiver")}[by]
    return (
        first,
        tell("jobs"),
        tell("middle of its jobs"),
        tell("by its own jobs"),
        tell("drawn towards the others"),
    )


def _few_words(rest: pd.Series[int]) -> str:
    if int(rest.max()) < FEWEST:
        return tell_many("{n} group of fewer than five jobs", "{n} groups of fewer than five jobs", len(rest))
    return tell_many("{n} smaller group", "{n} smaller groups", len(rest))


def _caption(by: str, measure: str) -> str:
    said = {
        ("package", "hours_to_half"): tell("Exposure until half of the channels are there, by package."),
        ("package", "hours_to_90"): tell("Exposure until nine tenths of the channels are there, by package."),
        ("region", "hours_to_half"): tell(
            "Exposure until half of the channels are there, by region (time zone of the site)."
        ),
        ("region", "hours_to_90"): tell(
            "Exposure until nine tenths of the channels are there, by region (time zone of the site)."
        ),
        ("receiver", "hours_to_half"): tell(
            "Exposure until half of the channels are there, by receiver (masked; two may look alike)."
        ),
        ("receiver", "hours_to_90"): tell(
            "Exposure until nine tenths of the channels are there, by receiver (masked; two may look alike)."
        ),
    }
    return said[by, measure]
