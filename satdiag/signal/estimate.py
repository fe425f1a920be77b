"""What was received on each path of a job: `estimate_signal`.

Each visit is taken by itself; visits are pooled by the time watched in them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy.stats import beta

from satdiag.findings import Interval, PathSignal, Share, ShareIntervals, SignalFindings, Stretch, instant_text
from satdiag.job import Job
from satdiag.signal.chain import ChainDraws, History, chain_draws, interval_of
from satdiag.signal.levels import clear_level, is_shadowed
from satdiag.signal.pieces import Floats, Pieces, Readings, read_pieces, readings_of
from satdiag.signal.together import ANY, any_history, compared_paths, joint_dropouts, overruled
from satdiag.sky.estimate import constellation_of

State = Literal["clear", "shadowed", "received", "blocked"]
_STATES: tuple[State, ...] = ("blocked", "shadowed", "clear", "received")
_BLOCKED, _SHADOWED, _CLEAR, _RECEIVED = range(4)


@dataclass(frozen=True, eq=False)
class _Read:
    """One path in one visit: what was read, in which unit, and (once levels are known) its state by piece."""

    pieces: Pieces
    unit: str | None


def estimate_signal(job: Job) -> SignalFindings:
    """Shares of time, levels and drop-outs per path, and of the paths together.

    Raises BadInput or SatdiagError if the constellation that the job names cannot be read.
    """
    readings = readings_of(job)
    names = readings.paths
    if not names:
        return SignalFindings(could_not=("no lock and no level rows: what was received is unknown",))
    visits = _read_visits(readings)
    units = {name: _unit_of(readings, name, visits) for name in names}
    levels = {name: _levels_by_unit(readings, name, visits) for name in names}
    paths, timeline = {}, []
    for stream, name in enumerate(names):
        reads = [visit[name] for visit in visits if name in visit]
        paths[name] = _path_signal(reads, units[name], levels[name], stream)
        for read in reads:
            timeline += _stretches(job, name, read.pieces, _piece_states(read, levels[name]))
    together = _paths_together(visits, len(names))
    return SignalFindings(
        paths=paths,
        any_path_share=together.any_share,
        together_share=together.joint_share,
        any_path_share_90=together.any_share_90,
        together_share_90=together.joint_share_90,
        timeline=tuple(timeline),
        could_not=_could_not(job, paths),
    )


# --- reading -----------------------------------------------------------------------------------------------------


def _read_visits(readings: Readings) -> list[dict[str, _Read]]:
    """For each visit, the paths in it that tell received from not, with what `any` rules out taken out."""
    visits = []
    for visit in readings.job.visits:
        found = {name: read_pieces(readings, name, visit) for name in readings.paths}
        any_path = found.get(ANY)
        reads = {}
        for name, pieces in found.items():
            if pieces is not None and len(pieces.start_s):
                kept = pieces if name == ANY else overruled(pieces, any_path)
                reads[name] = _Read(kept, readings.unit_in(name, visit))
        visits.append(reads)
    return visits


def _unit_of(readings: Readings, name: str, visits: list[dict[str, _Read]]) -> str | None:
    """The unit that most of the path's received time was read in; without any such time the last one logged."""
    watched: dict[str, float] = {}
    for visit in visits:
        read = visit.get(name)
        if read is not None and read.unit is not None:
            with_level = read.pieces.received & ~np.isnan(read.pieces.level)
            watched[read.unit] = watched.get(read.unit, 0.0) + float(read.pieces.length_s[with_level].sum())
    if watched:
        return max(watched, key=lambda unit: watched[unit])
    logged = _levels(readings, name)["unit"]
    return str(logged.iloc[-1]) if len(logged) else None


def _levels(readings: Readings, name: str) -> pd.DataFrame:
    level = readings.level
    return level[((level["subject"] == name) & level["number"].notna()).to_numpy()]


def _levels_by_unit(readings: Readings, name: str, visits: list[dict[str, _Read]]) -> dict[str, float]:
    """The path's clear level in each unit it was read in; units are never mixed.

    Where nothing tells received from not, it is the upper level of all readings, noise or not.
    """
    reads = [visit[name] for visit in visits if name in visit]
    found: dict[str, float] = {}
    if not reads:
        rows = _levels(readings, name)
        for unit, part in rows.groupby(rows["unit"].astype(str)):
            level = clear_level(part["number"].to_numpy(dtype=float), np.ones(len(part)), str(unit))
            found |= {str(unit): level} if level is not None else {}
    for unit in {read.unit for read in reads if read.unit is not None}:
        parts = [read.pieces.only(read.pieces.received) for read in reads if read.unit == unit]
        level = clear_level(
            np.concatenate([part.level for part in parts]), np.concatenate([part.length_s for part in parts]), unit
        )
        if level is not None:
            found[unit] = level
    return found


def _piece_states(read: _Read, levels: Mapping[str, float]) -> np.ndarray:
    """The state of each piece, as a number into `_STATES`."""
    states = np.where(read.pieces.received, _RECEIVED, _BLOCKED)
    reference = levels.get(read.unit) if read.unit is not None else None
    if read.unit is not None and reference is not None:
        with_level = read.pieces.received & ~np.isnan(read.pieces.level)
        shadowed = is_shadowed(read.pieces.level, reference, read.unit)
        states = np.where(with_level, np.where(shadowed, _SHADOWED, _CLEAR), states)
    return states


# --- one path ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Pooled:
    """Shares and rates of one state over all visits, with draws (DRAWS,), pooled by the time watched."""

    share: float
    draws: Floats
    losses: int
    gains: int
    watched_s: float
    losses_per_h: Floats

    @property
    def no_s(self) -> float:
        return self.watched_s * (1.0 - self.share)


def _pooled(histories: list[History], stream: int) -> _Pooled | None:
    kept = [history for history in histories if history.watched_s > 0.0]
    if not kept:
        return None
    watched = np.array([history.watched_s for history in kept])
    draws: list[ChainDraws] = [chain_draws(history, 1000 * stream + number) for number, history in enumerate(kept)]
    weight = watched / watched.sum()
    return _Pooled(
        share=sum(history.yes_s for history in kept) / float(watched.sum()),
        draws=weight @ np.array([part.share for part in draws]),
        losses=sum(history.losses for history in kept),
        gains=sum(history.gains for history in kept),
        watched_s=float(watched.sum()),
        losses_per_h=weight @ np.array([part.losses_per_h for part in draws]),
    )


def _path_signal(reads: list[_Read], unit: str | None, levels: Mapping[str, float], stream: int) -> PathSignal:
    states = [_piece_states(read, levels) for read in reads]
    received = _pooled([_history(read.pieces, read.pieces.received) for read in reads], 2 * stream)
    level = levels.get(unit) if unit is not None else None
    if received is None:
        return PathSignal(unit, level, None, None, None, None, None, None, None, None)
    graded = [
        _history(read.pieces.only(keep), state[keep] == _CLEAR)
        for read, state in zip(reads, states, strict=True)
        for keep in [(state == _CLEAR) | (state == _SHADOWED)]
    ]
    share, share_90 = _shares(received, _pooled(graded, 2 * stream + 1))
    dropouts_per_h = received.losses / received.watched_s * 3600.0
    mean_dropout_s = received.no_s / received.gains if received.gains else None
    return PathSignal(
        unit=unit,
        clear_level=level,
        # A link budget needs the antenna's gain and the receiver's noise, which no job states.
        expected_level=None,
        deficit=None,
        deficit_90=None,
        deficit_db=None,
        share=share,
        share_90=share_90,
        dropouts_per_h=dropouts_per_h,
        mean_dropout_s=mean_dropout_s,
        dropouts_per_h_90=interval_of(received.losses_per_h, dropouts_per_h),
        mean_dropout_s_90=_dropout_interval(received, mean_dropout_s),
        observed_s=received.watched_s,
    )


def _history(pieces: Pieces, state: np.ndarray) -> History:
    return History(pieces.start_s, pieces.end_s, state)


def _shares(received: _Pooled, clear: _Pooled | None) -> tuple[Share, ShareIntervals]:
    """Blocked from received; clear and shadowed by splitting the received time as its levels were split."""
    blocked = 1.0 - received.share
    blocked_90 = interval_of(1.0 - received.draws, blocked)
    if clear is None:
        nothing = None if received.share > 0.0 else 0.0
        upper = interval_of(received.draws, received.share) if nothing is not None else None
        return Share(nothing, nothing, blocked), ShareIntervals(upper, upper, blocked_90)
    shares = (received.share * clear.share, received.share * (1.0 - clear.share))
    draws = (received.draws * clear.draws, received.draws * (1.0 - clear.draws))
    clear_90, shadowed_90 = (interval_of(part, value) for part, value in zip(draws, shares, strict=True))
    return Share(*shares, blocked), ShareIntervals(clear_90, shadowed_90, blocked_90)


def _dropout_interval(received: _Pooled, mean_dropout_s: float | None) -> Interval | None:
    """Drop-outs at the ends of the log are cut off there: time in them counts, their missing end does not."""
    if mean_dropout_s is None:
        return None
    lengths_s = 3600.0 * (1.0 - received.draws) / received.losses_per_h
    return interval_of(lengths_s, mean_dropout_s)


# --- paths side by side ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Together:
    """At least one path received; drop-outs that took all at once."""

    any_share: float | None = None
    any_share_90: Interval | None = None
    joint_share: float | None = None
    joint_share_90: Interval | None = None


def _paths_together(visits: list[dict[str, _Read]], stream: int) -> _Together:
    by_visit = [{name: read.pieces for name, read in visit.items()} for visit in visits if visit]
    some = _pooled([any_history(paths) for paths in by_visit], 2 * stream)
    names = sorted({name for paths in by_visit for name in paths})
    compared = compared_paths(names)
    counts = [joint_dropouts({name: paths[name] for name in compared if name in paths}) for paths in by_visit]
    joint, telling = sum(count[0] for count in counts), sum(count[1] for count in counts)
    joint_90 = None
    if telling:
        # Jeffreys interval of a proportion (Brown, Cai and DasGupta 2001, Statistical Science 16, 101).
        low, high = (float(beta.ppf(level, joint + 0.5, telling - joint + 0.5)) for level in (0.05, 0.95))
        joint_90 = (min(low, joint / telling), max(high, joint / telling))
    return _Together(
        any_share=some.share if some else None,
        any_share_90=interval_of(some.draws, some.share) if some else None,
        joint_share=joint / telling if telling else None,
        joint_share_90=joint_90,
    )


# --- timeline and what is missing --------------------------------------------------------------------------------


def _stretches(job: Job, name: str, pieces: Pieces, states: np.ndarray) -> list[Stretch]:
    """Touching pieces of one state as one stretch, up to the job's last row."""
    ends_s = np.minimum(pieces.end_s, job.end_s)
    new = np.ones(len(states), dtype=bool)
    new[1:] = (states[1:] != states[:-1]) | (pieces.start_s[1:] > pieces.end_s[:-1])
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(states)) - 1
    found = []
    for start, end in zip(first, last, strict=True):
        began, ended = (instant_text(job.instant(float(t))) for t in (pieces.start_s[start], ends_s[end]))
        if began is not None and ended is not None and pieces.start_s[start] < ends_s[end]:
            found.append(Stretch(name, began, ended, _STATES[int(states[start])]))
    return found


def _could_not(job: Job, paths: Mapping[str, PathSignal]) -> tuple[str, ...]:
    said = []
    for name, path in paths.items():
        if path.share is None and path.unit in ("dB", "dB-Hz"):
            said.append(
                f"{name}: levels in {path.unit} without lock rows and without level_floor in job.toml do not tell "
                "received from noise: no shares of time, and clear_level is only the upper level that was read"
            )
        elif path.share is None:
            said.append(f"{name}: no reading that could be used: no shares of time")
        elif path.share.clear is None:
            said.append(f"{name}: locks without levels tell received from blocked, not clear from shadowed")
    units = {path.unit for path in paths.values() if path.unit}
    if units & {"dB", "dB-Hz"}:
        said.append(_missing_for_link_budget(job, "dB" in units))
    elif units:
        said.append("percent and bars are an order only: levels were not compared with a link budget")
    return tuple(said)


def _missing_for_link_budget(job: Job, needs_bandwidth: bool) -> str:
    missing = ["the antenna's gain and the receiver's noise (no key of the job states them)"]
    if needs_bandwidth and job.sheet.receiver.noise_bandwidth_hz is None:
        missing.append("noise_bandwidth_hz")
    constellation = constellation_of(job)
    if constellation is None:
        missing.append("a constellation")
    elif any(satellite.eirp_dbw is None or satellite.frequency_mhz is None for satellite in constellation.satellites):
        missing.append("eirp_dbw and frequency_mhz of every satellite")
    return f"expected levels not computed: missing {', '.join(missing)}"
