"""One spot, several headings: does what is received follow the vehicle or stand fast on the ground?

A wall stays where it is while the vehicle turns, so a path hidden by it is as weak at any heading; what the roof,
its load or the antenna takes turns with the vehicle. Both may be there at once, or neither: each is weighed by itself
(see `turn_models`), and named only if it also takes enough to matter. What weakens all paths alike at every heading
is neither: antenna, lead and a roof over all would do the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from satdiag.findings import Interval
from satdiag.job import Job
from satdiag.signal.moves import moves_s, swaps_s
from satdiag.signal.pieces import Flags, Floats
from satdiag.signal.readings import LevelNoise
from satdiag.signal.states import PathStates
from satdiag.signal.training import BLOCKED, CLEAR, SHADOWED
from satdiag.signal.turn_models import TO_DB, best_shape, gain_log, pattern_log, shapes

LEAST_HEADINGS = 4
APART_DEG = 20.0
BLOCKED_BELOW_CLEAR_DB = 15.0
"""Judgement, no source: what a path that is not received counts for, below its clear level."""
TELLING_DB = 10.0
"""A weight of evidence from which something is named: ten to one."""
MATTERS_DB = 3.0
"""Judgement, no source: what takes less, from strongest to weakest heading or from path to path, is not named."""
PATHS_DIFFER_DB = 6.0
"""Judgement, no source: as much may levels of two satellites differ by power, distance and height alone."""

_LONGEST_S = 600.0
_LEAST_READINGS = 2
_LEAST_ELSEWHERE_S = 60.0
_DRAWS = 200
_RANDOM_SEED = 20260104


@dataclass(frozen=True)
class Turned:
    """Weights of evidence [dB] for a pattern that turns with the vehicle, and for paths that differ by what stays,
    each against none; what they take [dB], how much has to be taken to be named, and the headings."""

    vehicle_db: float
    vehicle_db_90: Interval
    vehicle_takes_db: float
    site_db: float
    site_db_90: Interval
    site_takes_db: float
    site_matters_db: float
    headings: int

    @property
    def by_vehicle(self) -> bool:
        """Something turns with the vehicle."""
        return self.vehicle_db_90[0] >= TELLING_DB and self.vehicle_takes_db > MATTERS_DB

    @property
    def by_site(self) -> bool:
        """Something takes from one path what it does not from another, at every heading."""
        return self.site_db_90[0] >= TELLING_DB and self.site_takes_db > self.site_matters_db


@dataclass(frozen=True, eq=False)
class _Table:
    """What was received, one line a path and heading, arrays (n,): path number, heading, dB below its clear level
    (negative), the standard error of that, and the clear level."""

    path: Floats
    heading_deg: Floats
    value: Floats
    error: Floats
    clear: Floats


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
    # A path that was read elsewhere, too, has a clear level that this spot did not make.
    away = all(_read_elsewhere(paths[names[int(number)]], best) for number in np.unique(table.path))
    value = table.value if away else table.value + table.clear
    random = np.random.default_rng(_RANDOM_SEED)
    drawn = np.vstack([value, value + table.error * random.standard_normal((_DRAWS, len(value)))])
    known = all(names[int(number)] in azimuth_deg for number in np.unique(table.path))
    directions = np.array([azimuth_deg.get(names[int(number)], 0.0) for number in table.path]) - table.heading_deg
    own = np.stack([table.path == number for number in np.unique(table.path)], axis=1).astype(float)
    vehicle, pattern, takes_db = _vehicle(own, directions, drawn, known)
    if vehicle[0] <= 0.0:
        pattern = pattern[:, :0]  # what is not there shall not take room from the paths
    site = TO_DB * gain_log(np.hstack([np.ones((len(value), 1)), pattern]), own[:, 1:], drawn)
    return Turned(
        *_weighed(TO_DB * vehicle),
        takes_db,
        *_weighed(site),
        _between(own, pattern, value),
        MATTERS_DB if away else PATHS_DIFFER_DB,
        _apart(table.heading_deg),
    )


def _weighed(weight: Floats) -> tuple[float, Interval]:
    """The weight of what was read, first, and the 90 % interval of those it may as well have been."""
    low, high = (float(end) for end in np.quantile(weight[1:], [0.05, 0.95]))
    return float(weight[0]), (min(low, float(weight[0])), max(high, float(weight[0])))


def _vehicle(own: Floats, directions_deg: Floats, drawn: Floats, shared: bool) -> tuple[Floats, Floats, float]:
    """Log Bayes factors (m,) of a pattern in the vehicle's frame, its columns, and how much it takes. Without the
    directions of all paths each has a pattern of its own, and what they tell adds up."""
    if shared:
        forms = shapes(directions_deg)
        columns, takes_db = best_shape(own, forms, drawn[0])
        return pattern_log(own, forms, drawn), columns, takes_db
    log, parts, takes = np.zeros(len(drawn)), [], []
    for path in own.T.astype(bool):
        forms, alone = shapes(directions_deg[path]), np.ones((int(path.sum()), 1))
        log += pattern_log(alone, forms, drawn[:, path])
        columns, takes_db = best_shape(alone, forms, drawn[0, path])
        wide = np.zeros((len(path), columns.shape[1]))
        wide[path] = columns - columns.mean(axis=0)
        parts.append(wide)
        takes.append(takes_db)
    return log, np.hstack(parts), max(takes)


def _between(own: Floats, pattern: Floats, value: Floats) -> float:
    """How far the paths' own levels lie apart, the pattern taken out."""
    fitted = np.linalg.lstsq(np.hstack([own, pattern - pattern.mean(axis=0)]), value, rcond=None)[0][: own.shape[1]]
    return float(fitted.max() - fitted.min())


def _read_elsewhere(states: PathStates, spot: Floats) -> bool:
    """True if the path was received for a minute before or after the vehicle stood at the spot."""
    from_s, until_s = float(spot[0, 0]), float(spot[-1, 1])
    return (
        sum(
            float(read.pieces.length_s[read.with_level & ~_within(read.pieces.start_s, from_s, until_s)].sum())
            for read in states.reads
        )
        >= _LEAST_ELSEWHERE_S
    )


def _within(t_s: Floats, from_s: float, until_s: float) -> Flags:
    return np.asarray((t_s >= from_s) & (t_s < until_s))


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
    changes = np.unique(np.concatenate([moves_s(job), swaps_s(job), [visit.start_s for visit in job.visits]]))
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


def _seen(states: PathStates, start_s: float, end_s: float) -> tuple[float, float, float] | None:
    """What a path gave in a stretch of time [dB against its clear level], the standard error of that, and the clear
    level (0 where states alone are known, which count as so many dB)."""
    values, memory_s, clear = [], 0.0, 0.0
    for read, state in zip(states.reads, states.likely, strict=True):
        here = (read.pieces.start_s >= start_s) & (read.pieces.start_s < end_s)
        found = states.chain_of(read)
        if found is not None and isinstance(found.chain.noise, LevelNoise):
            memory_s = found.chain.noise.tau_s
            clear = found.clear_level if here.any() else clear
            level = np.where(state == BLOCKED, -BLOCKED_BELOW_CLEAR_DB, read.pieces.level - found.clear_level)
        else:
            weak = [-BLOCKED_BELOW_CLEAR_DB, -BLOCKED_BELOW_CLEAR_DB / 2.0, 0.0]
            level = np.select([state == BLOCKED, state == SHADOWED, state == CLEAR], weak, 0.0)
        values.append(level[here & ~np.isnan(level)])
    all_values = np.concatenate(values) if values else np.empty(0)
    if len(all_values) < _LEAST_READINGS:
        return None
    alike = float(np.exp(-(end_s - start_s) / len(all_values) / memory_s)) if memory_s > 0.0 else 0.0
    worth = max(1.0, len(all_values) * (1.0 - alike) / (1.0 + alike))
    return float(all_values.mean()), float(all_values.std(ddof=1) / np.sqrt(worth)), clear
