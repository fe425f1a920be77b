"""The sections of what there is: how many jobs, which could not be read, and the classes of faults over time."""

from __future__ import annotations

from datetime import datetime

import pandas as pd

from satdiag.fleet.figures import class_figure
from satdiag.fleet.reasons import reason_of
from satdiag.fleet.report_data import SHOWN_CLASSES, Fleet, class_words, share_text, shown_class
from satdiag.language import date_text, in_figures, tell, tell_many
from satdiag.report.figure import Table, table
from satdiag.report.section import Section
from satdiag.report.words import VERDICTS

MOST_REASONS = 12
FEWEST_MONTHS = 3
"""With fewer months there is no course to be drawn."""


def counted(number: int) -> str:
    """A number of things, its thousands parted."""
    return in_figures(f"{number:,}")


def jobs_section(fleet: Fleet) -> Section:
    """How many jobs, from when to when, the verdicts, and why some could not be read."""
    sentences = [
        tell_many(
            "The data set holds {count} job.",
            "The data set holds {count} jobs.",
            fleet.number,
            count=counted(fleet.number),
        ),
        *_span(fleet),
    ]
    if fleet.number:
        bad = len(fleet.bad)
        share = share_text(bad, fleet.number)
        sentences.append(
            tell("All of them could be read and analysed.")
            if not bad
            else tell_many(
                "{count} of them could not be analysed: {share} of all.",
                "{count} of them could not be analysed: {share} of all.",
                bad,
                count=counted(bad),
                share=share,
            )
        )
    versions = sorted(fleet.jobs["analysis"].dropna().unique())
    if len(versions) > 1:
        sentences.append(
            tell(
                "They were analysed by {n} versions of the analysis, which may judge differently: {versions}.",
                n=len(versions),
                versions=", ".join(versions),
            )
        )
    tables = [one for one in (_states_table(fleet), _reasons_table(fleet)) if one is not None]
    missing = () if fleet.number else (tell("There is no job in it, so that nothing can be counted."),)
    return Section("jobs", tell("What it holds"), tuple(sentences), tables=tuple(tables), missing=missing)


def _span(fleet: Fleet) -> list[str]:
    first, last = first_and_last(fleet)
    if first is None or last is None:
        return []
    return [tell("Their logs run from {first} to {last} (UTC).", first=date_text(first), last=date_text(last))]


def first_and_last(fleet: Fleet) -> tuple[datetime | None, datetime | None]:
    """The first and the last day of any log; None where no job has a row."""
    first, last = fleet.jobs["started"].min(), fleet.jobs["ended"].max()
    if pd.isna(first) or pd.isna(last):
        return None, None
    return first.to_pydatetime(), last.to_pydatetime()


def _states_table(fleet: Fleet) -> Table | None:
    number = len(fleet.jobs)
    if not number:
        return None
    counts = fleet.jobs["state"].value_counts()
    sure = fleet.jobs[fleet.jobs["sure"].eq(True)]["state"].value_counts()
    rows = [
        (words, counted(int(counts[state])), share_text(int(counts[state]), number), counted(int(sure.get(state, 0))))
        for state, words in VERDICTS.items()
        if state in counts
    ]
    heads = (tell("verdict"), tell("jobs"), tell("share"), tell("of these sure"))
    caption = tell("Verdicts of the jobs that could be analysed; shares with their 90 % intervals.")
    return table(caption, heads, rows, "jobs|share|of these sure")


def _reasons_table(fleet: Fleet) -> Table | None:
    if not len(fleet.bad):
        return None
    told = fleet.bad.assign(
        reason=[reason_of(e, s) for e, s in zip(fleet.bad["error"], fleet.bad["source"], strict=True)]
    )
    counts = told["reason"].value_counts()
    example = told.drop_duplicates("reason").set_index("reason")["source"]
    reasons = sorted(counts.index, key=lambda reason: (-int(counts[reason]), reason))
    rows = [(reason, counted(int(counts[reason])), str(example[reason])) for reason in reasons[:MOST_REASONS]]
    if len(reasons) > MOST_REASONS:
        rest = sum(int(counts[reason]) for reason in reasons[MOST_REASONS:])
        rows.append((tell("other reasons"), counted(rest), ""))
    heads = (tell("reason"), tell("jobs"), tell("for example"))
    return table(tell("Why jobs could not be analysed."), heads, rows, "jobs")


def classes_section(fleet: Fleet) -> Section:
    """The classes of the verdicts, month by month."""
    title = tell("Classes of faults over time")
    if not len(fleet.jobs):
        return Section("classes", title, missing=(tell("No job could be analysed, so that there are no verdicts."),))
    months, counts = monthly(fleet)
    heads = (tell("month"), tell("class"), tell("jobs"), tell("of all in the month"), tell("share"))
    rows = [
        (month_text(month), class_words(name), counted(n), counted(whole), share_text(n, whole))
        for month in months
        for name in SHOWN_CLASSES
        if (n := counts.get((month, name), 0))
        and (whole := sum(counts.get((month, one), 0) for one in SHOWN_CLASSES))
    ]
    caption = tell("Classes of the verdicts by the month in which the log begins; shares with their 90 % intervals.")
    whole_table = table(caption, heads, rows, "jobs|of all in the month|share")
    sentence = tell(
        "A class is that of the likeliest fault, not of what was found; a verdict that does not tell is "
        "counted apart."
    )
    dated = [month for month in months if month != "unknown"]
    if len(dated) < FEWEST_MONTHS:
        few = tell("There are too few months to draw a course.")
        return Section("classes", title, (sentence, few), tables=(whole_table,))
    return Section("classes", title, (sentence,), figures=(class_figure(dated, counts, whole_table),))


def monthly(fleet: Fleet) -> tuple[list[str], dict[tuple[str, str], int]]:
    """The months that there are, in order, and how many jobs of each class each month has."""
    shown = shown_class(fleet.jobs)
    counts = shown.groupby([fleet.jobs["month"], shown]).size()
    keys: list[tuple[str, str]] = counts.index.tolist()
    found = {key: int(number) for key, number in zip(keys, counts.to_list(), strict=True)}
    return sorted({month for month, _ in found}), found


def month_text(month: str) -> str:
    """A month as 2031-05; in words where it is not known."""
    return tell("not known") if month == "unknown" else month
