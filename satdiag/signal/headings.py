"""One spot, several headings: does what is received follow the vehicle or stand fast on the ground?

A wall stays where it is while the vehicle turns, so a path hidden by it is as weak at any heading; what the roof, its
load or the antenna takes turns with the vehicle. `Turned.vehicle_db` weighs the second against the first: for each a
linear model of what was received by path and heading, compared by the Bayes factor of Zellner's g-prior with
g = n (Liang, Paulo, Molina, Clyde and Berger 2008, Journal of the American Statistical Association 103, 410).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from satdiag.findings import Interval
from satdiag.job import Job
from satdiag.signal.pieces import Floats
from satdiag.signal.readings import LevelNoise
from satdiag.signal.states import PathStates
from satdiag.signal.training import BLOCKED, CLEAR, SHADOWED

LEAST_HEADINGS = 4
APART_DEG = 20.0
BLOCKED_BELOW_CLEAR_DB = 15.0
"""Judgement, no source: what a path that is not received counts for, below its clear level."""

_LONGEST_S = 600.0
_LEAST_READINGS = 2
_DRAWS = 200
_RANDOM_SEED = 20260104


@dataclass(frozen=True)
class Turned:
    """Weight of evidence [dB] for a pattern fixed to the vehicle against one fixed to the ground, and headings."""

    vehicle_db: float
    vehicle_db_90: Interval
    headings: int


@dataclass(frozen=True, eq=False)
class _Table:
    """What was received, one line a path and heading, arrays (n,): path number, heading, value, its error."""

    path: Floats
    heading_deg: Floats
    value: Floats
    error: Floats


def turned(job: Job, paths: Mapping[str, PathStates], azimuth_deg: Mapping[str, float]) -> Turned | None:
    """The comparison at the spot with the most headings; None below four headings at least 20 degrees apart.

    `azimuth_deg` names the direction of paths where it is known; if it is for all, they share one pattern.
    """
    spots = _spots(job)
    if not spots:
        return None
    best = max(spots, key=lambda spot: _apart(spot[:, 2]))
    headings = _apart(best[:, 2])
    table = _table(best, paths) if headings >= LEAST_HEADINGS else None
    if table is None or _apart(table.heading_deg) < LEAST_HEADINGS:
        return None
    names = list(paths)
    known = all(names[int(number)] in azimuth_deg for number in np.unique(table.path))
    relative = None
    if known:
        relative = np.array([azimuth_deg[names[int(number)]] for number in table.path]) - table.heading_deg
    ground, vehicle = _design_of_ground(table), _design_of_vehicle(table, relative)
    random = np.random.default_rng(_RANDOM_SEED)
    drawn = table.value + table.error * random.standard_normal((_DRAWS, len(table.value)))
    weight = _gain_db(vehicle, table.value) - _gain_db(ground, table.value)
    weights = np.array([_gain_db(vehicle, value) - _gain_db(ground, value) for value in drawn])
    low, high = (float(end) for end in np.quantile(weights, [0.05, 0.95]))
    return Turned(weight, (min(low, weight), max(high, weight)), _apart(table.heading_deg))


def _apart(headings_deg: Floats) -> int:
    """How many headings there are that differ by 20 degrees at least."""
    kept: list[float] = []
    for heading in headings_deg:
        if all(abs((heading - other + 180.0) % 360.0 - 180.0) >= APART_DEG for other in kept):
            kept.append(float(heading))
    return len(kept)


def _spots(job: Job) -> list[Floats]:
    """For each spot, (n, 3): from, to, heading. A move ends a spot; a heading stands until the next, ten minutes."""
    rows = job.select("heading", "vehicle")
    if len(rows) < LEAST_HEADINGS:
        return []
    moves = [job.select(kind, "vehicle")["t_s"].to_numpy(dtype=float) for kind in ("place", "site")]
    changes = np.unique(np.concatenate([*moves, [visit.start_s for visit in job.visits]]))
    start_s = rows["t_s"].to_numpy(dtype=float)
    following = np.append(changes, job.end_s)[np.searchsorted(changes, start_s, side="right")]
    end_s = np.minimum(np.minimum(np.append(start_s[1:], job.end_s), following), start_s + _LONGEST_S)
    spot = np.searchsorted(changes, start_s, side="right")
    lines = np.stack([start_s, end_s, rows["number"].to_numpy(dtype=float)], axis=1)
    return [lines[spot == one] for one in np.unique(spot)]


def _table(spot: Floats, paths: Mapping[str, PathStates]) -> _Table | None:
    lines = []
    for number, states in enumerate(paths.values()):
        for start_s, end_s, heading_deg in spot:
            seen = _seen(states, start_s, end_s)
            if seen is not None:
                lines.append((number, heading_deg, *seen))
    return _Table(*np.array(lines).T) if lines else None


def _seen(states: PathStates, start_s: float, end_s: float) -> tuple[float, float] | None:
    """What a path gave in a stretch of time, and its standard error: a level in dB if it has one, else its state."""
    values, memory_s = [], 0.0
    for read, state in zip(states.reads, states.likely, strict=True):
        here = (read.pieces.start_s >= start_s) & (read.pieces.start_s < end_s)
        found = states.chains.get(read.unit) if read.unit is not None else None
        if found is not None and isinstance(found.chain.noise, LevelNoise):
            memory_s = found.chain.noise.tau_s
            level = np.where(state == BLOCKED, found.clear_level - BLOCKED_BELOW_CLEAR_DB, read.pieces.level)
        else:
            level = np.select([state == BLOCKED, state == SHADOWED, state == CLEAR], [0.0, 0.5, 1.0], 1.0)
        values.append(level[here & ~np.isnan(level)])
    all_values = np.concatenate(values) if values else np.empty(0)
    if len(all_values) < _LEAST_READINGS:
        return None
    alike = float(np.exp(-(end_s - start_s) / len(all_values) / memory_s)) if memory_s > 0.0 else 0.0
    worth = max(1.0, len(all_values) * (1.0 - alike) / (1.0 + alike))
    return float(all_values.mean()), float(all_values.std(ddof=1) / np.sqrt(worth))


# --- the two models ----------------------------------------------------------------------------------------------


def _design_of_ground(table: _Table) -> Floats:
    """A level for each path."""
    return np.array([table.path == number for number in np.unique(table.path)[1:]], dtype=float).T.reshape(
        len(table.path), -1
    )


def _design_of_vehicle(table: _Table, relative_deg: Floats | None) -> Floats:
    """A first harmonic of the direction from the vehicle; a path's own where directions are unknown."""
    if relative_deg is not None:
        angle = np.radians(relative_deg)
        return np.stack([np.cos(angle), np.sin(angle)], axis=1)
    angle = np.radians(table.heading_deg)
    columns: Sequence[Floats] = [
        turn * (table.path == number) for number in np.unique(table.path) for turn in (np.cos(angle), np.sin(angle))
    ]
    return np.stack(columns, axis=1)


def _gain_db(design: Floats, value: Floats) -> float:
    """Ten times the logarithm of the Bayes factor of a linear model against a level that is the same throughout."""
    count, columns = len(value), design.shape[1]
    centred = value - value.mean()
    whole = float(centred @ centred)
    if columns == 0 or whole <= 1e-12 or count <= columns + 1:
        return 0.0
    moved = design - design.mean(axis=0)
    left = centred - moved @ np.linalg.lstsq(moved, centred, rcond=None)[0]
    unexplained = min(max(float(left @ left) / whole, 1e-6), 1.0)
    log = 0.5 * (count - columns - 1) * np.log1p(count) - 0.5 * (count - 1) * np.log1p(count * unexplained)
    return float(10.0 / np.log(10.0) * log)
