"""Do drop-outs come back at the same positions? Then the place makes them; else what drives through it.

Each time the vehicle passes a position is a try: some path was lost there or not. If the place decides, positions
differ in their chance of a loss; if the vehicle does, all have the same. Both are compared by their Bayes factor:
every position its own chance (beta-binomial, half a try's worth of spread about the mean) against one for all
(textbook; Kass and Raftery 1995, Journal of the American Statistical Association 90, 773, on what a factor is worth).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, logsumexp

from satdiag.gnss.read import read_nmea
from satdiag.job import Job
from satdiag.signal.pieces import Flags, Floats, Numbers, Pieces

CELL_M = 40.0
"""Judgement, no source: a fix is good for some metres, a bridge or a house takes some tens."""
LEAVE_M, TRAVEL_M = 10.0, 100.0
"""Judgement, no source: how far beyond a cell's edge it is left for good, a few times the noise of a fix; and how far
a vehicle goes away from a position before it can pass it once more."""
LEAST_POSITIONS, LEAST_LOSSES = 3, 2
TELLING_DB = 10.0
"""A weight of evidence (ten times the logarithm of the Bayes factor) from which one is named: ten to one."""

_OWN_CHANCE = 0.5
_KEEP_M = CELL_M / 2.0 + LEAVE_M
_LONGEST_FIX_S = 10.0
_EARTH_M = 6_371_000.0
_MEASURED = ("unknown", "standard", "differential", "precise", "rtk-fixed", "rtk-float")


@dataclass(frozen=True, eq=False)
class Where:
    """Positions as numbers of cells, each from `start_s` until `end_s`, arrays (n,), in time order."""

    start_s: Floats
    end_s: Floats
    cell: Numbers


@dataclass(frozen=True)
class Repeats:
    """Weight of evidence [dB] that the place decides, positions passed more than once, and passes with a loss."""

    place_db: float
    positions: int
    losses: int


def where_of(job: Job) -> Where | None:
    """Where the vehicle was: by its fixes, else by the sites it stood at; None where neither is known."""
    return _by_fixes(job) or _by_sites(job)


def _by_fixes(job: Job) -> Where | None:
    if job.start is None:
        return None
    found = []
    for name in sorted(job.documents):
        if name.startswith("gnss") and name.endswith(".nmea"):
            for epoch in read_nmea(job.documents[name]).epochs:
                if epoch.time is not None and epoch.fix is not None and epoch.fix.quality in _MEASURED:
                    at = np.datetime64(epoch.time.replace(tzinfo=None), "us")
                    found.append(((at - job.start) / np.timedelta64(1, "s"), *epoch.fix.position))
    if not found:
        return None
    t_s, latitude, longitude = np.array(sorted(found)).T
    north = np.radians(latitude - latitude[0]) * _EARTH_M
    east = np.radians(longitude - longitude[0]) * _EARTH_M * np.cos(np.radians(latitude[0]))
    return passes(t_s, north, east)


def passes(t_s: Floats, north_m: Floats, east_m: Floats) -> Where:
    """Passes of cells by a track (n,). Cells lie about the first fix, so that it stands in the middle of one.

    Noise of the fixes makes no pass: a cell is left only by `LEAVE_M` beyond its edge, and coming back to it counts
    only after `TRAVEL_M` from its middle. So a vehicle that stands has no second pass, wherever in a cell it stands.
    """
    cell_of: dict[tuple[int, int], int] = {}
    away: dict[int, bool] = {}
    middles: list[tuple[float, float]] = []
    found: list[list[float]] = []
    current, counts, last_s = -1, False, -np.inf
    for at_s, north, east in zip(t_s.tolist(), north_m.tolist(), east_m.tolist(), strict=True):
        left = current < 0 or max(abs(north - middles[current][0]), abs(east - middles[current][1])) > _KEEP_M
        if left or at_s - last_s > _LONGEST_FIX_S:
            if left:
                square = (round(north / CELL_M), round(east / CELL_M))
                if square not in cell_of:
                    middles.append((CELL_M * square[0], CELL_M * square[1]))
                current = cell_of.setdefault(square, len(cell_of))
            counts = away.get(current, True)
            away[current] = False
            if counts:
                found.append([at_s, at_s, current])
        elif counts:
            found[-1][1] = at_s
        if left:
            for number, gone in away.items():
                if not gone:
                    away[number] = float(np.hypot(north - middles[number][0], east - middles[number][1])) > TRAVEL_M
        last_s = at_s
    start_s, end_s, cell = np.array(found).T
    until_s = np.minimum(np.append(t_s[1:], t_s[-1]), t_s + _LONGEST_FIX_S)[np.searchsorted(t_s, end_s)]
    return Where(start_s, until_s, cell.astype(np.intp))


def _by_sites(job: Job) -> Where | None:
    moves = job.select("site", "vehicle")
    if len(moves) < 2:
        return None
    _, cell = np.unique(moves["value"].to_numpy(dtype=str), return_inverse=True)
    start_s = moves["t_s"].to_numpy(dtype=float)
    return Where(start_s, np.append(start_s[1:], job.end_s), cell)


def repeats(where: Where, paths: Sequence[Pieces]) -> Repeats | None:
    """Whether losses repeat by position; None below three positions passed twice or two passes with a loss."""
    tries = [_tries(where, pieces) for pieces in paths]
    tries = [(cell, lost) for cell, lost in tries if len(cell)]
    if not tries:
        return None
    weight, positions, losses = 0.0, 0, 0
    for cell, lost in tries:
        passed = np.bincount(cell)
        with_loss = np.bincount(cell, lost)
        more = passed >= 2
        positions, losses = max(positions, int(more.sum())), max(losses, int(with_loss[more].sum()))
        # One loss may run over several positions in a row: that many are taken for one piece of news (judgement, no
        # source; the weight of evidence is divided, as if each run were read once).
        weight += _place_db(passed[more], with_loss[more]) / _run_length(lost)
    if positions < LEAST_POSITIONS or losses < LEAST_LOSSES:
        return None
    return Repeats(weight, positions, losses)


def _tries(where: Where, pieces: Pieces) -> tuple[Numbers, Flags]:
    """For each pass in which the path was read: the cell, and whether it was not received at some time in it."""
    reached = np.concatenate([[0.0], np.cumsum(pieces.length_s)])
    missing = np.concatenate([[0.0], np.cumsum(np.where(pieces.received, 0.0, pieces.length_s))])

    def total(sums: Floats, t_s: Floats, counted: Flags | None) -> Floats:
        number = np.searchsorted(pieces.start_s, t_s, side="right") - 1
        inside = np.clip(t_s - pieces.start_s[number.clip(0)], 0.0, pieces.length_s[number.clip(0)])
        part = inside if counted is None else inside * counted[number.clip(0)]
        return np.where(number < 0, 0.0, sums[number.clip(0)] + part)

    if not len(pieces.start_s):
        return np.empty(0, dtype=np.intp), np.empty(0, dtype=bool)
    read_s = total(reached, where.end_s, None) - total(reached, where.start_s, None)
    lost_s = total(missing, where.end_s, ~pieces.received) - total(missing, where.start_s, ~pieces.received)
    kept = read_s > 0.0
    return where.cell[kept], lost_s[kept] > 0.0


def _run_length(lost: Flags) -> float:
    """How many passes in a row one loss takes, on average; 1 without any."""
    begins = int(lost[0]) + int(np.sum(lost[1:] & ~lost[:-1])) if len(lost) else 0
    return max(1.0, float(lost.sum()) / begins) if begins else 1.0


def _place_db(passed: NDArray[Any], lost: NDArray[Any]) -> float:
    """Ten times the logarithm of: every position its own chance, against one chance for all."""
    if not len(passed):
        return 0.0
    mean = np.sin((np.arange(200) + 0.5) / 200 * np.pi / 2.0)[:, None] ** 2  # Jeffreys' law for the mean
    own = betaln(lost + _OWN_CHANCE * mean, passed - lost + _OWN_CHANCE * (1.0 - mean))
    own = own - betaln(_OWN_CHANCE * mean, _OWN_CHANCE * (1.0 - mean))
    one = lost.sum() * np.log(mean[:, 0]) + (passed - lost).sum() * np.log1p(-mean[:, 0])
    return float(10.0 / np.log(10.0) * (logsumexp(own.sum(axis=1)) - logsumexp(one)))
