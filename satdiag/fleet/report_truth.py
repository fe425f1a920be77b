"""The section of truth: what verdicts stated against what people found in the end."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from satdiag.fleet.columns import CLASSES
from satdiag.fleet.figures import reliability_figure
from satdiag.fleet.pool_normal import Floats
from satdiag.fleet.report_counts import counted
from satdiag.fleet.report_data import Fleet, finding_words, share_text
from satdiag.fleet.report_stats import Calibration, calibration
from satdiag.language import in_figures, tell, tell_many
from satdiag.report.figure import Figure, Table, table
from satdiag.report.numbers import percent
from satdiag.report.section import Section
from satdiag.report.words import fault_words
from satdiag.vocabulary import CLASS_OF

FEWEST_DRAWN = 20
"""With fewer closed jobs the table says all there is."""

MOST_FAULTS = 24


def hits_of(closed: pd.DataFrame) -> Floats:
    """1 where the named fault is among those found ('none' where nothing was), else 0."""
    pairs = zip(closed["fault"], closed["confirmed_fault"], strict=True)
    return np.array([float(fault in finding_words(list(found))) for fault, found in pairs])


def mended_in(closed: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Which closed jobs show that all that was found was put right before their logs end.

    A verdict speaks of the end of a log, and the finding of such a job of a time before it: the two do not compare.
    """
    pairs = zip(closed["confirmed_fault"], closed["earlier"], strict=True)
    return np.array(
        [len(found) > 0 and gone is not None and set(found) <= set(gone) for found, gone in pairs], dtype=bool
    )


def class_brier(closed: pd.DataFrame) -> float | None:
    """Mean squared distance between the classes' probabilities, scaled to one, and the class found.

    Jobs of which faults of two classes were found are left out. None where none is left.
    """
    scores = []
    for _, row in closed.iterrows():
        found = {CLASS_OF.get(fault, fault) for fault in finding_words(list(row["confirmed_fault"]))}
        p: Any = np.array([row[f"p_{name}"] for name in CLASSES], dtype=float)
        if len(found) == 1 and np.isfinite(p).all() and p.sum() > 0:
            truth = np.array([name in found for name in CLASSES], dtype=float)
            scores.append(float(np.sum((p / p.sum() - truth) ** 2)))
    return float(np.mean(scores)) if scores else None


def truth_section(fleet: Fleet) -> Section:
    """How the probabilities fare, by the jobs that were closed."""
    title = tell("Verdicts against what was found")
    closed = fleet.closed()
    is_mended = mended_in(closed)
    stated = closed[closed["probability"].notna().to_numpy() & ~is_mended]
    found = calibration(stated["probability"].to_numpy(dtype=float), hits_of(stated))
    if found is None:
        none = tell(
            "No job says what was found in the end, so that nothing can be said of how well verdicts fare. "
            "The command "
            "“satdiag note JOB finding FAULT confirmed” closes a job."
        )
        return Section("truth", title, missing=tuple(_mended_sentence(is_mended)) or (none,))
    bins = _bins_table(found)
    figures: tuple[Figure, ...] = ()
    tables = [bins, _faults_table(stated)]
    if found.number >= FEWEST_DRAWN:
        figures, tables = (reliability_figure(found, bins),), tables[1:]
    return Section(
        "truth",
        title,
        (*_sentences(fleet, stated, found), *_mended_sentence(is_mended)),
        figures=figures,
        tables=tuple(tables),
    )


def _sentences(fleet: Fleet, stated: pd.DataFrame, found: Calibration) -> list[str]:
    said = [
        tell_many(
            "Of {count} job a person wrote down what it was: {share} of those that could be analysed. Such "
            "jobs are no "
            "random sample: which ones are closed is no matter of chance, and others may fare otherwise.",
            "Of {count} jobs a person wrote down what it was: {share} of those that could be analysed. Such "
            "jobs are no "
            "random sample: which ones are closed is no matter of chance, and others may fare otherwise.",
            found.number,
            count=counted(found.number),
            share=percent(found.number / len(fleet.jobs)),
        ),
        tell(
            "The likeliest fault was among those found in {hits} of {number}: {share}.",
            hits=counted(found.hits),
            number=counted(found.number),
            share=share_text(found.hits, found.number),
        ),
        *_sure_sentence(stated),
        _error_sentence(found),
        _brier_sentence(stated, found),
    ]
    if int(stated["learned_jobs"].fillna(0).max()) > 0:
        said.append(
            tell(
                "Some verdicts were made by a model that had learned from closed jobs. Where those are among "
                "these, the "
                "figures are too good."
            )
        )
    return said


def _mended_sentence(is_mended: npt.NDArray[np.bool_]) -> list[str]:
    number = int(is_mended.sum())
    if not number:
        return []
    return [
        tell_many(
            "{count} closed job is left out: what was found had been put right before its log ends, and the verdict "
            "speaks of the end.",
            "{count} closed jobs are left out: what was found had been put right before their logs end, and the "
            "verdict speaks of the end.",
            number,
            count=counted(number),
        )
    ]


def _sure_sentence(stated: pd.DataFrame) -> list[str]:
    sure = stated[stated["sure"].eq(True)]
    if not len(sure):
        return []
    hits = int(hits_of(sure).sum())
    return [
        tell_many(
            "Of {count} sure verdict {hits} named a fault that was found: {share}.",
            "Of {count} sure verdicts {hits} named a fault that was found: {share}.",
            len(sure),
            count=counted(len(sure)),
            hits=counted(hits),
            share=share_text(hits, len(sure)),
        )
    ]


def _error_sentence(found: Calibration) -> str:
    said = tell(
        "The mean distance between probability and share over ten bins is {error}; were every "
        "probability true, so few "
        "jobs would give {null} on the average and up to {most} in 95 of 100 cases.",
        error=_points(found.error),
        null=_points(found.null_mean),
        most=_points(found.null_95),
    )
    if found.error > found.null_95:
        return said + " " + tell("That is more than chance explains: the probabilities are off.")
    return said + " " + tell("Chance alone can explain that.")


def _points(share: float) -> str:
    return tell("{n:.1f} points", n=100.0 * share)


def _brier_sentence(stated: pd.DataFrame, found: Calibration) -> str:
    said = tell(
        "Brier score of the named fault: {brier} (0 is perfect; always stating the share of hits would "
        "give {constant}).",
        brier=in_figures(f"{found.brier:.3f}"),
        constant=in_figures(f"{found.brier_constant:.3f}"),
    )
    classes = class_brier(stated)
    if classes is None:
        return said
    return (
        said
        + " "
        + tell("Over all classes: {brier} (0 is perfect, 2 the worst).", brier=in_figures(f"{classes:.3f}"))
    )


def _bins_table(found: Calibration) -> Table:
    rows = [
        (
            tell("{low} to {high}", low=round(100 * one.low), high=round(100 * one.high)) + "\u202f%",
            counted(one.number),
            percent(one.mean),
            counted(one.hits),
            share_text(one.hits, one.number),
        )
        for one in found.bins
    ]
    heads = (
        tell("probability stated"),
        tell("jobs"),
        tell("on the average"),
        tell("found so"),
        tell("share found so"),
    )
    caption = tell("Closed jobs by the probability of the named fault; shares with their 90 % intervals.")
    return table(caption, heads, rows, "jobs|on the average|found so|share found so")


def _faults_table(stated: pd.DataFrame) -> Table:
    """For each fault found: how many, how often the verdict named one that was there, what it named otherwise."""
    named: dict[str, list[tuple[str, bool]]] = {}
    for fault, confirmed, hit in zip(stated["fault"], stated["confirmed_fault"], hits_of(stated), strict=True):
        for found in finding_words(list(confirmed)):
            named.setdefault(found, []).append((str(fault), bool(hit)))
    rows = []
    for found in sorted(named, key=lambda one: (-len(named[one]), one))[:MOST_FAULTS]:
        right = sum(hit for _, hit in named[found])
        wrong = [fault for fault, hit in named[found] if not hit]
        most = max(sorted(set(wrong)), key=wrong.count) if wrong else None
        other = "–" if most is None else tell("{fault} ({count})", fault=fault_words(most), count=wrong.count(most))
        rows.append(
            (
                fault_words(found),
                counted(len(named[found])),
                counted(right),
                share_text(right, len(named[found])),
                other,
            )
        )
    heads = (
        tell("found"),
        tell("jobs"),
        tell("named so"),
        tell("share named so"),
        tell("otherwise most often named"),
    )
    caption = tell("What was found, and how often the verdict named it, or another fault that was found with it.")
    return table(caption, heads, rows, "jobs|named so|share named so")
