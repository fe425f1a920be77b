"""The measures of two jobs side by side: what is compared, and with which statistic. Verdicts are not made here."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from satdiag.acceptance.compare_document import Kind
from satdiag.acceptance.effects import (
    Effect,
    Limits,
    garwood,
    p_higher,
    rank_effect,
    rate_ratio,
    share_difference,
    square_and_add,
)
from satdiag.acceptance.repeated import Mean, mean_difference, mean_of
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import mark
from satdiag.signal.pieces import read_pieces, readings_of
from satdiag.tuning.attempts import tuning_attempts
from satdiag.tuning.compare import compare_delays
from satdiag.tuning.delays import Delays, delays
from satdiag.tuning.kaplan_meier import kaplan_meier, quantile_s

# The smallest changes that would matter: judgements, no source.
LEVEL_DB = 3.0  # half the power
RANK = 0.25  # a reading after is the higher one in three of four cases instead of two
SHARE = 0.10
RATIO = 2.0

Sides = tuple[float | None, float | None]
NONE: Sides = (None, None)


@dataclass(frozen=True)
class Seen:
    """A job with its findings."""

    job: Job
    findings: Findings


@dataclass(frozen=True)
class Measure:
    """A measure of both jobs. `sides`, `numbers`: the measure, and how many readings it rests on, before and after.

    `up`: +1 if more is better, -1 if less is, 0 if a change is neither. `effect` is None where there is too little on
    a side. `words`: how each side is written where it is no number. `lowest`: the lowest reading of either side where
    that matters. `at_most`: upper limits of two rates (95 %, one-sided each).
    """

    name: str
    title: str
    kind: Kind
    unit: str
    up: int
    margin: float | None
    sides: Sides
    numbers: tuple[int, int]
    effect: Effect | None
    path: str | None = None
    n_effective: tuple[float, float] | None = None
    words: tuple[str, str] = ("", "")
    lowest: tuple[float, float] | None = None
    at_most: tuple[float, float] | None = None


def radio_measures(before: Seen, after: Seen) -> list[Measure]:
    """What was received, which channels played, how long changes took: all that both jobs have."""
    a, b = readings_of(before.job), readings_of(after.job)
    found: list[Measure] = []
    for path in sorted({*a.paths} & {*b.paths}):
        found += _path_measures(before, after, path)
    found += _any_path(before, after)
    return [*found, *_channels(before, after), *_changes(before, after)]


def lonely_paths(before: Seen, after: Seen) -> list[str]:
    """The paths that only one of the jobs has readings of."""
    return sorted({*readings_of(before.job).paths} ^ {*readings_of(after.job).paths})


# --- a path ------------------------------------------------------------------------------------------------------


def _path_measures(before: Seen, after: Seen, path: str) -> Iterator[Measure]:
    level = _level(before, after, path)
    if level is not None:
        yield level
    shares = [_received(side, path) for side in (before, after)]
    if shares[0] is not None and shares[1] is not None:
        (a, a_90, n), (b, b_90, m) = shares[0], shares[1]
        effect = square_and_add(a, a_90, b, b_90)
        yield Measure("received", mark("Time received"), "share", "", 1, SHARE, (a, b), (n, m), effect, path)
    losses = [_losses(side.job, path) for side in (before, after)]
    if min(watched_s for _, watched_s in losses) > 0:
        yield rates("drop-outs", mark("Drop-outs"), losses[0], losses[1], path)


def _any_path(before: Seen, after: Seen) -> Iterator[Measure]:
    """The time in which anything was received, which jobs can share that have no path in common."""
    a, b = before.findings.signal, after.findings.signal
    shares, limits = (a.any_path_share, b.any_path_share), (a.any_path_share_90, b.any_path_share_90)
    if shares[0] is not None and shares[1] is not None and limits[0] and limits[1]:
        effect = square_and_add(shares[0], limits[0], shares[1], limits[1])
        numbers = (len(readings_of(before.job).lock), len(readings_of(after.job).lock))
        yield Measure("received", mark("Time received on any path"), "share", "", 1, SHARE, shares, numbers, effect)


def rates(name: str, title: str, a: tuple[int, float], b: tuple[int, float], path: str | None = None) -> Measure:
    """A measure of events an hour; `a` and `b`: events and seconds."""
    sides = (3600.0 * a[0] / a[1], 3600.0 * b[0] / b[1])
    most = (3600.0 * garwood(*a)[1], 3600.0 * garwood(*b)[1])
    return Measure(name, title, "ratio", "/h", -1, RATIO, sides, (a[0], b[0]), rate_ratio(a, b), path, at_most=most)


def _level(before: Seen, after: Seen, path: str) -> Measure | None:
    a, b = _level_rows(before.job, path), _level_rows(after.job, path)
    if not len(a) or not len(b):
        return None
    units = {str(unit) for unit in (*a["unit"], *b["unit"])}
    title, numbers = mark("Level"), (len(a), len(b))
    if len(units) > 1:
        words = (_units(a), _units(b))
        return Measure("level", title, "difference", "", 1, None, NONE, numbers, None, path, words=words)
    unit = units.pop()
    in_db = unit in ("dB", "dB-Hz")
    means = [mean_level(rows, 0.1 if in_db else 1.0, stream) for stream, rows in enumerate((a, b))]
    if means[0] is None or means[1] is None:
        kind: Kind = "difference" if in_db else "rank"
        return Measure("level", title, kind, unit, 1, None, NONE, numbers, None, path)
    effective = (means[0].n_effective, means[1].n_effective)
    sides = (means[0].value, means[1].value)
    if in_db:
        effect = mean_difference(means[0], means[1])
        return Measure("level", title, "difference", unit, 1, LEVEL_DB, sides, numbers, effect, path, effective)
    effect = rank_effect(p_higher(list(a["number"]), list(b["number"])), *effective)
    middles = (float(a["number"].median()), float(b["number"].median()))
    return Measure("level", title, "rank", unit, 1, RANK, middles, numbers, effect, path, effective)


def _units(rows: pd.DataFrame) -> str:
    return ", ".join(sorted({str(unit) for unit in rows["unit"]}))


def _level_rows(job: Job, path: str) -> pd.DataFrame:
    rows = readings_of(job).level
    return rows[((rows["subject"] == path) & rows["number"].notna()).to_numpy()]


def mean_level(rows: pd.DataFrame, resolution: float, stream: int) -> Mean | None:
    """The mean of rows of one unit, in order of time; None of fewer than two."""
    return mean_of(rows["t_s"].to_numpy(dtype=float), rows["number"].to_numpy(dtype=float), resolution, stream)


def _received(side: Seen, path: str) -> tuple[float, Limits, int] | None:
    found = side.findings.signal.paths.get(path)
    if found is None or found.share is None or found.share_90 is None:
        return None
    low, high = found.share_90.blocked
    share = 1.0 - found.share.blocked
    return share, (min(1.0 - high, share), max(1.0 - low, share)), round(found.observed_s or 0.0)


def _losses(job: Job, path: str) -> tuple[int, float]:
    """Drop-outs that were watched, and the seconds received in which they could happen."""
    readings, count, watched_s = readings_of(job), 0, 0.0
    for visit in job.visits:
        pieces = read_pieces(readings, path, visit)
        if pieces is not None and len(pieces.start_s):
            touching = pieces.start_s[1:] <= pieces.end_s[:-1]
            count += int(np.sum(touching & pieces.received[:-1] & ~pieces.received[1:]))
            watched_s += float(pieces.length_s[pieces.received].sum())
    return count, watched_s


# --- channels and changes ----------------------------------------------------------------------------------------


def _channels(before: Seen, after: Seen) -> Iterator[Measure]:
    a, b = before.findings.entitlement, after.findings.entitlement
    tries = [(one.authorised or 0, (one.authorised or 0) + (one.refused or 0)) for one in (a, b)]
    if tries[0][1] and tries[1][1]:
        shares = (tries[0][0] / tries[0][1], tries[1][0] / tries[1][1])
        effect = share_difference(tries[0], tries[1])
        numbers = (tries[0][1], tries[1][1])
        yield Measure("channels", mark("Channels that play"), "share", "", 1, SHARE, shares, numbers, effect)
    fractions = (a.entitled_fraction, b.entitled_fraction)
    limits = (a.entitled_fraction_90, b.entitled_fraction_90)
    if fractions[0] is not None and fractions[1] is not None and limits[0] and limits[1]:
        effect = square_and_add(fractions[0], limits[0], fractions[1], limits[1])
        numbers = (a.expected or 0, b.expected or 0)
        title = mark("Share of channels that plays or still comes")
        yield Measure("entitled", title, "share", "", 1, SHARE, fractions, numbers, effect)


def _changes(before: Seen, after: Seen) -> Iterator[Measure]:
    attempts = [tuning_attempts(side.job) for side in (before, after)]
    step_s = max(found.resolution_s for found in attempts)
    audio = [delays(found.timed, "audio") for found in attempts]
    titles = [delays(found.timed, "title") for found in attempts]
    pairs = (("audio", mark("Change time to sound"), audio), ("title", mark("Change time to title"), titles))
    for name, title, pair in pairs:
        if len(pair[0]) and len(pair[1]) and (pair[0].came.any() or pair[1].came.any()):
            yield _shift(f"change-{name}", title, pair[0], pair[1], step_s)


def _shift(name: str, title: str, a: Delays, b: Delays, step_s: float) -> Measure:
    found = compare_delays(a, b, step_s)
    middles = (_middle_s(a), _middle_s(b))
    effect = None
    if found.shift_s is not None and found.shift_s_90 is not None and found.p_value is not None:
        low, high = found.shift_s_90
        ends = (-math.inf if low is None else low, math.inf if high is None else high)
        effect = Effect(found.shift_s, *ends, found.p_value)
    return Measure(name, title, "shift", "s", -1, found.noticeable_s, middles, (len(a), len(b)), effect)


def _middle_s(sample: Delays) -> float | None:
    return quantile_s(kaplan_meier(sample.duration_s, sample.came), 0.5)
